"""R8: the target ends an operation exactly once, and the longest time and the largest charge end it too."""

from __future__ import annotations

from dataclasses import replace

import pytest

from supervisor.core.actions import Note, SwitchOff
from supervisor.core.alarms import AlarmState
from supervisor.core.anodize import State
from supervisor.core.effects import Effect, Interlock
from supervisor.core.events import Order
from supervisor.core.interlocks import CAUSES
from tests.core.kit import Bench
from tests.core.plain import line_setup


def notes(bench: Bench, state: State) -> list[Note]:
    """What was told of reaching a state."""
    return [note for note in bench.named(Note) if note.kind == "operation" and note.data["state"] == state]


def until_over(bench: Bench, most_s: float = 400.0) -> None:
    end_s = bench.now_s + most_s
    while not bench.operation().over and bench.now_s < end_s:
        bench.run(2.0)


def test_reaching_the_target_ends_the_operation_exactly_once() -> None:
    bench = Bench().running()
    until_over(bench)
    offs = len(bench.named(SwitchOff))
    bench.run(10.0)
    assert bench.stands() is State.COMPLETE
    assert [len(notes(bench, state)) for state in (State.STOPPING, State.COMPLETE)] == [1, 1]
    assert len(bench.named(SwitchOff)) == offs
    assert all(alarm.state is AlarmState.NORMAL for alarm in bench.line.state.alarms.values())


def test_the_line_wakes_between_two_readings_to_stop_on_target() -> None:
    bench = Bench().running()
    stopped_s = 0.0
    while bench.stands() is State.RUNNING:
        moment_s = bench._wake_s()
        if moment_s is not None and moment_s <= bench.now_s + 0.4:
            bench.now_s = moment_s
            bench.wake_up()
            stopped_s = bench.now_s
        else:
            bench.later(0.4)
            bench.scan()
    plan = bench.operation().plan
    began_s = bench.operation().began_s
    # The soft start rises by a tenth each second, set one step ahead: 1.95 A x (0.1 + ... + 1.0) x 1 s in its 10 s.
    full_s = (plan.target_c - 1.95 * 5.5) / 1.95
    assert stopped_s - began_s == pytest.approx(10.0 + full_s, abs=0.02)


def test_longest_time_and_largest_charge_are_a_quarter_above_the_plan() -> None:
    plan = Bench().running().operation().plan
    assert plan.longest_s == pytest.approx(1.25 * (plan.target_c / 1.95 + 5.0))
    assert plan.largest_c == pytest.approx(1.25 * plan.target_c)


@pytest.mark.parametrize("gain", [0.7, 0.3])
def test_a_meter_that_reads_low_does_not_lengthen_the_operation(gain: float) -> None:
    """Also where the line file has it only warn when meter and set point are apart."""
    setup = line_setup()
    only_warns = {**setup.interlocks, "meters-differ": Interlock(Effect.WARN)}
    bench = Bench(replace(setup, interlocks=only_warns))
    bench.start_service()
    bench.devices["main"].gain = gain
    bench.start()
    until_over(bench)
    operation = bench.operation()
    assert operation.state is State.STOPPED
    assert operation.why == "largest-charge"
    assert operation.commanded_c == pytest.approx(operation.plan.largest_c, rel=0.01)
    assert bench.alarm("main/largest-charge") is AlarmState.LATCHED_UNACKNOWLEDGED
    assert bench.line.state.loads["load-1"].suspect == "largest-charge"


def test_a_current_that_hardly_flows_ends_at_the_longest_time() -> None:
    bench = Bench()
    bench.start_service()
    bench.ask("start", order=Order(0.013, 1.0, mode="voltage"))
    bench.devices["main"].gain = 0.3
    bench.run(1.0)
    until_over(bench)
    operation = bench.operation()
    assert (operation.state, operation.why) == (State.STOPPED, "longest-time")
    assert operation.counted_s - operation.began_s == pytest.approx(operation.plan.longest_s, abs=1.5)
    assert bench.alarm("main/longest-time") is AlarmState.LATCHED_UNACKNOWLEDGED


@pytest.mark.parametrize("cause", ["longest-time", "largest-charge"])
def test_both_ends_are_told_by_a_high_alarm(cause: str) -> None:
    assert CAUSES[cause].priority == "high"


def test_the_longest_time_goes_on_while_held() -> None:
    bench = Bench().running()
    bench.ask("hold")
    longest_s = bench.operation().plan.longest_s
    bench.run(longest_s + 1.0)
    assert bench.stands() is State.STOPPED
    assert bench.operation().why == "longest-time"


def test_both_counts_go_on_over_hold_and_restart() -> None:
    bench = Bench().running(target_um=5.0)
    began_s = bench.operation().began_s
    for _ in range(3):
        counted_c = bench.operation().commanded_c
        charge_c = bench.operation().dose.charge.best
        bench.ask("hold")
        bench.run(2.0)
        assert bench.ask("restart").ok
        bench.run(12.0)
        assert bench.operation().commanded_c > counted_c + 10.0
        assert bench.operation().dose.charge.best > charge_c + 10.0
        assert bench.operation().began_s == began_s


def test_commanded_charge_counts_on_while_off_is_not_proven() -> None:
    bench = Bench().running(target_um=5.0)
    bench.obeys = False
    bench.ask("hold")
    before_c = bench.operation().commanded_c
    bench.later(10.0)
    bench.wake_up()
    assert bench.operation().commanded_c - before_c == pytest.approx(19.5, rel=0.01)


def test_zero_drift_of_the_meter_while_held_moves_the_best_charge_by_nothing() -> None:
    bench = Bench().running(target_um=5.0)
    bench.ask("hold")
    bench.run(2.0)
    before = bench.operation().dose.charge
    for _ in range(20):
        bench.later(0.4)
        bench.temperature(20.5)
        bench.current(0.03)
    after = bench.operation().dose.charge
    assert after.best == before.best
    assert after.low == before.low
    assert after.high > before.high


def test_a_target_crossed_while_holding_completes_once_off_is_proven() -> None:
    bench = Bench().running()
    bench.run(bench.operation().plan.target_c / 1.95 - 7.8)
    assert bench.stands() is State.RUNNING
    bench.drops = SwitchOff
    bench.ask("hold")
    assert bench.stands() is State.HOLDING
    bench.run(10.0)
    assert bench.stands() is State.STOPPING
    bench.drops = None
    bench.run(2.0)
    assert bench.stands() is State.COMPLETE


def test_a_trip_while_stopping_at_target_ends_aborted() -> None:
    bench = Bench().running()
    bench.drops = SwitchOff
    while bench.stands() is State.RUNNING:
        bench.run(0.4)
    assert bench.stands() is State.STOPPING
    bench.ask("abort")
    bench.drops = None
    bench.run(2.0)
    assert bench.stands() is State.ABORTED
