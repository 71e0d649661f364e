"""Boiling point and rise of water against published figures; each source stands beside its check."""

from __future__ import annotations

from math import nan

import pytest

from supervisor.trade.boiling import boiling_c, heats_c_per_s, pressure_pa, saturation_c

KELVIN = 273.15
GALLON_L = 231 * 2.54**3 / 1000  # 231 cubic inches, exact


# Source: IAPWS R7-97(2012), table 36: saturation temperatures for computer-program verification.
@pytest.mark.parametrize(("mpa", "kelvin"), [(0.1, 372.755919), (1.0, 453.035632), (10.0, 584.149488)])
def test_the_saturation_equation_gives_its_own_verification_values(mpa: float, kelvin: float) -> None:
    assert saturation_c(mpa * 1e6) + KELVIN == pytest.approx(kelvin, abs=1e-6)


# Source: ICAO Doc 7488/3 and U.S. Standard Atmosphere 1976, table of pressure over geopotential altitude (from memory).
@pytest.mark.parametrize(
    ("altitude_m", "pascal"), [(0, 101325.0), (1000, 89874.6), (2000, 79495.2), (5000, 54019.9), (11000, 22632.1)]
)
def test_the_standard_atmosphere_gives_its_printed_pressures(altitude_m: float, pascal: float) -> None:
    assert pressure_pa(altitude_m) == pytest.approx(pascal, abs=0.1)


# Source: derived pairs of the trade: 96 degC near 1,200 m, 208 degF near 650 m; a gate above that cannot be met there.
def test_a_seal_gate_is_lost_at_the_altitudes_the_trade_knows() -> None:
    assert boiling_c(1200.0) == pytest.approx(96.0, abs=0.15)
    assert boiling_c(650.0) * 1.8 + 32 == pytest.approx(208.0, abs=0.2)


# Source: the normal boiling point of water, 99.974 degC at 101,325 Pa (ITS-90).
def test_water_boils_just_below_a_hundred_degrees_at_sea_level() -> None:
    assert boiling_c(0.0) == pytest.approx(99.974, abs=0.002)


@pytest.mark.parametrize("altitude_m", [-2001.0, 11001.0, nan])
def test_no_boiling_point_is_made_up_outside_the_equation(altitude_m: float) -> None:
    with pytest.raises(ValueError, match="altitude"):
        boiling_c(altitude_m)


# Source: a water heater's published figure: 40 US gal from 60 to 120 degF with 4500 W takes 1.30 h without loss.
def test_a_water_heater_warms_its_water_in_the_printed_time() -> None:
    hours = (120 - 60) / 1.8 / heats_c_per_s(4500.0, 40 * GALLON_L) / 3600
    assert hours == pytest.approx(1.30, abs=0.005)


# Derived: 200 L from 20 to 96 degC in 2 h take 8.74 kW without loss, at 4.14 kJ/(L K); at 1 kg/L 1.1 % more.
def test_a_seal_tank_takes_the_derived_power() -> None:
    assert heats_c_per_s(8740.0, 200.0) * 7200 == pytest.approx(76.0, rel=0.015)
