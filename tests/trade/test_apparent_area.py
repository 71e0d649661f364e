"""The apparent area: what is lost shows alike whether current or volts are held, and what explains a little of it."""

from __future__ import annotations

import math

import pytest

from supervisor.trade.apparent_area import drift, excess_v, log_share, reading_doubt
from supervisor.trade.cell import SURFACE_W_PER_M2, surface_c, voltage_v

AREA_M2 = 0.013
DENSITY = 150.0


def volts(density: float, bath_c: float) -> float:
    """What a load needs in a bath, its surface warmed by that very power."""
    found = 15.0
    for _ in range(50):
        found = voltage_v(density, surface_c(bath_c, density * found), 15.0)
    return found


def share(current_a: float, voltage_v: float, bath_c: float = 20.0) -> float:
    return math.exp(log_share(current_a, voltage_v, bath_c, 15.0, AREA_M2))


@pytest.mark.parametrize("density", [80.0, 150.0, 250.0])
@pytest.mark.parametrize("bath_c", [16.0, 20.0, 24.0])
def test_a_load_with_the_volts_of_its_current_has_the_area_given(density: float, bath_c: float) -> None:
    assert share(density * AREA_M2, volts(density, bath_c), bath_c) == pytest.approx(1.0)


def test_half_the_area_lost_shows_as_about_half_with_the_current_held() -> None:
    # The surface of what is left is warmer by more than the power on the whole area says.
    assert share(DENSITY * AREA_M2, volts(2 * DENSITY, 20.0)) == pytest.approx(0.5, rel=0.15)


def test_half_the_area_lost_shows_as_about_half_with_the_volts_held() -> None:
    assert share(DENSITY * AREA_M2 / 2, volts(DENSITY, 20.0)) == pytest.approx(0.5, rel=0.1)


def test_a_surface_is_warmer_than_its_bath_by_the_power_on_it() -> None:
    assert surface_c(20.0, 0.0) == 20.0
    # From memory: 1-2.5 degC with agitation.
    assert 21.0 <= surface_c(20.0, SURFACE_W_PER_M2) <= 22.5


def test_an_error_of_the_volts_counts_for_more_than_one_of_the_current() -> None:
    at_v = volts(DENSITY, 20.0)
    moved = math.log(share(DENSITY * AREA_M2 * 1.01, at_v * 0.99) / share(DENSITY * AREA_M2, at_v))
    assert moved == pytest.approx(reading_doubt(0.01, 0.01), rel=0.05)
    assert reading_doubt(0.0, 0.01) > reading_doubt(0.01, 0.0) > 0.0


def test_no_growth_is_no_drift_and_25_um_are_2_v() -> None:
    assert drift(0.0, 15.0) == 0.0
    assert excess_v(drift(25.0, 15.0), 17.0) == pytest.approx(2.0)
