"""Volts and current density of an anodizing cell whose oxide has settled: no resistor, a V-j curve for each alloy.

j = j0 x (V / V0)^(1/n) x exp(E/k x (1/T0 - 1/T))

Symbols: j, A/m2; V, V at the cell without its leads; T, K at the part's surface; V0, the alloy's volts at j0 = 12 A/ft2
and T0 = 70 degF in acid of 15 % by weight.
Sources: n = 0.43 from about 13 V at 1.0 and 17.5 V at 2.0 A/dm2 (6061, from memory); E = 0.44 eV (J. Surf. Finish.
Soc. Jpn, sfj 20-207), about 6 % more current per degC at fixed voltage, so that at fixed current the voltage falls
2.5 % per degC (2 to 3 % in practice). 53.2 kJ/mol at the pores' base under current (Russ. J. Inorg. Chem. 66(2), 258,
2021) would give 7.4 %: `TEMPERATURE_DOUBT_PER_K` is what lies between the two.
Valid for sulfuric acid of 150-200 g/L at 15-25 degC and 0.5-3 A/dm2, a minute after the last step of current; about
10 % in volts where nothing of the load itself has been seen yet.
"""

from __future__ import annotations

import math

POWER = 0.43
"""n: what a share more of current density asks for in volts."""

REFERENCE_A_PER_M2 = 12 / 0.3048**2
REFERENCE_C = (70 - 32) / 1.8

TEMPERATURE_DOUBT_PER_K = 0.015
"""By how much more the current may rise, as a share per degC."""

DRIFT_V_PER_UM = 2.0 / 25
"""Most by which the voltage rises at constant current as the coat grows: 0-2 V over 25 um, by load (from memory)."""

SURFACE_K, SURFACE_W_PER_M2 = 1.5, 2000.0
"""The part's surface over a stirred bath, K, at the power of 12 A/ft2 and 15 V: 1-2.5 K (from memory), rising with the
power. The alloys' volts belong to the surface."""

_KELVIN = 273.15
_ACTIVATION_K = 0.44 / 8.617333e-5
"""E / k, K, with Boltzmann's constant in eV/K (CODATA)."""


_LOG_REFERENCE = math.log(REFERENCE_A_PER_M2)


def surface_c(bath_c: float, power_w_per_m2: float = SURFACE_W_PER_M2) -> float:
    """Temperature of the part's surface, degC, in a stirred bath, degC, at this power on it, W/m2."""
    return bath_c + SURFACE_K * power_w_per_m2 / SURFACE_W_PER_M2


def warmer(at_c: float, than_c: float) -> float:
    """By how much a surface, degC, raises the logarithm of the density at fixed volts, from what it is at another."""
    return _ACTIVATION_K * (1 / (than_c + _KELVIN) - 1 / (at_c + _KELVIN))


def log_density(voltage_v: float, at_c: float, alloy_v: float) -> float:
    """Natural logarithm of the current density, A/m2, at a voltage of the cell, V (above zero), and a surface, degC."""
    return _LOG_REFERENCE + math.log(voltage_v / alloy_v) / POWER + warmer(at_c, REFERENCE_C)


def density_a_per_m2(voltage_v: float, at_c: float, alloy_v: float) -> float:
    """Current density, A/m2, at a voltage of the cell, V (above zero), and a temperature of the surface, degC."""
    return math.exp(log_density(voltage_v, at_c, alloy_v))


def voltage_v(density_a_per_m2: float, at_c: float, alloy_v: float) -> float:
    """Voltage of the cell, V, at a current density, A/m2 (above zero), and a temperature of the surface, degC."""
    return alloy_v * math.exp(POWER * (math.log(density_a_per_m2) - log_density(alloy_v, at_c, alloy_v)))
