"""The transition tables: complete, reachable, and walked through the line."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from supervisor.core import alarms
from supervisor.core.actions import Note, SwitchOff
from supervisor.core.alarms import Alarm, AlarmState, AlarmTrigger
from supervisor.core.anodize import ENDING, ENERGISED, OVER, TABLE, State, Trigger
from supervisor.core.events import Order, RequestKind
from tests.core.kit import Bench


def reachable(table: dict[State, dict[Trigger, State | None]]) -> set[State]:
    found, border = {State.IDLE}, [State.IDLE]
    while border:
        for after in table[border.pop()].values():
            if after is not None and after not in found:
                found.add(after)
                border.append(after)
    return found


def test_every_state_of_an_operation_has_a_row_and_every_row_every_trigger() -> None:
    assert set(TABLE) == set(State)
    assert all(set(row) == set(Trigger) for row in TABLE.values())


def test_every_state_of_an_operation_can_be_reached_and_left() -> None:
    assert reachable(TABLE) == set(State)
    assert all(any(after for after in row.values()) for row in TABLE.values())


def test_on_is_entered_by_start_and_restart_alone() -> None:
    entries = {
        trigger
        for state, row in TABLE.items()
        for trigger, after in row.items()
        if after in ENERGISED and state not in ENERGISED
    }
    assert entries == {Trigger.START, Trigger.RESTART}


def test_whatever_takes_current_away_waits_for_the_proof_of_off() -> None:
    for state in ENERGISED:
        for after in TABLE[state].values():
            assert after is None or after in ENERGISED | ENDING
    assert not ENERGISED & OVER


@pytest.mark.parametrize("state", [State.RUNNING, State.HOLDING, State.HELD, State.RESTARTING, State.STOPPING])
def test_abort_acts_from_every_state_in_which_something_is_under_way(state: State) -> None:
    assert TABLE[state][Trigger.ABORT] is State.ABORTING


def test_every_alarm_state_has_a_row_and_every_row_every_trigger() -> None:
    assert set(alarms.TABLE) == set(AlarmState)
    assert all(set(row) == set(AlarmTrigger) for row in alarms.TABLE.values())


def test_every_alarm_state_can_be_reached() -> None:
    found, border = {AlarmState.NORMAL}, [AlarmState.NORMAL]
    while border:
        for after in set(alarms.TABLE[border.pop()].values()) - found:
            found.add(after)
            border.append(after)
    assert found == set(AlarmState)


def test_no_reset_hides_a_standing_cause_and_no_latch_ends_without_one() -> None:
    for state, row in alarms.TABLE.items():
        if state in alarms.STANDING:
            assert row[AlarmTrigger.RESET] is state
        if state in alarms.LATCHED:
            ends = {trigger for trigger, after in row.items() if after is AlarmState.NORMAL}
            assert ends == {AlarmTrigger.RESET}


def test_an_appearance_is_counted_and_dated_and_a_state_kept_is_the_same_alarm() -> None:
    alarm = alarms.appear(Alarm("bath-high", "acid"), 1.0, 5.0, latches=False)
    assert (alarm.count, alarm.since_s, alarm.since_wall_s, alarm.name) == (1, 1.0, 5.0, "acid/bath-high")
    assert alarms.turn(alarm, True, 2.0, 0.0, 0.0) == (alarm, False)
    again = alarms.appear(alarms.go(alarm), 4.0, 9.0, latches=False)
    assert (again.count, again.since_s, again.since_wall_s) == (2, 4.0, 9.0)


# -- every transition of an operation, driven through the line


def walk(bench: Bench, *steps: RequestKind | str) -> None:
    """Ask in turn; `proof` lets off be proven, `mute` keeps the supply from confirming off, `target` reaches it."""
    for step in steps:
        if step == "mute":
            bench.drops = SwitchOff
        elif step == "proof":
            bench.drops = None
            bench.run(2.0)
        elif step == "target":
            bench.run(bench.operation().plan.target_c / 1.95 + 3.0)
        elif step == "wait":
            bench.run(12.0)
        elif step == "start":
            assert bench.ask("start", order=Order(0.013, 1.0, ramp_s=5.0)).ok
        else:
            bench.ask(step)  # type: ignore[arg-type]


S = State
MOVES: list[tuple[tuple[str, ...], State, State]] = [
    (("start",), S.IDLE, S.RUNNING),
    (("start", "mute", "hold"), S.RUNNING, S.HOLDING),
    (("start", "mute", "stop"), S.RUNNING, S.STOPPING),
    (("start", "mute", "abort"), S.RUNNING, S.ABORTING),
    (("start", "mute", "target"), S.RUNNING, S.STOPPING),
    (("start", "hold", "proof"), S.HOLDING, S.HELD),
    (("start", "mute", "hold", "stop"), S.HOLDING, S.STOPPING),
    (("start", "mute", "hold", "abort"), S.HOLDING, S.ABORTING),
    (("start", "wait", "mute", "hold", "target"), S.HOLDING, S.STOPPING),
    (("start", "hold", "proof", "restart"), S.HELD, S.RESTARTING),
    (("start", "hold", "proof", "restart", "wait"), S.RESTARTING, S.RUNNING),
    (("start", "hold", "proof", "restart", "mute", "hold"), S.RESTARTING, S.HOLDING),
    (("start", "hold", "proof", "restart", "mute", "stop"), S.RESTARTING, S.STOPPING),
    (("start", "hold", "proof", "restart", "mute", "abort"), S.RESTARTING, S.ABORTING),
    (("start", "stop", "proof"), S.STOPPING, S.STOPPED),
    (("start", "target", "proof"), S.STOPPING, S.COMPLETE),
    (("start", "mute", "stop", "abort"), S.STOPPING, S.ABORTING),
    (("start", "abort", "proof"), S.ABORTING, S.ABORTED),
    (("start", "mute", "target", "abort", "proof"), S.ABORTING, S.ABORTED),
    (("start", "hold", "proof", "stop"), S.STOPPING, S.STOPPED),
    (("start", "hold", "proof", "abort"), S.ABORTING, S.ABORTED),
    (("start", "stop", "proof", "reset"), S.STOPPED, S.IDLE),
    (("start", "abort", "proof", "reset"), S.ABORTED, S.IDLE),
    (("start", "target", "proof", "reset"), S.COMPLETE, S.IDLE),
]


@pytest.mark.parametrize(
    ("steps", "before", "after"), MOVES, ids=lambda value: "-".join(value) if isinstance(value, tuple) else None
)
def test_every_move_of_an_operation_happens_in_the_line(steps: tuple[str, ...], before: State, after: State) -> None:
    bench = Bench()
    bench.start_service()
    walk(bench, *steps)
    assert bench.stands() is after
    told = [State(note.data["state"]) for note in bench.named(Note) if note.kind == "operation"]
    assert after in told
    assert before in [State.IDLE, *told]


def test_the_moves_tried_are_all_the_table_has_but_a_target_met_while_held_or_restarting() -> None:
    have = {(state, after) for state, row in TABLE.items() for after in row.values() if after is not None}
    tried = {(before, after) for _, before, after in MOVES}
    assert have - tried == {(S.HELD, S.STOPPING), (S.HELD, S.ABORTING)}
    # Both pass through in one step, as off is proven already: the walks `hold, proof, stop` and `hold, proof, abort`.


# -- every transition of an alarm, driven through the line: a trip latches, a warning does not

WARM, HOT, GOOD = 22.5, 25.0, 20.5
A = AlarmState
Alarmed = Callable[[Bench], None]


def bath(value_c: float) -> Alarmed:
    def to(bench: Bench) -> None:
        for _ in range(3):  # a warning waits for its delay, 10 s to come and 30 s to go
            bench.later(16.0)
            bench.temperature(value_c)

    return to


def ask(what: RequestKind) -> Alarmed:
    def to(bench: Bench) -> None:
        for name in tuple(bench.line.state.alarms):
            if name.split("/")[1] in {"bath-high", "bath-high-high"}:
                bench.ask(what, alarm=name)

    return to


ACK, RESET = ask("alarm acknowledge"), ask("alarm reset")

WALKS: list[tuple[str, tuple[Alarmed, ...], AlarmState]] = [
    ("bath-high", (bath(WARM),), A.UNACKNOWLEDGED),
    ("bath-high", (bath(WARM), RESET), A.UNACKNOWLEDGED),
    ("bath-high", (bath(WARM), ACK), A.ACKNOWLEDGED),
    ("bath-high", (bath(WARM), ACK, RESET), A.ACKNOWLEDGED),
    ("bath-high", (bath(WARM), bath(GOOD)), A.RETURNED_UNACKNOWLEDGED),
    ("bath-high", (bath(WARM), ACK, bath(GOOD)), A.NORMAL),
    ("bath-high", (bath(WARM), bath(GOOD), ACK), A.NORMAL),
    ("bath-high", (bath(WARM), bath(GOOD), RESET), A.NORMAL),
    ("bath-high", (bath(WARM), bath(GOOD), bath(WARM)), A.UNACKNOWLEDGED),
    ("bath-high-high", (bath(HOT),), A.UNACKNOWLEDGED),
    ("bath-high-high", (bath(HOT), ACK), A.ACKNOWLEDGED),
    ("bath-high-high", (bath(HOT), bath(GOOD)), A.LATCHED_UNACKNOWLEDGED),
    ("bath-high-high", (bath(HOT), ACK, bath(GOOD)), A.LATCHED_ACKNOWLEDGED),
    ("bath-high-high", (bath(HOT), bath(GOOD), ACK), A.LATCHED_ACKNOWLEDGED),
    ("bath-high-high", (bath(HOT), bath(GOOD), RESET), A.NORMAL),
    ("bath-high-high", (bath(HOT), ACK, bath(GOOD), RESET), A.NORMAL),
    ("bath-high-high", (bath(HOT), bath(GOOD), bath(HOT)), A.UNACKNOWLEDGED),
    ("bath-high-high", (bath(HOT), ACK, bath(GOOD), bath(HOT)), A.UNACKNOWLEDGED),
]


@pytest.mark.parametrize(("cause", "steps", "ends"), WALKS)
def test_every_move_of_an_alarm_happens_in_the_line(cause: str, steps: tuple[Alarmed, ...], ends: AlarmState) -> None:
    bench = Bench()
    bench.start_service()
    for step in steps:
        step(bench)
    assert bench.alarm(f"main-acid/{cause}") is ends
