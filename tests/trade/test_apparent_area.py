"""The apparent area: what is lost shows alike whether current or volts are held, and what explains a little of it."""

from __future__ import annotations

import math

import pytest

from supervisor.trade.apparent_area import drift, excess_v, log_share, reading_doubt
from supervisor.trade.cell import voltage_v

VOLTS = voltage_v(150.0, 20.0, 15.0)


def test_a_load_with_the_volts_of_its_current_has_the_area_given() -> None:
    assert log_share(1.95, VOLTS, 20.0, 15.0, 0.013) == pytest.approx(0.0, abs=1e-12)


def test_half_the_area_lost_shows_as_half_with_the_volts_held() -> None:
    assert log_share(0.975, VOLTS, 20.0, 15.0, 0.013) == pytest.approx(math.log(0.5))


def test_half_the_area_lost_shows_as_half_with_the_current_held() -> None:
    assert log_share(1.95, voltage_v(300.0, 20.0, 15.0), 20.0, 15.0, 0.013) == pytest.approx(math.log(0.5))


def test_a_warmer_bath_alone_is_no_more_area() -> None:
    assert log_share(1.95, voltage_v(150.0, 24.0, 15.0), 24.0, 15.0, 0.013) == pytest.approx(0.0, abs=1e-12)


def test_an_error_of_the_volts_counts_for_more_than_one_of_the_current() -> None:
    doubt = reading_doubt(0.01, 0.01)
    moved = log_share(1.95 * 1.01, VOLTS * 0.99, 20.0, 15.0, 0.013)
    assert moved == pytest.approx(doubt, rel=0.02)


def test_no_growth_is_no_drift_and_25_um_are_2_v() -> None:
    assert drift(0.0, 15.0) == 0.0
    assert excess_v(drift(25.0, 15.0), 17.0) == pytest.approx(2.0)
