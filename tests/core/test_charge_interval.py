"""R5: the charge interval holds the true charge, whatever is lost, late, repeated or restarted."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from supervisor.core.actions import ArmTimeOut, SwitchOff
from supervisor.core.anodize import State
from supervisor.core.dose import GAP_PERIODS, Dose, Metering, begin, read
from supervisor.core.events import Order, Quality, Started
from supervisor.core.setup import Accuracy, LineSetup
from supervisor.trade.charge import Interval
from tests.core.kit import Bench, of_kind
from tests.core.plain import line_setup

PERIOD_S, MOST_A = 0.4, 10.0
METERS = st.builds(Accuracy, st.floats(0.0, 0.05), st.floats(0.0, 0.1))


class Truth:
    """A true current that lies between the readings around it, or anywhere up to the supply's most in a gap."""

    def __init__(self) -> None:
        self.times_s = [0.0]
        self.charges_c = [0.0]

    def flow(self, elapsed_s: float, charge_c: float) -> None:
        self.times_s.append(self.times_s[-1] + elapsed_s)
        self.charges_c.append(self.charges_c[-1] + charge_c)

    def until_c(self, at_s: float) -> float:
        return self.charges_c[max(0, bisect_right(self.times_s, at_s + 1e-9) - 1)]


@settings(max_examples=50, derandomize=True, deadline=None)
@given(
    meter=METERS,
    steps=st.lists(
        st.tuples(
            st.sampled_from(["good", "good", "good", "gap", "late", "twice"]),
            st.floats(0.01, 1.0),  # of the longest time without a gap, or of a gap of 20 s
            st.floats(0.0, MOST_A),  # true current at the end
            st.floats(0.0, 1.0),  # where between its ends the true mean lies
            st.floats(-1.0, 1.0),  # error as a share of the limit
        ),
        min_size=1,
        max_size=40,
    ),
)
def test_the_interval_holds_a_true_charge_that_keeps_the_assumptions(
    meter: Accuracy, steps: list[tuple[str, float, float, float, float]]
) -> None:
    truth, metering = Truth(), Metering(meter, PERIOD_S, MOST_A)
    dose, before_a, older = begin(Dose(), 0.0), 0.0, (0.0, 0.0)
    for kind, share, true_a, mean, error in steps:
        elapsed_s = GAP_PERIODS * PERIOD_S + 20 * share if kind == "gap" else GAP_PERIODS * PERIOD_S * share
        low_a, high_a = (0.0, MOST_A) if kind == "gap" else sorted((before_a, true_a))
        truth.flow(elapsed_s, elapsed_s * (low_a + mean * (high_a - low_a)))
        now_s, shown_a = truth.times_s[-1], shown(true_a, meter, error)
        if kind == "late":
            dose = read(dose, older[1], older[0], metering)
        for _ in range(2 if kind == "twice" else 1):
            dose = read(dose, shown_a, now_s, metering)
        older, before_a = (now_s, shown_a), true_a
        held = truth.until_c(now_s)
        assert dose.charge.low - 1e-9 <= held <= dose.charge.high + 1e-9
        assert dose.charge.low <= dose.charge.best + 1e-9 <= dose.charge.high + 2e-9


def shown(true_a: float, meter: Accuracy, error: float) -> float:
    """A reading whose error, taken by the meter as a share of what it shows, stays within its limit."""
    limit_a = (true_a * meter.of_reading + meter.absolute) / (1 + meter.of_reading)
    return true_a + error * limit_a


def run_truth(bench: Bench, seconds: float, step_s: float = 0.1) -> float:
    """Let time pass with the devices' true current integrated; return the true charge, C."""
    charge_c, end_s = 0.0, bench.now_s + seconds
    while bench.now_s < end_s - 1e-9:
        flowing_a = bench.devices["main"].current_a
        bench.later(step_s)
        charge_c += flowing_a * step_s
        if round(bench.now_s / step_s) % 4 == 0:
            bench.scan()
        else:
            bench.wake_up()
    bench.scan()
    return charge_c


def holds(charge: Interval, true_c: float) -> bool:
    return charge.low <= true_c <= charge.high


@settings(max_examples=12, derandomize=True, deadline=None)
@given(
    script=st.lists(
        st.tuples(st.sampled_from(["run", "hold", "restart", "deaf", "lie", "killed"]), st.integers(1, 40)), max_size=4
    ),
    gain=st.floats(0.999, 1.001),
)
def test_the_interval_holds_the_truth_over_whole_runs(script: list[tuple[str, int]], gain: float) -> None:
    bench = Bench()
    bench.start_service()
    bench.devices["main"].gain = gain
    assert bench.start(target_um=20.0).ok
    true_c = 0.0
    for what, tenths in script:
        if what == "hold":
            bench.ask("hold")
        elif what == "restart":
            bench.ask("alarm reset", alarm="main/interrupted")
            bench.ask("restart")
        elif what == "deaf":
            bench.silent = {"main"}
        elif what == "lie":
            bench.current(3.0, quality=Quality.MALFORMED)
        elif what == "killed":
            again = Bench(state=bench.line.state, now_s=bench.now_s)
            again.devices, again.asked = bench.devices, bench.asked
            bench = again
            bench.give(Started(bench.at, "boot", "1", "hash", watch_only=False, journal_s=bench.now_s))
        true_c += run_truth(bench, tenths / 10)
        bench.silent = set()
        true_c += run_truth(bench, 1.2)
        assert holds(bench.operation().dose.charge, true_c)


def test_a_hold_right_after_on_is_counted_though_no_reading_saw_the_current() -> None:
    bench = Bench()
    bench.start_service()
    assert bench.ask("start", order=Order(0.013, 20.0, ramp_s=0.0)).ok
    true_c = 0.0
    for what in ("", "hold"):
        if what:
            bench.ask("hold")
        flowing_a = bench.devices["main"].current_a
        bench.later(0.15)
        true_c += flowing_a * 0.15
    bench.run(1.0)
    assert true_c > 0.2
    assert bench.stands() is State.HELD
    assert holds(bench.operation().dose.charge, true_c)
    assert bench.operation().dose.charge.high < 2.0


def killed(bench: Bench, away_s: float, *, same_boot: bool = True, silent_before_s: float = 0.0) -> Bench:
    """The supervisor dies and comes back; the devices go on meanwhile."""
    bench.later(silent_before_s)
    journal_s = bench.now_s
    bench.give(bench.request("alarm reset", alarm="nothing"))
    now_s = bench.now_s + away_s if same_boot else 50.0
    again = Bench(bench.setup, state=bench.line.state, now_s=now_s)
    again.devices, again.asked = bench.devices, bench.asked
    again.give(Started(again.at, "boot", "1", "hash", watch_only=False, journal_s=journal_s, same_boot=same_boot))
    return again


def test_after_the_supervisor_died_the_interval_is_wider_by_the_gap_and_holds_the_truth() -> None:
    bench = Bench().running(target_um=20.0)
    before = bench.operation().dose.charge
    true_c = before.best + bench.devices["main"].current_a * 30.0
    again = killed(bench, 30.0)
    again.run(2.0)
    after = again.operation().dose.charge
    assert again.stands() is State.HELD
    assert again.operation().why == "interrupted"
    assert holds(after, true_c)
    assert after.high - after.low >= 1.95 * 30.0
    assert again.ask("alarm reset", alarm="main/interrupted").ok
    assert again.ask("restart").ok


def test_in_another_boot_without_a_bound_the_restart_is_refused() -> None:
    again = killed(Bench().running(target_um=20.0), 0.0, same_boot=False)
    again.run(2.0)
    again.ask("alarm reset", alarm="main/interrupted")
    assert again.operation().dose.unbounded
    (reason,) = again.ask("restart").reasons
    assert reason.startswith("charge bounded: ")


def with_time_out(seconds: float) -> LineSetup:
    setup = line_setup()
    return replace(setup, supplies={"main": replace(setup.supplies["main"], device_time_out_s=seconds)})


def test_in_another_boot_a_confirmed_time_out_of_the_device_bounds_the_charge() -> None:
    bench = Bench(with_time_out(5.0)).running(target_um=20.0)
    before = bench.operation().dose.charge
    again = killed(bench, 0.0, same_boot=False)
    again.run(2.0)
    after = again.operation().dose.charge
    assert holds(after, before.best + 1.95 * 5.0)
    assert 10.0 * 5.0 <= after.high - before.high < 10.0 * 6.0
    again.ask("alarm reset", alarm="main/interrupted")
    assert again.ask("restart").ok


def test_the_time_out_begins_with_the_last_traffic_and_not_with_the_last_good_reading() -> None:
    bench = Bench(with_time_out(5.0)).running(target_um=20.0)
    before = bench.operation().dose.charge
    again = killed(bench, 0.0, same_boot=False, silent_before_s=2.0)
    again.run(2.0)
    assert again.operation().dose.charge.high - before.high >= 10.0 * (5.0 + 2.0)


def test_a_time_out_the_device_did_not_confirm_bounds_nothing() -> None:
    bench = Bench(with_time_out(5.0))
    bench.drops = ArmTimeOut
    again = killed(bench.running(target_um=20.0), 0.0, same_boot=False)
    assert again.operation().dose.unbounded


def test_the_time_out_is_armed_at_every_start_after_off() -> None:
    bench = Bench(with_time_out(5.0))
    step = bench.give(Started(bench.at, "boot", "1", "hash", watch_only=False))
    (armed,) = of_kind(step, ArmTimeOut)
    (off,) = of_kind(step, SwitchOff)
    assert (armed.time_out_s, armed.number > off.number) == (5.0, True)
    assert bench.supply().armed
