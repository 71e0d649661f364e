"""What an open tank of hot water loses, by its surface and by its walls.

Source: Engineering ToolBox, "Heat loss from open water tanks", still air of 60 degF, in Btu/(h ft2): from the surface
130 at 90 degF, 330 at 110, 820 at 140, 1310 at 160, 2000 at 180, 3000 at 200; from bare walls 160 at 140, 260 at 180.
Sources differ by 47 % on evaporation at 180 degF, so that each figure may be 30 % out.
"""

from __future__ import annotations

import math
from itertools import pairwise

UNSURE = 0.3
"""Share by which the true loss may differ from what is printed."""

W_PER_M2 = 1055.05585262 / 3600 / 0.3048**2
"""One Btu/(h ft2), international table, in W/m2."""

_SURFACE = (
    (60.0, 0.0),
    (90.0, 130.0),
    (110.0, 330.0),
    (140.0, 820.0),
    (160.0, 1310.0),
    (180.0, 2000.0),
    (200.0, 3000.0),
)
_WALLS = ((60.0, 0.0), (140.0, 160.0), (180.0, 260.0))


def surface_loses_w_per_m2(temperature_c: float) -> float:
    """Loss, W per m2 of open surface, at a temperature, degC, on straight lines between what is printed.

    The true curve bends upward and lies below them. Nought where the water is no warmer than the air, infinite above
    the last printed figure, 93.3 degC.
    """
    return _between(_SURFACE, temperature_c)


def walls_lose_w_per_m2(temperature_c: float) -> float:
    """Loss, W per m2 of bare wall or floor, likewise; infinite above 82.2 degC."""
    return _between(_WALLS, temperature_c)


def surface_loses_to_w_per_m2(bath_c: float, air_c: float) -> float:
    """Loss, W per m2 of open surface, to air of a temperature, degC: the bath's printed one less the air's.

    Above the last printed figure on along the last line; negative where the air is the warmer one.
    """
    return _along(_SURFACE, bath_c * 1.8 + 32) - _along(_SURFACE, air_c * 1.8 + 32)


def _between(printed: tuple[tuple[float, float], ...], temperature_c: float) -> float:
    fahrenheit = temperature_c * 1.8 + 32
    return math.inf if fahrenheit > printed[-1][0] else _along(printed, fahrenheit)


def _along(printed: tuple[tuple[float, float], ...], fahrenheit: float) -> float:
    if fahrenheit <= printed[0][0]:
        return 0.0
    lines = (pair for pair in pairwise(printed) if fahrenheit <= pair[1][0])
    (low_f, low), (high_f, high) = next(lines, printed[-2:])
    return (low + (high - low) * (fahrenheit - low_f) / (high_f - low_f)) * W_PER_M2
