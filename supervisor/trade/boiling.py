"""Water: where it boils at an altitude, and how fast a heater warms it.

Sources: pressure over altitude of the ICAO standard atmosphere (Doc 7488/3; ISO 2533): 101,325 Pa and 288.15 K at sea
level, 6.5 K less per km, up to 11 km. Saturation pressure over temperature and the other way: IAPWS-IF97 (IAPWS
R7-97(2012)), equations 30 and 31 with the coefficients of its table 34. Specific heat of water 4.186 kJ/(kg K), within
0.5 % from 10 to 95 degC. Weather moves the pressure by some 2 %, which is 0.6 degC (derived); what is dissolved raises
the boiling point, so plain water is the safe case for a gate that must be reached.
"""

from __future__ import annotations

import math

HEAT_OF_WATER_J_PER_KG_K = 4186.0
KG_PER_L = 1.0

_SEA_LEVEL_PA = 101_325.0
_SEA_LEVEL_K = 288.15
_LAPSE_K_PER_M = 0.0065
_EXPONENT = 9.80665 / (287.05287 * _LAPSE_K_PER_M)

_LOWEST_M, _HIGHEST_M = -2000.0, 11_000.0

_N = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)
_KELVIN_AT_0_C = 273.15


def pressure_pa(altitude_m: float) -> float:
    """Pressure, Pa, of the standard atmosphere at an altitude, m, from -2,000 to 11,000; ValueError beyond."""
    if not _LOWEST_M <= altitude_m <= _HIGHEST_M:  # said so that a figure that is no number fails too
        raise ValueError(f"altitude of {altitude_m} m is not within {_LOWEST_M:.0f} to {_HIGHEST_M:.0f} m")
    return _SEA_LEVEL_PA * math.pow(1 - _LAPSE_K_PER_M * altitude_m / _SEA_LEVEL_K, _EXPONENT)


def saturation_c(pressure: float) -> float:
    """Temperature, degC, at which water boils under a pressure, Pa, from 611.213 Pa to 22.064 MPa."""
    beta = math.pow(pressure / 1e6, 0.25)
    n = _N
    e = beta**2 + n[2] * beta + n[5]
    f = n[0] * beta**2 + n[3] * beta + n[6]
    g = n[1] * beta**2 + n[4] * beta + n[7]
    d = 2 * g / (-f - math.sqrt(f**2 - 4 * e * g))
    return (n[9] + d - math.sqrt((n[9] + d) ** 2 - 4 * (n[8] + n[9] * d))) / 2 - _KELVIN_AT_0_C


def saturation_pa(temperature_c: float) -> float:
    """Pressure, Pa, under which water boils at a temperature, degC, from 0 to 373: its vapour pressure."""
    n, kelvin = _N, temperature_c + _KELVIN_AT_0_C
    theta = kelvin + n[8] / (kelvin - n[9])
    a = theta**2 + n[0] * theta + n[1]
    b = n[2] * theta**2 + n[3] * theta + n[4]
    c = n[5] * theta**2 + n[6] * theta + n[7]
    return float((2 * c / (-b + math.sqrt(b**2 - 4 * a * c))) ** 4 * 1e6)


def boiling_c(altitude_m: float) -> float:
    """Where water boils, degC, in standard weather at an altitude, m, from -2,000 to 11,000; ValueError beyond."""
    return saturation_c(pressure_pa(altitude_m))


def heats_c_per_s(power_w: float, volume_l: float) -> float:
    """Rise, degC/s, of a volume of water, L (above zero), under a heater's power, W, without any loss."""
    return power_w / (volume_l * KG_PER_L * HEAT_OF_WATER_J_PER_KG_K)
