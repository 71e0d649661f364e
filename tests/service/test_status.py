"""How the line stands, as told: nothing surer than what the newest readings bear out."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from supervisor.core.anodize import Operation, State
from supervisor.core.dose import GAP_PERIODS, Dose
from supervisor.core.events import Instant, Order, Quality, Reading
from supervisor.core.output import Output
from supervisor.core.plan import make_plan
from supervisor.core.state import Latest, LineState, SupplyState
from supervisor.service.status import status
from supervisor.trade.charge import Interval
from tests.core.kit import Bench, fitted_setup, line_setup

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
    contact = {"role": "auxiliary contact", "tank": None, "reading": "good"}
    assert status(made.setup, made.line.state, made.at)["contacts"]["shut"] == {**contact, "closed": False}
    made.later(0.1)
    made.contact(closed=True, quality=quality)
    told = status(made.setup, made.line.state, made.at)["contacts"]["shut"]
    assert told == {**contact, "reading": str(quality), "closed": closed}


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
