"""R5 over gaps: what a supply says of itself narrows one, and never below what may have flowed."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from supervisor.core.dose import Dose, Metering, begin, lost_track, read
from supervisor.core.gaps import Counter, counter_read, set_read_back
from supervisor.core.setup import Accuracy, LineSetup
from supervisor.trade.charge import Interval
from supervisor.trade.metering import meter
from tests.core.kit import Bench
from tests.core.plain import line_setup

MOST_A, STEP_A, PERIOD_S = 10.0, 0.001, 0.4
EXACT = Metering(Accuracy(0.0, 0.0), PERIOD_S, MOST_A)
COUNTER = Counter(Accuracy(0.005, 0.36), MOST_A)


def run(dose: Dose, until_s: float, current_a: float, metering: Metering = EXACT) -> Dose:
    """Read a steady current every period."""
    assert dose.last_s is not None
    at_s = dose.last_s
    while at_s < until_s - 1e-9:
        at_s = min(at_s + PERIOD_S, until_s)
        dose = read(dose, current_a, at_s, metering)
    return dose


def steady(until_s: float = 20.0, current_a: float = 2.0) -> Dose:
    """A current that flows, and is read, from the first."""
    return run(replace(begin(Dose(), 0.0), last=Interval(current_a, current_a, current_a)), until_s, current_a)


def over(dose: Dose, seconds: float, current_a: float = 2.0) -> Dose:
    """A gap of so long, ended by a reading."""
    assert dose.last_s is not None
    return read(dose, current_a, dose.last_s + seconds, EXACT)


# -- the set current


def test_the_same_set_current_on_both_ends_bounds_a_gap() -> None:
    before = set_read_back(steady(), 2.0, 19.9, STEP_A)
    gap = over(before, 30.0)
    assert gap.charge.high - before.charge.high == pytest.approx(MOST_A * 30.0)
    after = set_read_back(gap, 2.0, 50.0, STEP_A)
    assert after.charge.high - before.charge.high == pytest.approx(2.0 * 1.05 * 30.0)
    assert after.charge.low == before.charge.low
    assert set_read_back(after, 2.0, 51.0, STEP_A).charge == after.charge


@pytest.mark.parametrize("back_a", [1.9, 2.1, 10.0], ids=["less", "more", "all it can give"])
def test_another_set_current_after_a_gap_narrows_nothing(back_a: float) -> None:
    gap = over(set_read_back(steady(), 2.0, 19.9, STEP_A), 30.0)
    after = set_read_back(gap, back_a, 50.0, STEP_A)
    assert after.charge == gap.charge
    assert set_read_back(after, 2.0, 51.0, STEP_A).charge == gap.charge


def test_a_set_current_read_on_one_end_alone_narrows_nothing() -> None:
    gap = over(steady(), 30.0)
    assert set_read_back(gap, 2.0, 50.0, STEP_A).charge == gap.charge
    early = set_read_back(over(set_read_back(steady(), 2.0, 19.9, STEP_A), 30.0), 2.0, 49.9, STEP_A)
    assert early.charge == gap.charge


def test_a_reading_above_the_set_current_is_believed_over_a_gap() -> None:
    gap = over(set_read_back(steady(), 1.0, 19.9, STEP_A), 30.0)
    after = set_read_back(gap, 1.0, 50.0, STEP_A)
    assert after.charge.high == pytest.approx(40.0 + 2.0 * 30.0)


# -- the supply's own counter


MOMENTS = st.tuples(st.sampled_from([0.0, 0.2]), st.sampled_from([-0.05, 0.05]))
"""When a counter is read after the meter, and how far its own moment is from the one that is told, s."""


@settings(max_examples=100, derandomize=True, deadline=None)
@example(flowed_a=0.0, outside_a=2.0, dip=None, began_c=0.0, gain=0.0, before=(0.2, -0.05), after=(0.2, 0.05))
@example(flowed_a=9.0, outside_a=10.0, dip=None, began_c=0.0, gain=0.00497, before=(0.0, -0.05), after=(0.0, 0.05))
@example(flowed_a=9.0, outside_a=2.0, dip=None, began_c=5000.0, gain=-0.00497, before=(0.0, 0.05), after=(0.0, -0.05))
@given(
    flowed_a=st.sampled_from([0.0, 2.0, MOST_A]) | st.floats(0.0, MOST_A),
    outside_a=st.sampled_from([2.0, MOST_A]),
    dip=st.sampled_from([None, None, 0.0, 0.5, 1.0]),
    began_c=st.sampled_from([0.0, 30.0, 5000.0]),
    gain=st.sampled_from([-0.00497, 0.0, 0.00497]),
    before=MOMENTS,
    after=MOMENTS,
)
def test_the_counter_never_narrows_a_gap_below_the_truth(
    flowed_a: float, outside_a: float, dip: float | None, began_c: float, gain: float,
    before: tuple[float, float], after: tuple[float, float],
) -> None:  # fmt: skip
    """Before the gap and after it flows another current; a dip of the mains within it lets the counter begin anew."""
    counter, true_c, gap_s = Counter(Accuracy(0.005, 1e-6), MOST_A, 0.05), outside_a * 20.0, 30.0
    early_c = sum(before) * (outside_a if sum(before) < 0 else flowed_a)
    late_c = sum(after) * (flowed_a if sum(after) < 0 else outside_a)
    shown_c = (began_c + true_c + early_c) * (1 + gain)
    gap = over(counter_read(steady(20.0, outside_a), shown_c, 20.0 + before[0], counter), gap_s, flowed_a)
    counted_c = began_c + true_c + flowed_a * gap_s + late_c
    if dip is not None:
        counted_c = max(0.0, flowed_a * gap_s * (1 - dip) + late_c)
    narrowed = counter_read(gap, counted_c * (1 + gain), 50.0 + after[0], counter).charge
    assert narrowed.low - 1e-6 <= true_c + flowed_a * gap_s <= narrowed.high + 1e-6
    assert gap.charge.low <= narrowed.low <= narrowed.best <= narrowed.high <= gap.charge.high


def counted(began_c: float, after_c: float) -> tuple[Dose, Dose]:
    gap = over(counter_read(steady(), began_c, 20.0, COUNTER), 30.0)
    return gap, counter_read(gap, after_c, 50.0, COUNTER)


def test_a_counter_narrows_a_gap_to_its_own_error() -> None:
    gap, after = counted(5000.0, 5060.0)
    assert after.charge.high - after.charge.low == pytest.approx(
        gap.charge.high - gap.charge.low - 300.0 + 2 * (0.005 * 60.0 + 0.72)
    )
    assert after.charge.best == pytest.approx(100.0, abs=0.5)


def test_what_the_counter_has_narrowed_the_set_current_does_not_narrow_once_more() -> None:
    """The gap's most is in it no more: taking it off again would fall below what flowed."""
    before = counter_read(set_read_back(steady(), 2.0, 19.9, STEP_A), 4000.0, 20.0, COUNTER)
    narrowed = counter_read(over(before, 30.0), 4000.0, 50.0, COUNTER)
    assert narrowed.charge.high < before.charge.high + 5.0
    assert set_read_back(narrowed, 2.0, 50.1, STEP_A).charge == narrowed.charge


def test_a_counter_that_may_have_begun_anew_bounds_from_below_alone() -> None:
    for began_c, after_c, least_c in ((5.0, 65.0, 60.0), (5000.0, 30.0, 30.0)):
        gap, after = counted(began_c, after_c)
        assert after.charge.high == gap.charge.high
        assert after.charge.low == pytest.approx(gap.charge.low + least_c * 0.995 - 0.72)


def test_where_meter_and_counter_contradict_each_other_the_meter_stands() -> None:
    gap, after = counted(5000.0, 5000.0 + 20.0 * 30.0)
    assert after.charge == gap.charge


def test_without_a_gap_the_counter_moves_nothing() -> None:
    rough = replace(EXACT, accuracy=Accuracy(0.1, 0.0))
    dose = counter_read(run(begin(Dose(), 0.0), 20.0, 2.0, rough), 5000.0, 20.0, COUNTER)
    later = run(dose, 40.0, 2.0, rough)
    assert counter_read(later, 5040.0, 40.0, COUNTER).charge == later.charge


def test_what_was_counted_before_another_boot_bounds_nothing_after_it() -> None:
    gap = over(counter_read(steady(), 5000.0, 20.0, COUNTER), 30.0)
    dose = lost_track(gap, 5.0, MOST_A, 10.0)
    assert counter_read(dose, 5061.0, 5.0, COUNTER).charge == dose.charge


# -- what the meter is behind


def test_a_gap_of_a_filtered_meter_holds_what_it_does_not_show_yet() -> None:
    # A filter of 1 s that shows 2 A has swallowed 2 C, whatever the readings add up to.
    filtered = replace(EXACT, meter=meter("filter", 1.0, 0.0, 100.0, "mean"))
    dose = run(begin(Dose(), 0.0), 8.0, 2.0, filtered)
    gap = read(dose, 2.0, 38.0, filtered)
    after = run(gap, 48.0, 2.0, filtered)
    assert dose.charge.high == pytest.approx(2.0 * 8.0 + 2.0)
    assert dose.charge.low == pytest.approx(2.0 * 7.6 + 2.0)
    assert (gap.charge.low, gap.charge.high) == (dose.charge.low, dose.charge.high + 10.0 * 30.0)
    assert gap.charge.best == pytest.approx(2.0 * 37.8 + 2.0)
    for bound in ("low", "best", "high"):
        assert getattr(after.charge, bound) - getattr(gap.charge, bound) == pytest.approx(20.0)


# -- the line


def counting() -> LineSetup:
    plain = line_setup()
    counter = replace(plain.channels["main-voltage"], name="main-counter", point="charge", unit="C", high=1e9)
    supply = replace(plain.supplies["main"], counter="main-counter", counts=Accuracy(0.005, 0.36))
    return replace(plain, channels={**plain.channels, "main-counter": counter}, supplies={"main": supply})


def test_over_a_gap_in_life_the_set_current_bounds_what_flowed() -> None:
    bench = Bench().running(target_um=20.0)
    before: Interval = bench.operation().dose.charge
    bench.silent = {"main"}
    bench.later(2.0)
    bench.silent = set()
    bench.scan()
    after = bench.operation().dose.charge
    assert after.high - before.high == pytest.approx(1.95 * 1.05 * 2.0, rel=0.25)
    assert after.low - before.low < 0.9


def test_a_counter_whose_accuracy_nobody_told_narrows_nothing() -> None:
    setup = counting()
    assert setup.supplies["main"].counts is not None
    without = replace(setup, supplies={"main": replace(setup.supplies["main"], counts=None)})
    assert Bench(without).running().operation().dose.counted is None
