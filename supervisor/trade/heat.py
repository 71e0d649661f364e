"""Heat in and out of a tank: what it takes to warm it, what it loses, what the cell puts in.

Sources:
Heat taken up: density of sulfuric acid at 20 degC from the CRC Handbook (15 % 1.1020, 20 % 1.1398 kg/L), its specific
    heat by the correlation of Laliberté (15 % 3681, 16.5 % 3629, 20 % 3505 J/(kg K)); plain water 4.186 kJ/(L K).
Cell: 2 Al + 3 H2O -> Al2O3 + 3 H2 gives 818 kJ, six electrons, so 1.41 V beside what the cell's voltage brings; oxide
    that dissolves again, and hydrogen that leaves, give less: current x (voltage + 1.41 V) is the upper bound.
Open surface in still air: natural convection from a warm plate facing up, 1.52 x (difference)^(1/3) W/(m2 K) (McAdams,
    simplified for air; from memory), driven by the virtual temperature because vapour is light; evaporation by Bowen's
    ratio, 66 Pa/K (from memory), with the vapour pressure of IAPWS-IF97; radiation with an emissivity of 0.95. Good to
    the 30 % by which printed tables differ from one another, and checked against one (see `open_tank`).
Bare walls: 160 Btu/(h ft2) at 140 degF in air of 60 degF (Engineering ToolBox, "Heat loss from open water tanks").
Shape of a tank: square, and a cube where only its volume is known (an assumption, no source).
"""

from __future__ import annotations

import math
from functools import lru_cache
from itertools import pairwise

from supervisor.trade.boiling import HEAT_OF_WATER_J_PER_KG_K, KG_PER_L, saturation_pa

REACTION_V = 1.41
"""What the oxide's formation adds to the voltage, as far as heat goes, V."""

AIR_C = 20.0
"""Air of a shop of which nothing else is known, degC (common practice, no source)."""

BARE_WALLS_W_PER_M2_K = 160 * 1055.05585262 / 3600 / 0.3048**2 / ((140 - 60) / 1.8)

_ACID = (
    (0.0, HEAT_OF_WATER_J_PER_KG_K * KG_PER_L),
    (165.3, 3681 * 1.1020),
    (228.0, 3505 * 1.1398),
)
"""Acid, g/L, and what a litre of it takes up per kelvin, J."""

_PLATE_W_PER_M2 = 1.52
_BOWEN_PA_PER_K = 66.0
_HUMIDITY = 0.5
_EMISSIVITY = 0.95
_RADIATION_W_PER_M2_K4 = 5.670374419e-8
_KELVIN_AT_0_C = 273.15
_PRESSURE_PA = 101_325.0
_LIGHTER = 0.378
"""By how much vapour is lighter than air, over air: 1 - 18.015 / 28.97."""


def capacity_j_per_l_k(acid_g_per_l: float) -> float:
    """What a litre of bath takes up per kelvin, J; acid from 0 (water) to 400 g/L, straight on above 228."""
    low, high = next((pair for pair in pairwise(_ACID) if acid_g_per_l <= pair[1][0]), _ACID[-2:])
    return low[1] + (high[1] - low[1]) * (acid_g_per_l - low[0]) / (high[0] - low[0])


def cell_heat_w(current_a: float, voltage_v: float) -> float:
    """Heat into the bath, W, at most, of a current, A, under the voltage between part and cathode, V."""
    return current_a * (voltage_v + REACTION_V)


def surface_m2(volume_l: float) -> float:
    """Open surface, m2, of a tank of a volume, L, of which no more is known."""
    return math.cbrt(volume_l / 1000) ** 2


def walls_m2(volume_l: float, open_m2: float) -> float:
    """Walls and floor, m2, of a square tank of a volume, L, under an open surface, m2."""
    depth_m = volume_l / 1000 / open_m2
    return 4 * math.sqrt(open_m2) * depth_m + open_m2


def open_surface_w_per_m2(bath_c: float, air_c: float = AIR_C) -> float:
    """What an open surface loses, W/m2, at 0 to 100 degC in air of 0 to 50 degC; negative where the air warms it."""
    vapour_pa = saturation_pa(bath_c) - _moist_pa(air_c)
    bath_k, air_k = bath_c + _KELVIN_AT_0_C, air_c + _KELVIN_AT_0_C
    difference_k = bath_k - air_k
    buoyant_k = difference_k + _LIGHTER * vapour_pa / _PRESSURE_PA * bath_k
    moved = _PLATE_W_PER_M2 * math.cbrt(abs(buoyant_k)) * (difference_k + vapour_pa / _BOWEN_PA_PER_K)
    return moved + _EMISSIVITY * _RADIATION_W_PER_M2_K4 * (bath_k**4 - air_k**4)


@lru_cache(maxsize=64)
def _moist_pa(air_c: float) -> float:
    """Vapour pressure of a room's air, Pa: asked for anew with every reading, and the same all day."""
    return _HUMIDITY * saturation_pa(air_c)


def heat_up_s(
    capacity_j_per_k: float, power_w: float, from_c: float, to_c: float, loss_w_per_k: float = 0.0, air_c: float = AIR_C
) -> float:
    """Time, s, a heater takes from one temperature up to another, degC, with a loss in proportion to the difference.

    Infinite where the loss holds it below. Capacity and power above zero, loss not negative.
    """
    if to_c <= from_c:
        return 0.0
    if loss_w_per_k == 0:
        return capacity_j_per_k * (to_c - from_c) / power_w
    spare_w = power_w - loss_w_per_k * (to_c - air_c)
    if spare_w <= 0:
        return math.inf
    return capacity_j_per_k / loss_w_per_k * math.log((power_w - loss_w_per_k * (from_c - air_c)) / spare_w)


def temperature_after_c(
    capacity_j_per_k: float, power_w: float, from_c: float, after_s: float, loss_w_per_k: float, air_c: float = AIR_C
) -> float:
    """Where a bath stands, degC, after a time, s, under constant heat, W, with a loss likewise."""
    if loss_w_per_k == 0:
        return from_c + power_w * after_s / capacity_j_per_k
    ends_c = air_c + power_w / loss_w_per_k
    return ends_c + (from_c - ends_c) * math.exp(-loss_w_per_k * after_s / capacity_j_per_k)
