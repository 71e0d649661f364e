"""How the line stands, as told: nothing surer than what the newest readings bear out."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from supervisor.core.alarm_log import Happening
from supervisor.core.alarms import Alarm, AlarmState
from supervisor.core.anodize import Operation, State
from supervisor.core.dose import GAP_PERIODS, Dose
from supervisor.core.events import Instant, Order, Quality, Reading
from supervisor.core.heating import HeatingState
from supervisor.core.interlocks import CAUSES
from supervisor.core.output import Output
from supervisor.core.plan import make_plan
from supervisor.core.setup import ContactSetup
from supervisor.core.state import Latest, LineState, SupplyState
from supervisor.core.switches import SwitchState
from supervisor.core.tank_setup import HeatingSetup
from supervisor.service.status import alarm_log, status
from supervisor.trade.charge import Interval
from tests.core.kit import Bench
from tests.core.plain import fitted_setup, line_setup

SETUP = line_setup()
MAIN = SETUP.supplies["main"]
PERIOD_S = SETUP.channels[MAIN.current].period_s
READ_S = 100.0
CHARGE = Interval(90.0, 100.0, 110.0)


def told(after_s: float, *, state: State = State.RUNNING, output: Output | None = None) -> dict[str, Any]:
    """Tell of an operation whose newest reading came `after_s` before now."""
    latest = Latest(Reading(MAIN.current, Quality.GOOD, 1.95), READ_S, READ_S, 1.95)
    plan, reasons = make_plan(SETUP, MAIN, Order(area_m2=0.013, target_um=20.0))
    assert plan is not None, reasons
    dose = Dose(CHARGE, READ_S, Interval(1.94, 1.95, 1.96))
    operation = Operation("test-1", "load-1", plan, state, dose, 0.0, READ_S)
    line = LineState(
        channels={MAIN.current: latest},
        supplies={"main": SupplyState(output=output or Output(wanted_on=True), operation=operation)},
    )
    found: dict[str, Any] = status(SETUP, line, Instant(READ_S + after_s, 1.0, 0.0))["supplies"]["main"]["operation"]
    return found


def test_between_two_readings_the_charge_is_told_as_it_was_read() -> None:
    assert told(GAP_PERIODS * PERIOD_S)["charge_c"] == {"low": 90.0, "best": 100.0, "high": 110.0}


def test_without_readings_charge_and_thickness_are_told_ever_less_sure() -> None:
    operation = told(60.0)
    assert operation["charge_c"] == {"low": 90.0, "best": 100.0, "high": 110.0 + 60.0 * MAIN.rated_current_a}
    assert operation["thickness_um"]["high"] == pytest.approx(
        operation["charge_c"]["high"] * SETUP.growth.high_um_m2_per_c / 0.013
    )


def test_an_off_that_is_not_proven_counts_as_on() -> None:
    assert told(60.0, state=State.ABORTING, output=Output(asked_wire_s=0.5))["charge_c"]["high"] > CHARGE.high


def test_with_off_proven_nothing_more_can_have_flowed() -> None:
    assert told(60.0, state=State.HELD, output=Output(proven_off=True))["charge_c"]["high"] == CHARGE.high


def test_what_is_over_stays_as_it_ended() -> None:
    over = replace(Output(), confirmed_s=READ_S)
    assert told(60.0, state=State.COMPLETE, output=over)["charge_c"]["high"] == CHARGE.high


def test_how_long_it_takes_yet_is_told_from_a_fresh_current_alone() -> None:
    age_limit_s = SETUP.channels[MAIN.current].age_limit_s
    assert told(0.0)["to_go_s"] == pytest.approx((told(0.0)["target"]["charge_c"] - 100.0) / 1.95)
    assert told(age_limit_s + 0.1)["to_go_s"] is None


@pytest.mark.parametrize(
    ("value", "after_s", "proven"), [(0.01, 0.4, True), (0.01, 60.0, False), (0.2, 0.4, False), (-0.2, 0.4, False)]
)
def test_off_is_told_as_proven_only_while_a_fresh_current_bears_it_out(
    value: float, after_s: float, proven: bool
) -> None:
    latest = Latest(Reading(MAIN.current, Quality.GOOD, value), READ_S, READ_S, value)
    line = LineState(channels={MAIN.current: latest}, supplies={"main": SupplyState(output=Output(proven_off=True))})
    told = status(SETUP, line, Instant(READ_S + after_s, 1.0, 0.0))
    assert told["supplies"]["main"]["off_proven"] is proven


def fitted(*, watch_only: bool = False) -> Bench:
    made = Bench(fitted_setup("contactor"))
    made.start_service(watch_only=watch_only)
    return made


def test_outputs_are_told_with_what_they_are_told_confirmed_and_safe() -> None:
    made = fitted(watch_only=True)
    made.deaf = {"fan"}
    made.ask("exercise", output="fan")
    now = status(made.setup, made.line.state, made.at)
    fan = {"role": "fan", "device": "board", "point": "fan"}
    assert now["outputs"]["fan"] == {**fan, "on": False, "confirmed": False, "safe_on": True}
    contactor = {"role": "contactor", "device": "relays", "point": "k1"}
    assert now["outputs"]["contactor"] == {**contactor, "on": False, "confirmed": True, "safe_on": False}
    assert now["exercise"] == "fan"
    assert status(made.setup, fitted().line.state, made.at)["exercise"] is None


@pytest.mark.parametrize(("quality", "closed"), [(Quality.GOOD, True), (Quality.NO_ANSWER, None)])
def test_a_contact_is_told_closed_open_or_not_known(quality: Quality, closed: bool | None) -> None:
    made = fitted()
    contact = {"role": "auxiliary contact", "tank": None, "reading": "good", "healthy": None}
    told = status(made.setup, made.line.state, made.at)["contacts"]["shut"]
    assert told == {**contact, "closed": False, "since_s": made.line.state.contacts["shut"].since_s}
    made.later(0.1)
    made.contact(closed=True, quality=quality)
    told = status(made.setup, made.line.state, made.at)["contacts"]["shut"]
    since_s = None if closed is None else made.now_s
    assert told == {**contact, "reading": str(quality), "closed": closed, "since_s": since_s}


def guarded() -> Bench:
    """A line whose only contact is a lid's over its acid tank, read closed once: the lid is open."""
    contact = ContactSetup("lid", "lid", "shut", "main-acid")
    made = Bench(replace(fitted_setup("remote"), contacts={"lid": contact}, heartbeats={}))
    made.start_service()
    made.later(0.1)
    made.contact(closed=True)
    return made


def test_a_contact_that_something_hangs_on_is_told_healthy_until_it_opens_or_is_not_heard() -> None:
    made = guarded()
    lid = status(made.setup, made.line.state, made.at)["contacts"]["lid"]
    assert (lid["healthy"], lid["since_s"]) == (True, made.now_s)
    made.later(0.1)
    made.contact(closed=False)
    assert status(made.setup, made.line.state, made.at)["contacts"]["lid"]["healthy"] is False
    made.contact(closed=True)
    silent = replace(made.at, process_s=made.now_s + 60.0)
    lid = status(made.setup, made.line.state, silent)["contacts"]["lid"]
    assert (lid["healthy"], lid["closed"], lid["reading"], lid["since_s"]) == (False, None, "stale", None)


def test_what_holds_a_tanks_temperature_is_told_with_what_it_does_now() -> None:
    plain = fitted_setup("contactor")
    tank = replace(
        plain.tanks["main-acid"],
        heating=HeatingSetup("fan", 65.0, 1.0, 30.0, 30.0, 0.01, 600.0, "", None),
        cooling=None,
    )
    made = Bench(replace(plain, tanks={"main-acid": tank}))
    made.start_service()
    told = status(made.setup, made.line.state, made.at)["tanks"]["main-acid"]
    assert told["heating"] == {"output": "fan", "on": False, "hold_c": 65.0, "asked_for": False}
    outputs = {**made.line.state.outputs, "fan": SwitchState(on=True)}
    heats = replace(made.line.state, heating={"main-acid": HeatingState(demanded=True)}, outputs=outputs)
    heating = status(made.setup, heats, made.at)["tanks"]["main-acid"]["heating"]
    assert (heating["on"], heating["asked_for"]) == (True, True)
    assert (told["role"], told["cooling"]) == ("anodize", None)


WARM = Alarm("bath-high", "acid", AlarmState.UNACKNOWLEDGED, since_wall_s=1.8e9, count=2, active=True, since_s=90.0)


def alarms(*known: Alarm, at_s: float = READ_S) -> list[dict[str, Any]]:
    line = LineState(supplies={"main": SupplyState()}, alarms={alarm.name: alarm for alarm in known})
    told: list[dict[str, Any]] = status(SETUP, line, Instant(at_s, 1.0, 0.0))["alarms"]
    return told


def test_an_alarm_is_told_with_what_happened_follows_to_do_first_and_how_long_there_is() -> None:
    row = CAUSES["bath-high"]
    (told,) = alarms(WARM)
    assert told == {
        "name": "acid/bath-high", "state": "unacknowledged", "priority": "medium", "active": True, "latched": False,
        "under": "", "what": row.what.format(subject="acid"), "follows": row.follows, "first": row.first,
        "time": row.time, "since_wall_s": 1.8e9, "count": 2, "why": "", "shelved_for_s": None,
    }  # fmt: skip


def test_a_consequence_a_shelved_one_and_a_latched_one_are_told_as_such_and_a_normal_one_is_not() -> None:
    under = replace(WARM, subject="a", under="acid/bath-high")
    shelved = replace(WARM, subject="b", state=AlarmState.SHELVED, why="pump is out (kim)", shelved_until_s=160.0)
    latched = replace(WARM, subject="c", state=AlarmState.LATCHED_UNACKNOWLEDGED, active=False, latch=True)
    over = replace(WARM, subject="d", state=AlarmState.NORMAL, active=False)
    told = {alarm["name"].partition("/")[0]: alarm for alarm in alarms(under, shelved, latched, over)}
    assert told.keys() == {"a", "b", "c"}
    assert told["a"]["under"] == "acid/bath-high"
    assert (told["b"]["shelved_for_s"], told["b"]["why"], told["b"]["active"]) == (60.0, "pump is out (kim)", True)
    assert (told["c"]["latched"], told["c"]["active"]) == (True, False)


def test_how_many_alarms_came_lately_and_which_mean_nothing_is_told() -> None:
    chatters = replace(WARM, subject="a", recent_s=(10.0, 20.0, 30.0))
    told_s = (READ_S - 601.0, READ_S - 599.0, READ_S)
    line = LineState(
        supplies={"main": SupplyState()},
        alarms={alarm.name: alarm for alarm in (WARM, chatters)},
        alarm_log=tuple(Happening(at_s, 0.0, "acid/bath-high", "unacknowledged", "cause appears") for at_s in told_s),
    )
    rate = status(SETUP, line, Instant(READ_S, 1.0, 0.0))["alarm_rate"]
    assert rate == {
        "told_lately": 2, "within_s": 600.0, "flood_from": 10, "chattering": ["a/bath-high"], "standing_long": [],
    }  # fmt: skip
    later = status(SETUP, line, Instant(90.0 + 86401.0, 1.0, 0.0))["alarm_rate"]
    assert (later["told_lately"], later["standing_long"]) == (0, ["a/bath-high", "acid/bath-high"])


def test_the_history_of_alarms_is_told_oldest_first() -> None:
    log = (
        Happening(1.0, 1.8e9, "acid/bath-high", "unacknowledged", "cause appears", under="main/supply-silent"),
        Happening(2.0, 1.8e9 + 1, "acid/bath-high", "shelved", "shelve", why="pump is out (kim)"),
    )
    told = alarm_log(LineState(alarm_log=log))
    assert told[0] == {
        "wall_s": 1.8e9, "name": "acid/bath-high", "what": "cause appears", "state": "unacknowledged",
        "under": "main/supply-silent", "why": "",
    }  # fmt: skip
    assert (told[1]["state"], told[1]["why"]) == ("shelved", "pump is out (kim)")


def test_a_heartbeat_is_told_until_it_is_stale() -> None:
    made = fitted()
    made.later(0.1)
    made.heartbeat(42.0)
    assert status(made.setup, made.line.state, made.at)["heartbeats"] == {"board": {"seconds": 42.0, "reading": "good"}}
    made.later(60.0)
    assert status(made.setup, made.line.state, made.at)["heartbeats"] == {
        "board": {"seconds": None, "reading": "stale"}
    }


def test_a_supply_with_knobs_is_told_to_wait_for_hands_until_they_are_confirmed() -> None:
    made = fitted()
    made.ask("start", order=Order(0.013, 5.0), confirmed=True)
    made.run(1.0)
    made.turn(1.95)
    made.run(1.0)
    waits = status(made.setup, made.line.state, made.at)["supplies"]["main"]
    made.ask("confirm")
    after = status(made.setup, made.line.state, made.at)["supplies"]["main"]
    assert (waits["control"], waits["waits_for_hands"], after["waits_for_hands"]) == ("contactor", True, False)
