"""What an open tank loses against the published table."""

from __future__ import annotations

import math

import pytest

from supervisor.trade.open_tank import surface_loses_to_w_per_m2, surface_loses_w_per_m2, walls_lose_w_per_m2


# Source: Engineering ToolBox, "Heat loss from open water tanks", still air at 60 degF; 1 Btu/(h ft2) = 3.1546 W/m2
# (NIST SP 811).
@pytest.mark.parametrize(
    ("fahrenheit", "printed"), [(90, 130), (110, 330), (140, 820), (160, 1310), (180, 2000), (200, 3000)]
)
def test_the_loss_of_an_open_tank_is_the_printed_one(fahrenheit: float, printed: float) -> None:
    assert surface_loses_w_per_m2((fahrenheit - 32) / 1.8) == pytest.approx(printed * 3.15459, rel=1e-4)


def test_the_loss_lies_between_the_printed_figures() -> None:
    assert surface_loses_w_per_m2(50.0) == pytest.approx((330 + 820 * 0.4 - 330 * 0.4) * 3.15459, rel=1e-4)


# Source: the same page, bare walls.
@pytest.mark.parametrize(("fahrenheit", "printed"), [(140, 160), (180, 260)])
def test_the_loss_of_bare_walls_is_the_printed_one(fahrenheit: float, printed: float) -> None:
    assert walls_lose_w_per_m2((fahrenheit - 32) / 1.8) == pytest.approx(printed * 3.15459, rel=1e-4)


def test_nothing_is_lost_into_air_as_warm_and_nothing_is_known_near_boiling() -> None:
    assert surface_loses_w_per_m2(15.0) == 0.0
    assert walls_lose_w_per_m2(15.0) == 0.0
    assert surface_loses_w_per_m2(94.0) == math.inf
    assert walls_lose_w_per_m2(83.0) == math.inf


def test_to_a_warmer_room_a_surface_loses_by_so_much_less_and_beyond_the_print_it_goes_straight_on() -> None:
    assert surface_loses_to_w_per_m2(60.0, 15.0) == surface_loses_w_per_m2(60.0)
    assert surface_loses_to_w_per_m2(60.0, 32.0) == surface_loses_w_per_m2(60.0) - surface_loses_w_per_m2(32.0)
    assert surface_loses_to_w_per_m2(30.0, 32.0) < 0.0
    assert surface_loses_to_w_per_m2(215 / 1.8 - 32 / 1.8, 15.0) == pytest.approx(
        (3000 + 1000 * 15 / 20) * 3.15459, rel=1e-4
    )
