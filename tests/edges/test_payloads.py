"""What is published: four levels of topic, figures with units, and a committed schema that is the code's own."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from pydantic import TypeAdapter

from supervisor.cli.main import main
from supervisor.core.actions import Note
from supervisor.core.events import Instant
from supervisor.core.line import Line
from supervisor.core.state import LineState
from supervisor.edges.payloads import AlarmPayload, Published, Reporter, iso, payload_schema, topic
from supervisor.service.status import status
from tests.core.plain import fitted_setup

CONFIG = Path(__file__).parents[2] / "config"
SETUP = fitted_setup()
AT = Instant(600.0, 10.0, 1_790_000_000.25)


def reporter(told: dict[str, Any]) -> Reporter:
    return Reporter("bench", "a-run", lambda: AT, lambda: told | {"speed": 1.0}, ())


def idle() -> dict[str, Any]:
    return status(SETUP, Line(SETUP, None).state, AT)


def running() -> dict[str, Any]:
    """What the service tells of a running operation; its shape is checked against the real one below."""
    told = idle()
    told["supplies"]["main"] |= {"state": "running", "operation": OPERATION}
    return told


OPERATION: dict[str, Any] = {
    "id": "bench-1", "load": "load-1", "suspect": "", "why": "", "mode": "current", "area_m2": 0.013,
    "target": {"thickness_um": 20.0, "means": "mean", "charge_c": 4760.0}, "set_current_a": 1.95, "set_voltage_v": 22.0,
    "expected_s": 2441.0, "longest_s": 3051.0, "elapsed_s": 60.0, "charge_unbounded": False, "to_go_s": 2400.0,
    "charge_c": {"low": 90.0, "best": 100.0, "high": 110.0}, "thickness_um": {"low": 0.3, "best": 0.4, "high": 0.5},
    "least_local_um": {"low": 0.2, "best": 0.3, "high": 0.4}, "spread_um": {"low": 0.3, "best": 0.4, "high": 0.5},
    "mass_g_per_m2": {"low": 0.7, "best": 0.9, "high": 1.2}, "mass_lost_share": 0.002, "porosity_share": 0.095,
    "alloy": "6061", "gauge": "", "barren_c": 0.0, "band_um": {"low": 0.35, "best": 0.4, "high": 0.45},
    "learned_from": 5,
}  # fmt: skip
ALARM: dict[str, Any] = {
    "name": "acid/bath-high", "state": "unacknowledged", "priority": "medium", "active": True, "latched": False,
    "under": "", "what": "Warm.", "follows": "Nothing.", "first": "Cool it.", "time": "Minutes.",
    "since_wall_s": 1_790_000_000.0, "count": 2, "why": "", "shelved_for_s": None,
}  # fmt: skip
SHELVED = ALARM | {
    "state": "shelved", "why": "pump is out (kim)", "shelved_for_s": 1800.0, "under": "main/supply-silent",
}  # fmt: skip


def states(told: dict[str, Any]) -> dict[str, dict[str, Any]]:
    return {name: payload.model_dump() for name, payload in reporter(told).states(0).items()}


def test_each_tank_supply_and_operation_has_a_topic_of_its_own() -> None:
    told = idle()
    expected = {f"ampminder/bench/tank/{name}" for name in told["tanks"]}
    expected |= {f"ampminder/bench/{kind}/{name}" for name in told["supplies"] for kind in ("supply", "operation")}
    expected |= {f"ampminder/bench/contact/{name}" for name in told["contacts"]}
    assert states(told).keys() == expected | {"ampminder/bench/line/bench"}


def test_an_alarms_slash_makes_no_fifth_level() -> None:
    told = idle() | {"alarms": [ALARM]}
    assert topic("bench", "alarm", "acid/bath-high") == "ampminder/bench/alarm/acid.bath-high"
    assert states(told)["ampminder/bench/alarm/acid.bath-high"]["name"] == "acid.bath-high"
    assert all(name.count("/") == 3 for name in states(told))


def test_every_payload_says_its_version_kind_and_when_on_two_clocks() -> None:
    for payload in states(idle() | {"alarms": [ALARM]}).values():
        assert payload["version"] == 1
        assert payload["kind"] in {"line", "tank", "supply", "contact", "operation", "alarm"}
        assert payload["at"] == "2026-09-21T14:13:20.250Z"
        assert payload["boot_clock_s"] == 10.0


def test_wall_time_is_told_in_utc() -> None:
    assert iso(0.0) == "1970-01-01T00:00:00.000Z"


def test_an_operations_target_and_bands_are_figures_of_their_own() -> None:
    operation = states(running())["ampminder/bench/operation/main"]
    assert (operation["target_thickness_um"], operation["target_charge_c"]) == (20.0, 4760.0)
    assert (operation["charge_low_c"], operation["charge_c"], operation["charge_high_c"]) == (90.0, 100.0, 110.0)
    assert (operation["thickness_low_um"], operation["thickness_high_um"]) == (0.3, 0.5)
    assert (operation["band_low_um"], operation["band_high_um"], operation["learned_from"]) == (0.35, 0.45, 5)
    assert None not in operation.values()


def test_where_nothing_runs_the_operation_is_idle_with_nulls() -> None:
    operation = states(idle())["ampminder/bench/operation/main"]
    assert operation["state"] == "idle"
    assert operation["id"] is operation["charge_c"] is operation["why"] is None


def test_a_reading_that_is_not_good_has_no_number() -> None:
    tank = next(payload for payload in states(idle()).values() if payload["kind"] == "tank")
    assert tank["temperature_c"] is None
    assert tank["reading"] == "none yet"


def test_events_are_numbered_from_one_without_a_gap_and_say_of_which_run() -> None:
    of = reporter(idle())
    told = [of.event(Note("alarm", "acid/bath-high", "Warm.", {"state": "unacknowledged"})) for _ in range(3)]
    assert [payload.number for _, payload in told] == [1, 2, 3]
    assert {name for name, _ in told} == {"ampminder/bench/event/alarm"}
    assert {(payload.run, payload.subject) for _, payload in told} == {("a-run", "acid/bath-high")}


def test_offline_says_why_and_is_told_at_the_lines_own_topic() -> None:
    name, payload = reporter(idle()).offline("connection lost", 3)
    told = payload.model_dump()
    assert name == "ampminder/bench/line/bench"
    assert (told["presence"], told["reason"], told["events_lost"]) == ("offline", "connection lost", 3)


def test_an_alarm_that_went_is_told_as_normal_with_a_new_time_and_nothing_left_of_what_it_was() -> None:
    (alarm,) = (p for p in reporter(idle() | {"alarms": [SHELVED]}).states(0).values() if isinstance(p, AlarmPayload))
    normal = reporter(idle()).normal(alarm.model_copy(update={"at": "before", "latched": True}))
    assert (normal.state, normal.active, normal.latched) == ("normal", False, False)
    assert (normal.under, normal.why, normal.shelved_until) == (None, None, None)
    assert normal.at == "2026-09-21T14:13:20.250Z"


def test_a_hidden_alarm_is_published_as_such_with_until_when_why_and_whose_consequence() -> None:
    told = states(idle() | {"alarms": [SHELVED]})["ampminder/bench/alarm/acid.bath-high"]
    assert (told["state"], told["active"], told["why"]) == ("shelved", True, "pump is out (kim)")
    assert told["under"] == "main.supply-silent"
    assert told["shelved_until"] == "2026-09-21T14:43:20.000Z"
    plain = states(idle() | {"alarms": [ALARM]})["ampminder/bench/alarm/acid.bath-high"]
    assert (plain["under"], plain["why"], plain["shelved_until"]) == (None, None, None)
    assert plain["time"] == "Minutes."


def test_a_shelving_whose_end_is_worked_out_anew_is_no_news() -> None:
    first, second = (
        reporter(idle() | {"alarms": [SHELVED | {"shelved_for_s": left_s}]}).states(0) for left_s in (1800.0, 1799.9999)
    )
    name = "ampminder/bench/alarm/acid.bath-high"
    assert first[name].news() == second[name].news()


def test_in_a_demo_a_shelving_ends_when_the_clock_on_the_wall_says_so() -> None:
    told = idle() | {"alarms": [SHELVED], "speed": 60.0}
    payload = Reporter("bench", "a-run", lambda: AT, lambda: told, ()).states(0)["ampminder/bench/alarm/acid.bath-high"]
    assert isinstance(payload, AlarmPayload)
    assert payload.shelved_until == "2026-09-21T14:13:50.000Z"


def test_a_contact_is_published_with_what_hangs_on_it() -> None:
    shut = states(idle())["ampminder/bench/contact/shut"]
    assert {key: shut[key] for key in ("role", "tank", "closed", "reading", "healthy")} == {
        "role": "auxiliary contact", "tank": None, "closed": None, "reading": "none yet", "healthy": None,
    }  # fmt: skip
    assert states(idle())["ampminder/bench/line/bench"]["contacts"] == ["shut"]


def test_a_tank_is_published_with_its_heating_and_nulls_for_what_it_has_not() -> None:
    told = idle()
    told["tanks"]["main-acid"]["heating"] = {"output": "element", "on": True, "hold_c": 65.0, "asked_for": True}
    tank = states(told)["ampminder/bench/tank/main-acid"]
    assert (tank["heating_on"], tank["heating_asked_for"], tank["heating_hold_c"]) == (True, True, 65.0)
    assert (tank["cooling_on"], tank["cooling_hold_c"]) == (None, None)


@pytest.mark.parametrize("told", [idle(), running(), idle() | {"alarms": [ALARM]}, idle() | {"alarms": [SHELVED]}])
def test_what_is_published_can_be_read_back_by_its_kind(told: dict[str, Any]) -> None:
    reader = TypeAdapter[Any](Published)
    for payload in reporter(told).states(0).values():
        assert reader.validate_json(payload.model_dump_json()) == payload


def test_the_committed_schema_is_what_the_program_prints(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["schema", "--mqtt"]) == 0
    printed = capsys.readouterr().out
    assert (CONFIG / "mqtt-payloads.schema.json").read_text(encoding="utf-8") == printed


def test_the_schema_demands_version_kind_and_time_of_every_payload() -> None:
    schemas = payload_schema()["$defs"]
    assert len(schemas) == 8  # seven payloads and the states of an alarm
    for schema in (schema for schema in schemas.values() if schema["type"] == "object"):
        assert {"version", "kind", "line", "name", "at", "boot_clock_s"} <= set(schema["required"])


def test_every_figure_of_a_payload_has_its_unit_in_its_name() -> None:
    units = ("_c", "_a", "_v", "_um", "_s", "_m2", "_share")
    counts = {"version", "count", "number", "events_lost", "speed", "learned_from"}
    for schema in payload_schema()["$defs"].values():
        for name, field in schema.get("properties", {}).items():
            types = {field.get("type"), *(one.get("type") for one in field.get("anyOf", ()))}
            if types & {"number", "integer"} and name not in counts:
                assert name.endswith(units), name


def test_the_state_of_a_line_that_was_never_read_can_be_told() -> None:
    told = status(SETUP, LineState(supplies=Line(SETUP, None).state.supplies), AT)
    assert states(told)


def test_a_line_tells_until_when_its_instruments_hold_and_which_do_no_more() -> None:
    known = {"wall_s": 1.7e9, "reference": "ice", "due": "2027-01-31", "overdue": False}
    told = idle() | {
        "calibrations": {"acid-temperature": known, "main-current": known | {"due": "2025-01-31", "overdue": True}},
        "commissioned": {"main": {"wall_s": 1.7e9, "reference": "clamp 7"}},
    }
    line = states(told)["ampminder/bench/line/bench"]
    assert line["calibrations"] == {"acid-temperature": "2027-01-31", "main-current": "2025-01-31"}
    assert (line["calibrations_overdue"], line["commissioned"]) == (["main-current"], ["main"])
