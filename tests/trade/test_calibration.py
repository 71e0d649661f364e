"""Corrections between points and beyond, and what makes points no calibration."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.trade.boiling import boiling_c, saturation_c
from supervisor.trade.calibration import ICE_C, Point, corrected, correction, in_order, not_rising, too_near

COLD, HOT = Point(0.4, ICE_C), Point(99.0, 99.974)


def test_at_its_points_an_instrument_is_put_right() -> None:
    assert corrected((COLD, HOT), 0.4) == pytest.approx(0.0)
    assert corrected((COLD, HOT), 99.0) == pytest.approx(99.974)


def test_between_points_the_correction_lies_on_the_straight_line() -> None:
    middle = (COLD.shown + HOT.shown) / 2
    assert corrected((COLD, HOT), middle) == pytest.approx((COLD.true + HOT.true) / 2)
    bent = (Point(0.0, 0.0), Point(10.0, 11.0), Point(20.0, 20.0))
    assert corrected(bent, 5.0) == pytest.approx(5.5)
    assert corrected(bent, 15.0) == pytest.approx(15.5)


def test_beyond_the_outermost_points_the_correction_stays_what_it_is_there() -> None:
    assert corrected((COLD, HOT), -20.0) == pytest.approx(-20.4)
    assert corrected((COLD, HOT), 150.0) == pytest.approx(150.974)


@given(st.floats(-50.0, 200.0))
def test_nothing_is_corrected_by_more_than_at_a_point(shown: float) -> None:
    most = max(abs(correction(COLD)), abs(correction(HOT)))
    assert abs(corrected((COLD, HOT), shown) - shown) <= most + 1e-12


@given(st.lists(st.tuples(st.integers(1, 40), st.integers(1, 40)), min_size=2, max_size=6))
def test_what_shows_more_is_more(steps: list[tuple[int, int]]) -> None:
    shown, true, points = 0, 0, []
    for up, truly in steps:
        shown, true = shown + up, true + truly
        points.append(Point(float(shown), float(true)))
    readings = [shown / 7 for shown in range(-20, 7 * shown + 20, 3)]
    assert all(corrected(points, one) < corrected(points, other) for one, other in pairwise(readings))


def test_points_are_taken_in_whatever_order_they_come() -> None:
    assert in_order((HOT, COLD)) == (COLD, HOT)


def test_two_points_of_one_truth_are_one() -> None:
    near = Point(5.0, 9.9)
    assert too_near((HOT, COLD, near), 10.0) == [(COLD, near)]
    assert too_near((HOT, COLD, Point(10.0, 10.0)), 10.0) == []


def test_an_instrument_that_shows_no_more_where_there_is_more_has_no_correction() -> None:
    assert not_rising((Point(50.0, 0.0), Point(50.0, 99.0))) == [(Point(50.0, 0.0), Point(50.0, 99.0))]
    assert not_rising((HOT, COLD)) == []


# Sources: ITS-90 has water's triple point at 273.16 K, and the ice point 0.01 K below it, 273.15 K; water boils at
# 99.974 degC under 101,325 Pa (ITS-90), and at 93 degC under 78.5 kPa (steam tables, from memory).
def test_the_two_fixed_points_of_a_thermometer_are_the_published_ones() -> None:
    assert pytest.approx(273.16 - 0.01 - 273.15) == ICE_C
    assert boiling_c(0.0) == pytest.approx(99.974, abs=0.002)
    assert saturation_c(78_500.0) == pytest.approx(93.0, abs=0.05)
