"""What an operation keeps and forgets as it moves, what counts as commanded, and where the soft start ends."""

from __future__ import annotations

from dataclasses import replace

import pytest

from supervisor.core.anodize import (
    ENERGISED,
    OVER,
    TABLE,
    Operation,
    Ramp,
    State,
    Trigger,
    count_commanded,
    move,
    set_points,
)
from supervisor.core.dose import Dose
from supervisor.core.plan import Plan
from tests.core.plain import supply_setup

PLAN = Plan("current", 0.013, 20.0, 2000.0, 1.9505, 22.0, 1.95, 10.0, 1000.0, 1500.0, 3000.0)
RAMP = Ramp(100.0, 101.0, 0.5, 22.0, 3, 100.0)
UNDER_WAY = {State.RUNNING, State.HOLDING, State.HELD, State.RESTARTING}


def an_operation(state: State, **of: object) -> Operation:
    operation = Operation("main-1", "load-1", PLAN, state, Dose(), 100.0, 100.0, ramp=RAMP)
    return replace(operation, **of)  # type: ignore[arg-type]


def moved(operation: Operation, trigger: Trigger, why: str = "") -> Operation:
    after = move(operation, trigger, why)
    assert after is not None
    return after


def test_a_target_reached_stops_whatever_is_under_way_and_nothing_else() -> None:
    reached = {state: row[Trigger.TARGET] for state, row in TABLE.items() if row[Trigger.TARGET] is not None}
    assert reached == dict.fromkeys(UNDER_WAY, State.STOPPING)


def test_what_is_over_waits_for_a_reset_alone() -> None:
    assert {state for state, row in TABLE.items() if {by for by in row if row[by]} == {Trigger.RESET}} == OVER


def test_a_target_once_reached_stays_reached() -> None:
    stopping = moved(an_operation(State.RUNNING), Trigger.TARGET)
    assert stopping.at_target
    assert moved(stopping, Trigger.ABORT, "bath-high-high").at_target
    assert moved(stopping, Trigger.OFF_PROVEN_AT_TARGET).at_target


def test_the_end_of_the_soft_start_keeps_its_last_set_points() -> None:
    assert moved(an_operation(State.RESTARTING), Trigger.RAMPED).ramp == RAMP


def test_a_restart_forgets_why_the_load_was_held() -> None:
    assert moved(an_operation(State.HELD, why="bath-low-low"), Trigger.RESTART).why == ""


@pytest.mark.parametrize("state", sorted(ENERGISED))
def test_leaving_the_energised_states_forgets_the_soft_start_and_a_current_seen_low(state: State) -> None:
    held = moved(an_operation(state, low_since_s=103.0), Trigger.HOLD, "asked")
    assert (held.ramp, held.low_since_s, held.why) == (None, None, "asked")


def test_the_first_reason_to_leave_the_energised_states_is_kept_where_a_later_move_has_none() -> None:
    holding = moved(an_operation(State.RUNNING), Trigger.HOLD, "current-lost")
    assert moved(holding, Trigger.OFF_PROVEN).why == "current-lost"


def test_nothing_counts_as_commanded_while_off_is_proven() -> None:
    counted = count_commanded(an_operation(State.HELD, ramp=None), 110.0, off_proven=True)
    assert (counted.commanded_c, counted.counted_s) == (0.0, 110.0)


def test_the_set_current_counts_as_commanded_and_the_highest_of_the_plan_where_none_is_set() -> None:
    running, holding = an_operation(State.RUNNING), an_operation(State.HOLDING, ramp=None)
    assert count_commanded(running, 110.0, off_proven=False).commanded_c == pytest.approx(5.0)
    assert count_commanded(holding, 110.0, off_proven=False).commanded_c == pytest.approx(19.505)


def test_from_its_last_step_on_the_soft_start_sets_what_the_plan_says() -> None:
    supply = supply_setup("main", "acid")
    assert set_points(PLAN, supply, 8.999, 1.0)[0] == pytest.approx(1.950)
    assert set_points(PLAN, supply, 9.0, 1.0) == (1.9505, 22.0)
