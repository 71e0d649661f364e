"""Charge from readings: a best value between bounds that hold it."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from supervisor.trade.charge import NOTHING, Interval, between_readings, over_gap, with_accuracy

AMPS = st.floats(0.0, 1e4)


def exact(current_a: float) -> Interval:
    return Interval(current_a, current_a, current_a)


def test_a_constant_current_gives_current_times_time() -> None:
    assert between_readings(exact(2.0), exact(2.0), 30.0) == Interval(60.0, 60.0, 60.0)


def test_a_changing_current_gives_the_trapezium_between_the_two_rectangles() -> None:
    assert between_readings(exact(1.0), exact(3.0), 10.0) == Interval(10.0, 20.0, 30.0)


def test_a_known_step_splits_the_best_value_there() -> None:
    assert between_readings(exact(0.0), exact(2.0), 10.0, (4.0,)).best == pytest.approx(12.0)


def test_between_the_first_and_the_last_of_several_steps_the_mean_flows() -> None:
    assert between_readings(exact(0.0), exact(2.0), 10.0, (2.0, 3.0, 6.0)).best == pytest.approx(0.0 + 4.0 + 8.0)


def test_a_current_no_reading_saw_raises_the_upper_bound_alone() -> None:
    plain, raised = (between_readings(exact(0.0), exact(0.0), 2.0, (), unseen) for unseen in (0.0, 3.0))
    assert (raised.low, raised.best) == (plain.low, plain.best)
    assert raised.high == 6.0


def test_a_gap_holds_all_from_nothing_to_the_most_the_supply_gives() -> None:
    assert over_gap(exact(2.0), exact(2.0), 10.0, 5.0) == Interval(0.0, 20.0, 50.0)


def test_over_a_gap_a_meter_that_showed_more_than_the_rating_is_believed_for_the_bound() -> None:
    assert over_gap(exact(6.0), exact(2.0), 10.0, 5.0).high == 60.0


def test_the_limit_of_error_widens_a_reading_both_ways() -> None:
    band = with_accuracy(2.0, 0.01, 0.005)
    assert [band.low, band.best, band.high] == pytest.approx([1.975, 2.0, 2.025])


def test_a_current_the_wrong_way_grows_no_coat() -> None:
    assert with_accuracy(-1.0, 0.01, 0.005) == NOTHING


def test_a_reading_just_below_zero_may_be_a_small_current() -> None:
    assert with_accuracy(-0.002, 0.0, 0.005).high == pytest.approx(0.003)


@settings(max_examples=50, derandomize=True, deadline=None)
@given(before=AMPS, after=AMPS, elapsed_s=st.floats(0.0, 1e5), of_reading=st.floats(0.0, 0.1), most_a=AMPS)
def test_bounds_stand_in_order(before: float, after: float, elapsed_s: float, of_reading: float, most_a: float) -> None:
    first, second = (with_accuracy(value, of_reading, 0.01) for value in (before, after))
    for charge in (between_readings(first, second, elapsed_s), over_gap(first, second, elapsed_s, most_a)):
        slack = 1e-9 * (1.0 + charge.high)
        assert 0.0 <= charge.low <= charge.best + slack
        assert charge.best <= charge.high + slack


def test_intervals_add_and_multiply_bound_by_bound() -> None:
    assert Interval(1.0, 2.0, 3.0).plus(Interval(10.0, 20.0, 30.0)) == Interval(11.0, 22.0, 33.0)
    assert Interval(1.0, 2.0, 3.0).times(Interval(2.0, 3.0, 4.0)) == Interval(2.0, 6.0, 12.0)
