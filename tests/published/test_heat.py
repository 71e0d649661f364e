"""Heat of tanks and cells against published figures and another solver; each source stands beside its check."""

from __future__ import annotations

import math

import pytest
from scipy.integrate import solve_ivp

from supervisor.trade.boiling import saturation_pa
from supervisor.trade.heat import (
    AIR_C,
    BARE_WALLS_W_PER_M2_K,
    REACTION_V,
    capacity_j_per_l_k,
    cell_heat_w,
    heat_up_s,
    open_surface_w_per_m2,
    surface_m2,
    temperature_after_c,
    walls_m2,
)
from supervisor.trade.hydrogen import hydrogen_l_per_s

GALLON_L = 231 * 2.54**3 / 1000  # 231 cubic inches, exact
W_PER_M2 = 3.15459  # 1 Btu/(h ft2), NIST SP 811
AIR_OF_THE_TABLE_C = (60 - 32) / 1.8


# Source: IAPWS R7-97(2012), table 35: saturation pressures for computer-program verification.
@pytest.mark.parametrize(("kelvin", "mpa"), [(300.0, 0.353658941e-2), (500.0, 0.263889776e1), (600.0, 0.123443146e2)])
def test_the_vapour_pressure_gives_its_own_verification_values(kelvin: float, mpa: float) -> None:
    assert saturation_pa(kelvin - 273.15) == pytest.approx(mpa * 1e6, rel=1e-8)


# Source: a water heater's published figure: 40 US gal from 60 to 120 degF with 4500 W takes 1.30 h without loss.
def test_a_water_heater_warms_its_water_in_the_printed_time() -> None:
    capacity = 40 * GALLON_L * capacity_j_per_l_k(0.0)
    assert heat_up_s(capacity, 4500.0, (60 - 32) / 1.8, (120 - 32) / 1.8) / 3600 == pytest.approx(1.30, abs=0.005)


# Derived: 200 L from 20 to 96 degC in 2 h take 8.74 kW without loss, at 4.14 kJ/(L K); at 1 kg/L 1.1 % more.
def test_a_seal_tank_is_hot_after_the_derived_time() -> None:
    assert heat_up_s(200 * capacity_j_per_l_k(0.0), 8740.0, 20.0, 96.0) / 3600 == pytest.approx(2.0, rel=0.015)


# Derived from Laliberté's correlation and the density of 16.5 %: 3629 J/(kg K), 4.039 kJ/(L K); 183.6 g/L.
def test_acid_takes_up_what_its_correlation_says() -> None:
    assert capacity_j_per_l_k(183.6) == pytest.approx(4039.0, rel=0.001)
    assert capacity_j_per_l_k(0.0) == pytest.approx(4186.0)
    assert capacity_j_per_l_k(300.0) < capacity_j_per_l_k(228.0) == pytest.approx(3505 * 1.1398)


# Source: a published sizing of an anodizing chiller: 6000 A at 20 V is 34.2 tons of refrigeration at 3.42 Btu/(h W).
def test_a_chiller_is_sized_for_current_times_voltage() -> None:
    without_reaction_w = cell_heat_w(6000.0, 20.0) - REACTION_V * 6000.0
    assert without_reaction_w * 3.42 / 12_000 == pytest.approx(34.2, abs=0.05)


# Source: reaction enthalpy -818 kJ/mol of 2 Al + 3 H2O -> Al2O3 + 3 H2, six electrons (derived from CODATA).
def test_the_reaction_adds_its_enthalpy_over_its_charge() -> None:
    assert pytest.approx(818e3 / (6 * 96485.33), abs=0.005) == REACTION_V


# Source: Engineering ToolBox, "Heat loss from open water tanks", still air at 60 degF. Sources differ by 30 %.
@pytest.mark.parametrize(
    ("fahrenheit", "printed"), [(90, 130), (110, 330), (140, 820), (160, 1310), (180, 2000), (200, 3000)]
)
def test_an_open_surface_loses_what_is_printed_within_its_spread(fahrenheit: float, printed: float) -> None:
    lost = open_surface_w_per_m2((fahrenheit - 32) / 1.8, AIR_OF_THE_TABLE_C)
    assert lost == pytest.approx(printed * W_PER_M2, rel=0.3)


# Source: the same page, bare walls at 180 degF: 260 Btu/(h ft2).
def test_bare_walls_lose_what_is_printed_at_another_temperature_too() -> None:
    lost = BARE_WALLS_W_PER_M2_K * (180 - 60) / 1.8
    assert lost == pytest.approx(260 * W_PER_M2, rel=0.1)


def test_a_cold_surface_gains_heat_from_the_room() -> None:
    assert open_surface_w_per_m2(5.0) < 0.0 < open_surface_w_per_m2(25.0)


# Known of shop tanks (common practice, no source): a bare tank loses 1.5-3 W/K at 8 L, 10-20 at 200 L.
@pytest.mark.parametrize(("volume_l", "least", "most"), [(8.0, 1.5, 3.0), (200.0, 10.0, 20.0)])
def test_the_assumed_shape_loses_what_tanks_of_that_size_do(volume_l: float, least: float, most: float) -> None:
    assert least < walls_m2(volume_l, surface_m2(volume_l)) * BARE_WALLS_W_PER_M2_K < most


def test_walls_follow_from_volume_and_surface() -> None:
    assert walls_m2(1000.0, surface_m2(1000.0)) == pytest.approx(5.0)
    assert walls_m2(1000.0, 4.0) == pytest.approx(4 * 2 * 0.25 + 4)


# Source: 0.41815 L/(A h) at 0 degC and 0.44876 at 20 degC, dry, 101.325 kPa (derived from CODATA).
@pytest.mark.parametrize(("gas_c", "litres"), [(0.0, 0.41815), (20.0, 0.44876)])
def test_a_cathode_gives_off_the_hydrogen_of_its_charge(gas_c: float, litres: float) -> None:
    assert hydrogen_l_per_s(1.0, gas_c) * 3600 == pytest.approx(litres, rel=1e-4)


# Known of small tanks (derived): 8 L with 3 L of head space reach 1 % hydrogen at 1.67 A in 2.4 min.
def test_a_shut_lid_is_dangerous_within_minutes() -> None:
    assert 0.01 * 3.0 / hydrogen_l_per_s(1.67) / 60 == pytest.approx(2.4, abs=0.05)


@pytest.mark.parametrize(
    ("litres", "power_w", "loss_w_per_k", "to_c"), [(8.0, 300.0, 2.5, 60.0), (200.0, 6000.0, 18.0, 96.0)]
)
def test_the_time_to_warm_up_agrees_with_a_solver(
    litres: float, power_w: float, loss_w_per_k: float, to_c: float
) -> None:
    capacity = litres * capacity_j_per_l_k(0.0)

    def arrives(_: float, bath_c: list[float]) -> float:
        return bath_c[0] - to_c

    arrives.terminal = True  # type: ignore[attr-defined]
    solved = solve_ivp(
        lambda _, bath_c: [(power_w - loss_w_per_k * (bath_c[0] - AIR_C)) / capacity],
        (0.0, 1e5), [15.0], events=arrives, rtol=1e-9, atol=1e-9,
    )  # fmt: skip
    assert heat_up_s(capacity, power_w, 15.0, to_c, loss_w_per_k) == pytest.approx(solved.t_events[0][0], rel=1e-6)


@pytest.mark.parametrize("loss_w_per_k", [0.0, 15.0])
def test_the_temperature_of_a_bath_under_current_agrees_with_a_solver(loss_w_per_k: float) -> None:
    capacity, heat_w = 200 * capacity_j_per_l_k(180.0), cell_heat_w(100.0, 16.0)
    solved = solve_ivp(
        lambda _, bath_c: [(heat_w - loss_w_per_k * (bath_c[0] - AIR_C)) / capacity],
        (0.0, 2400.0), [20.5], rtol=1e-10, atol=1e-10,
    )  # fmt: skip
    after_c = temperature_after_c(capacity, heat_w, 20.5, 2400.0, loss_w_per_k)
    assert after_c == pytest.approx(solved.y[0][-1], abs=1e-6)


def test_a_heater_that_loses_all_it_gives_never_arrives() -> None:
    assert heat_up_s(1e6, 1000.0, 20.0, 90.0, 1000.0 / (90.0 - AIR_C)) == math.inf
    assert heat_up_s(1e6, 1000.0, 60.0, 60.0) == 0.0
