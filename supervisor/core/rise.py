"""Whether a heated bath warms up as it should: a sensor or heater out of the liquid shows as a rise that fails to come.

A third of the rise that the heater's power gives without loss must have come after some minutes of it (common practice,
no source). Only time with the heater on counts, and only the rise within it.

Losses eat the rise as the bath gets hot, so it is judged only while they can eat no more than half of it: the published
loss of an open tank with bare walls, made greater by what that is unsure of, square and half as deep as a cube of its
volume (the shape is an assumption, no source). A tank at 90 degC whose heater only just holds it is not judged; a
sensor in the air of a room is. A sensor in the vapour close above a hot bath is not found out, and liquid that was
topped up cold in these minutes is blamed for it. None of this replaces an independent cut-out in hardware.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from supervisor.core.tank_setup import HeatingSetup, TankSetup
from supervisor.trade.boiling import heats_c_per_s
from supervisor.trade.open_tank import UNSURE, surface_loses_w_per_m2, walls_lose_w_per_m2

LEAST_SHARE = 1 / 3
LOST_SHARE = 1 / 2
SHALLOWEST = 1 / 2
"""Depth of the shallowest tank, over the edge of a cube of its volume."""


@dataclass(frozen=True, slots=True)
class Rise:
    """What came of some minutes of heating.

    Attributes:
        on_s: process time with the heater on. risen_c: what the temperature rose in it, K.
        seen: process time and degC of the newest good sample with the heater on; None where it was off since.
    """

    on_s: float = 0.0
    risen_c: float = 0.0
    seen: tuple[float, float] | None = None


def shows(tank: TankSetup, heating: HeatingSetup, temperature_c: float) -> bool:
    """Whether most of the heat must show as a rise at this temperature, degC: below the band, and little is lost."""
    if temperature_c >= heating.hold_c - heating.band_c / 2:
        return False
    lost_w = _loses_w(tank.volume_l, temperature_c) * (1 + UNSURE)
    return heats_c_per_s(lost_w, tank.volume_l) <= heating.rise_c_per_s * LOST_SHARE


def _loses_w(volume_l: float, temperature_c: float) -> float:
    """What an open, bare tank of the shallowest shape loses by what is printed, W."""
    depth_m = SHALLOWEST * math.cbrt(volume_l / 1000)
    surface_m2 = volume_l / 1000 / depth_m
    walls_m2 = 4 * math.sqrt(surface_m2) * depth_m + surface_m2
    return surface_m2 * surface_loses_w_per_m2(temperature_c) + walls_m2 * walls_lose_w_per_m2(temperature_c)


def read(rise: Rise, tank: TankSetup, heating: HeatingSetup, at_s: float, temperature_c: float, *, on: bool) -> Rise:
    """Take one good temperature, degC, sampled at process time `at_s`; `on`: whether the heater was surely on then."""
    if not shows(tank, heating, temperature_c):
        return Rise()
    if not on:
        return replace(rise, seen=None)
    if rise.seen is None:
        return replace(rise, seen=(at_s, temperature_c))
    before_s, before_c = rise.seen
    return Rise(rise.on_s + at_s - before_s, rise.risen_c + temperature_c - before_c, (at_s, temperature_c))


def judged(rise: Rise, heating: HeatingSetup) -> bool | None:
    """Whether the rise that should have come came; None while it is too early to say."""
    if rise.on_s < heating.rise_within_s:
        return None
    return rise.risen_c >= LEAST_SHARE * heating.rise_c_per_s * rise.on_s


def next_minutes(rise: Rise) -> Rise:
    """Begin anew where the newest sample was taken."""
    return Rise(seen=rise.seen)
