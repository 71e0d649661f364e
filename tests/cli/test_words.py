"""How a line stands, in words: every figure with its unit, no number for a bad reading, alarms told in full once."""

from __future__ import annotations

from typing import Any, get_args

import pytest

from supervisor.cli.words import (
    CONTACT_WORDS,
    alarm_text,
    clock,
    duration,
    output_text,
    state_text,
    status_lines,
    switch_texts,
    unhealthy_text,
)
from supervisor.core.alarms import AlarmState
from supervisor.core.setup import ContactRole
from tests.cli.states import (
    IDLE,
    alarm,
    contact,
    running,
    with_alarms,
    with_operation,
    with_switches,
    without_temperature,
)


@pytest.mark.parametrize(
    ("seconds", "said"), [(None, "---"), (0, "0 s"), (59.4, "59 s"), (59.6, "1 min 00 s"), (962, "16 min 02 s")]
)
def test_a_time_is_said_in_minutes_and_seconds(seconds: float | None, said: str) -> None:
    assert duration(seconds) == said


@pytest.mark.parametrize(
    ("seconds", "said"), [(None, "---"), (0, "0:00"), (59.6, "1:00"), (962, "16:02"), (3599.6, "1:00:00")]
)
def test_a_clock_shows_hours_only_from_an_hour_on(seconds: float | None, said: str) -> None:
    assert clock(seconds) == said


def test_a_line_of_text_tells_state_band_charge_time_volts_amps_and_bath() -> None:
    (line,) = state_text(running())
    for part in (
        "running",
        "12.1 µm",
        "90 % band",
        "11.0 µm",
        "13.2 µm",
        "48.0 A·min",
        "16 min 02 s",
        "1.95 A",
        "16.33 V",
        "20.6 °C",
    ):
        assert part in line


def test_a_line_in_us_units_shows_mil_and_fahrenheit() -> None:
    (line,) = state_text(running() | {"units": "us"})
    assert "mil" in line
    assert "69.1 °F" in line
    assert "µm" not in line


def test_a_bad_reading_has_no_number() -> None:
    tanks = without_temperature("absent")["tanks"]
    (line,) = state_text(running(current_a=None, voltage_v=None) | {"tanks": tanks})
    assert line.endswith("---, ---, acid --- (reading absent)")


def test_an_idle_supply_is_told_without_a_load() -> None:
    (line,) = state_text(running(**IDLE))
    assert line.startswith("main: idle, output off, proven; 0.00 A")


def test_the_cause_that_ended_an_operation_is_named() -> None:
    (line,) = state_text(with_operation(why="bath-high-high"))
    assert "because of bath-high-high" in line


def test_only_a_proof_makes_an_output_off() -> None:
    assert output_text({"off_proven": True, "wanted_on": False}) == "off, proven"
    assert output_text({"off_proven": False, "wanted_on": False}) == "off, NOT proven"
    assert output_text({"off_proven": False, "wanted_on": True}) == "on"


def test_a_standing_alarm_says_what_happened_what_follows_and_what_to_do() -> None:
    told = alarm_text(alarm("acid/bath-high"), known=True)
    assert all(part in told for part in ("high priority", "What happened", "What follows", "First: What to do"))


def test_an_alarm_that_came_and_went_unseen_is_still_told_in_full() -> None:
    told = alarm_text(alarm("main/current-lost", active=False), known=False)
    assert "What happened" in told
    assert "its cause is gone" in told


def test_of_a_known_alarm_only_its_end_is_told() -> None:
    told = alarm_text(alarm("main/current-lost", active=False), known=True)
    assert "What happened" not in told
    assert "its cause is gone (latched, unacknowledged)" in told


WAITED = "waits for: turn up to 1.95 A, 22.00 V at most, then ampminder anodize confirm"
SWITCHES = (
    "exercising fan: away from its safe state for a moment",
    "outputs: breaker closed, fan on (NOT confirmed)",
    "contacts: lid open, level LOW, air --- (reading no answer), shut closed",
    "heartbeats: board beats",
)


def test_the_status_tells_knobs_what_they_wait_for_and_all_that_is_switched() -> None:
    lines = list(status_lines(with_switches()))
    assert lines[1].startswith("  main (set by its knobs): running")
    assert lines[2] == f"    {WAITED}"
    assert [line.strip() for line in lines if line.strip() in SWITCHES] == list(SWITCHES)


def test_a_live_line_tells_what_is_waited_for_and_leaves_switches_to_their_changes() -> None:
    (supply,) = state_text(with_switches())
    assert supply.endswith(f"; {WAITED}")
    assert tuple(switch_texts(with_switches())) == SWITCHES


def test_contacts_that_are_not_healthy_are_named_by_themselves() -> None:
    assert unhealthy_text(with_switches()) == "NOT HEALTHY: level LOW, air --- (reading no answer)"
    assert "  NOT HEALTHY: level LOW, air --- (reading no answer)" in list(status_lines(with_switches()))
    assert unhealthy_text(running()) == ""


@pytest.mark.parametrize(
    ("role", "tank", "closed", "opened"),
    [
        ("lid", "acid", "open", "SHUT"),
        ("lid", "seal", "shut", "OPEN"),
        ("level", "acid", "enough", "LOW"),
        ("air flow", None, "proven", "NOT proven"),
        ("air pressure", "acid", "proven", "NOT proven"),
        ("guard", None, "shut", "OPEN"),
        ("emergency stop", None, "released", "PRESSED"),
        ("button", None, "pressed", "let go"),
        ("auxiliary contact", None, "closed", "open"),
    ],
)
def test_a_contact_is_told_as_what_it_means_of_its_thing(role: str, tank: str | None, closed: str, opened: str) -> None:
    status = running()
    status["tanks"]["seal"] = status["tanks"]["acid"] | {"role": "seal"}
    for is_closed, word in ((True, closed), (False, opened)):
        status["contacts"] = {"it": contact(role, closed=is_closed, tank=tank)}
        assert list(switch_texts(status)) == [f"contacts: it {word}"]


def test_every_role_of_a_contact_has_its_words() -> None:
    assert {*CONTACT_WORDS, "lid"} == set(get_args(ContactRole))


def test_heaters_and_cooling_are_told_by_their_tanks_and_not_twice() -> None:
    status = with_switches() | {"exercise": None, "contacts": {}, "heartbeats": {}}
    status["outputs"]["element"] = status["outputs"]["fan"] | {"role": "heater"}
    status["tanks"]["acid"] |= {
        "heating": {"output": "element", "on": True, "hold_c": 20.0},
        "cooling": {"output": "fan", "on": False, "hold_c": 21.0},
    }
    assert list(switch_texts(status)) == [
        "heating: acid on (holds 20.0 °C)", "cooling: acid off (holds 21.0 °C)", "outputs: breaker closed",
    ]  # fmt: skip
    for asked_for, says in ((False, "rests until asked for"), (True, "off")):
        status["tanks"]["acid"]["heating"] |= {"on": False, "asked_for": asked_for}
        assert next(switch_texts(status)) == f"heating: acid {says} (holds 20.0 °C)"


def signs(**shown: Any) -> list[str]:
    outputs = {name: {"role": name, "on": True, "confirmed": True} for name in ("lamp", "horn")}
    annunciation = {"lamps": {"lamp": "dark"}, "horn": "silent", "silenced": [], "test": False, **shown}
    return list(switch_texts(running() | {"outputs": outputs, "annunciation": annunciation}))


def test_lamps_and_horn_are_told_by_what_they_show_and_not_by_each_flash() -> None:
    assert signs() == []
    assert signs(lamps={"lamp": "flashing"}, horn="urgent") == ["signs: lamp flashing, horn urgent"]
    assert signs(silenced=["a/b"]) == ["signs: horn silenced"]
    assert signs(test=True) == ["signs: all lamps and the horn are on, for a test"]


def test_while_only_watching_lamps_and_horn_are_outputs_like_any_other() -> None:
    outputs = {name: {"role": name, "on": True, "confirmed": True} for name in ("lamp", "horn")}
    assert list(switch_texts(running() | {"outputs": outputs})) == ["outputs: lamp on, horn on"]


def test_how_many_alarms_are_shelved_is_told() -> None:
    hidden = alarm("a/1", state=AlarmState.SHELVED), alarm("a/2", state=AlarmState.OUT_OF_SERVICE)
    assert list(switch_texts(with_alarms(*hidden))) == ["alarms hidden: 1 shelved, 1 out of service"]


def test_the_status_folds_consequences_and_leaves_hidden_alarms_to_their_list() -> None:
    hidden = alarm("a/hidden", state=AlarmState.SHELVED)
    lines = list(status_lines(with_alarms(alarm("a/head"), alarm("b/brought", under="a/head"), hidden)))
    assert lines[-1] == "    +1 consequence: b/brought"
    assert not any("b/brought" in line or "a/hidden" in line for line in lines[:-1])


def test_a_consequence_is_told_as_one_and_a_shelved_alarm_with_its_reason() -> None:
    told = alarm_text(alarm("b/brought", under="a/head"), known=False)
    assert told == "alarm b/brought: unacknowledged, a consequence of a/head"
    told = alarm_text(alarm("a/1", state=AlarmState.SHELVED, why="pump (kim)"), known=False)
    assert told == "alarm a/1: shelved, because: pump (kim)"
    assert alarm_text(alarm("a/1", state=AlarmState.SUPPRESSED), known=False) == ""


def test_of_a_known_alarm_that_was_acknowledged_only_that_is_told() -> None:
    seen = alarm("a/1", state=AlarmState.ACKNOWLEDGED)
    assert alarm_text(seen, known=True) == "alarm a/1: acknowledged"
    assert "What happened" in alarm_text(seen, known=False)


def test_a_heartbeat_that_is_not_heard_has_no_beat() -> None:
    silent = with_switches() | {"heartbeats": {"board": {"seconds": None, "reading": "no answer"}}}
    assert "  heartbeats: board --- (reading no answer)" in list(status_lines(silent))


def test_a_line_without_switches_says_nothing_of_them() -> None:
    said = "\n".join(status_lines(running()))
    assert not any(word in said for word in ("outputs", "contacts", "heartbeats", "waits for", "knobs", "exercising"))


def test_the_status_tells_the_coat_beside_its_mean_thickness() -> None:
    said = "\n".join(status_lines(running()))
    for part in ("6061", "thinnest 10.3 µm (8.9 µm to 10.6 µm)", "across the rack 10.3 µm to 13.9 µm", "27.6 g/m²"):
        assert part in said
    assert "lost to acid 1.4 %, porosity 10.5 %" in said
    assert "which the target means" not in said
    assert "gauge" not in said


def test_the_status_tells_which_thickness_is_meant_what_grew_none_and_that_it_must_be_gauged() -> None:
    status = with_operation(gauge="restarted after 3 min off the current", barren_c=600.0)
    operation = status["supplies"]["main"]["operation"]
    operation["target"] = operation["target"] | {"means": "least local"}
    said = "\n".join(status_lines(status))
    assert "which the target means" in said
    assert "10.0 A·min grew no coat" in said
    assert "gauge its coat: restarted after 3 min off the current" in said
