"""Limits of a bath: entered at their value, left a deadband inside it, warnings after their delay, trips at once."""

from __future__ import annotations

import pytest

from supervisor.core.limits import BandState, raised, step
from supervisor.core.tank_setup import BandSetup

BAND = BandSetup(16.0, 19.0, 22.0, 24.0, 0.3, 10.0)


def walk(*readings: tuple[float, float]) -> frozenset[str]:
    """The limits a bath is beyond after readings of (time, degC)."""
    state = BandState()
    for at_s, value_c in readings:
        state = step(state, value_c, at_s, BAND)
    return state.beyond


@pytest.mark.parametrize(("value_c", "limit"), [(24.0, "bath-high-high"), (16.0, "bath-low-low")])
def test_a_trip_comes_at_its_limit_without_delay(value_c: float, limit: str) -> None:
    assert walk((0.0, value_c)) == {limit}


@pytest.mark.parametrize("value_c", [23.99, 16.01])
def test_no_trip_comes_before_its_limit(value_c: float) -> None:
    assert walk((0.0, value_c)) == frozenset()


@pytest.mark.parametrize(("value_c", "limit"), [(22.0, "bath-high"), (19.0, "bath-low")])
def test_a_warning_waits_for_its_delay(value_c: float, limit: str) -> None:
    assert walk((0.0, value_c), (9.99, value_c)) == frozenset()
    assert walk((0.0, value_c), (10.0, value_c)) == {limit}


def test_a_moment_inside_the_band_begins_the_delay_anew() -> None:
    assert walk((0.0, 22.5), (9.0, 21.9), (9.5, 22.5), (19.4, 22.5)) == frozenset()


@pytest.mark.parametrize(
    ("beyond_c", "within_deadband_c", "clear_c", "limit"),
    [(24.0, 23.7, 23.69, "bath-high-high"), (16.0, 16.3, 16.31, "bath-low-low")],
)
def test_a_trip_is_left_a_deadband_inside_its_limit(
    beyond_c: float, within_deadband_c: float, clear_c: float, limit: str
) -> None:
    assert limit in walk((0.0, beyond_c), (1.0, within_deadband_c))
    assert limit not in walk((0.0, beyond_c), (1.0, clear_c))


@pytest.mark.parametrize(
    ("beyond_c", "within_deadband_c", "clear_c", "limit"),
    [(22.0, 21.7, 21.69, "bath-high"), (19.0, 19.3, 19.31, "bath-low")],
)
def test_a_warning_is_left_a_deadband_inside_its_limit(
    beyond_c: float, within_deadband_c: float, clear_c: float, limit: str
) -> None:
    warned = ((0.0, beyond_c), (10.0, beyond_c))
    assert walk(*warned, (11.0, within_deadband_c)) == {limit}
    assert walk(*warned, (11.0, clear_c)) == frozenset()


def test_a_bath_that_trips_for_long_warns_as_well() -> None:
    assert walk((0.0, 25.0), (10.0, 25.0)) == {"bath-high", "bath-high-high"}


def test_readings_that_are_not_believed_begin_a_warnings_delay_and_end_none() -> None:
    began = raised(BandState(), 22.5, 0.0, BAND)
    assert began == BandState(frozenset(), 0.0)
    assert raised(began, 22.5, 10.0, BAND).beyond == {"bath-high"}
    assert raised(began, 20.5, 5.0, BAND) == began
