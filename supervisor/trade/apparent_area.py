"""The area that carries a load's current, as current, voltage and temperature tell it through the V-j curve.

Source: `cell.py`; the apparent area is I / j(V, T). Its logarithm is what is watched: half the area lost is -0.69,
whether the current is held and the volts rise or the volts are held and the current halves. Leads and contacts count
as missing area: what they take of the volts the cell does not get.
"""

from __future__ import annotations

import math

from supervisor.trade.cell import DRIFT_V_PER_UM, POWER, log_density, surface_c


def log_share(current_a: float, voltage_v: float, bath_c: float, alloy_v: float, area_m2: float) -> float:
    """Natural logarithm of apparent area over `area_m2`; current, A, voltage, V, and area must be above zero."""
    density = current_a / area_m2
    return math.log(density) - log_density(voltage_v, surface_c(bath_c, density * voltage_v), alloy_v)


def reading_doubt(current_share: float, voltage_share: float) -> float:
    """By how much errors of reading, shares of current and of voltage, may move that logarithm."""
    return current_share + voltage_share / POWER


def drift(grown_um: float, voltage_v: float) -> float:
    """By how much the logarithm may have fallen as a sound coat grew, um, at a voltage, V; not below zero."""
    return math.log1p(DRIFT_V_PER_UM * grown_um / voltage_v) / POWER


def excess_v(fall: float, voltage_v: float) -> float:
    """How much of a voltage, V, a fall of the logarithm by `fall` stands for, were it all in leads and contacts."""
    return voltage_v * -math.expm1(-POWER * fall)
