"""Tanks as the core sees them: their bands, what heats and cools them, and when their temperatures are believed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

TankRole = Literal["anodize", "clean", "rinse", "dye", "seal"]


@dataclass(frozen=True, slots=True)
class BandSetup:
    """Limits of a tank's temperature, degC, in rising order, with the deadband by which an alarm clears."""

    trip_low_c: float
    warn_low_c: float
    warn_high_c: float
    trip_high_c: float
    deadband_c: float
    delay_s: float


@dataclass(frozen=True, slots=True)
class HeatingSetup:
    """How a tank's heater is controlled: on below `hold_c` - `band_c` / 2, off above `hold_c` + `band_c` / 2.

    Attributes:
        output: the heater. least_on_s, least_off_s: process time it stays so, unless it must go off.
        rise_c_per_s: the rise to expect with the heater on and no loss.
        rise_within_s: process time with the heater on after which a third of that must have been seen.
        level: the contact that shows liquid over heater and sensor; "" only where the line file says why.
        attended_s: process time after a person's last request for which it heats; None: unattended as well.
    """

    output: str
    hold_c: float
    band_c: float
    least_on_s: float
    least_off_s: float
    rise_c_per_s: float
    rise_within_s: float
    level: str
    attended_s: float | None


@dataclass(frozen=True, slots=True)
class CoolingSetup:
    """How a tank's cooling is controlled: on above `hold_c` + `band_c` / 2, off below `hold_c` - `band_c` / 2.

    Attributes:
        output: the cooling. least_on_s, least_off_s: process time it stays so; a compressor's rest is the latter.
        fall_within_s: process time with the cooling on in which the temperature must have fallen at all.
    """

    output: str
    hold_c: float
    band_c: float
    least_on_s: float
    least_off_s: float
    fall_within_s: float


@dataclass(frozen=True, slots=True)
class BelieveSetup:
    """What readings of a tank's temperature must be like to be believed.

    Attributes:
        fastest_c_per_s: the most by which this bath moves by itself, K/s.
        jump_c: what readings may be off beside that, K.
        apart_c: by how much the tank's two sensors may differ, K. apart_for_s: for how long, process time, s.
    """

    fastest_c_per_s: float
    jump_c: float = 0.3
    apart_c: float = 1.0
    apart_for_s: float = 60.0


@dataclass(frozen=True, slots=True)
class TankSetup:
    """One tank. `temperature` names its channel; volume in litres, acid in g/L (0 where there is none).

    `surface_m2`: its open surface; 0 where the line file does not tell it. `lid`: whether one keeps its vapour in while
    it warms up. `believe`: when its readings are believed; None: always. `second`: the channel of its second
    sensor, "" where none is fitted. `stirred_s`: process time for which its agitation must have run before a reading is
    its bath's.
    """

    name: str
    role: TankRole
    volume_l: float
    acid_g_per_l: float
    temperature: str
    band: BandSetup
    heating: HeatingSetup | None = None
    cooling: CoolingSetup | None = None
    surface_m2: float = 0.0
    lid: bool = False
    believe: BelieveSetup | None = None
    second: str = ""
    stirred_s: float = 0.0
