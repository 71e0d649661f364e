"""A tank of acid or hot water as one body of heat, its cooling coil, and sensors that follow it late."""

from __future__ import annotations

import math
import random

from simulators.plan_process import SensorPlan, TankPlan

# 16.5 % sulfuric acid, Laliberté correlation: 3629 J/(kg*K) at 1.113 kg/L.
HEAT_CAPACITY_J_PER_L_K = 4039.0
# Of a litre of water filled in cold, 1.00 kg.
WATER_J_PER_L_K = 4180.0
# At one atmosphere: whatever is heated further boils away.
BOILING_C = 100.0
# A chiller's water: no coil takes a bath below it (common practice, no source).
_COOLANT_C = 2.0

# Open tank in still air at 60 degF, whole loss in Btu/(h*ft2) by degF of the water (Engineering ToolBox, "Heat loss
# from open water tanks"): mostly evaporation, so far from a straight line. Sources differ by 30 % and more.
_OPEN_TANK = (
    (60.0, 0.0), (90.0, 130.0), (110.0, 330.0), (140.0, 820.0), (160.0, 1310.0), (180.0, 2000.0), (200.0, 3000.0),
)  # fmt: skip
_W_PER_M2 = 3.15459  # of 1 Btu/(h*ft2)


def _open_loss(water_c: float) -> float:
    """The table read between its lines, and on along its first and last ones, W/m2."""
    water_f = water_c * 1.8 + 32.0
    below = max((place for place, (at_f, _) in enumerate(_OPEN_TANK[:-1]) if at_f <= water_f), default=0)
    (low_f, low), (high_f, high) = _OPEN_TANK[below : below + 2]
    return (low + (high - low) * (water_f - low_f) / (high_f - low_f)) * _W_PER_M2


def open_loss_w_per_m2(water_c: float, room_c: float) -> float:
    """What still water, degC, loses through its open surface to a room, degC, W/m2; nothing where they are equal."""
    return _open_loss(water_c) - _open_loss(room_c)


class Bath:
    """A stirred tank. Times are process time.

    Attributes:
        bath_c: its temperature, degC.
        extra_heat_w: heat from a fault, W.
        cooling_works: False while the coil has failed.
        is_low: its liquid has fallen below the level's contact, and its heater hangs in the air.
        heater_w, cooling_w: what switched heaters give and switched coils take, W.
    """

    __slots__ = (
        "_capacity_j_per_k", "_coil_on", "_plan", "_room_c", "bath_c", "cooling_w", "cooling_works", "extra_heat_w",
        "heater_w", "is_low",
    )  # fmt: skip

    def __init__(self, plan: TankPlan, room_c: float) -> None:
        self.bath_c = plan.start_c
        self.extra_heat_w = 0.0
        self.cooling_works = True
        self.is_low = False
        self.heater_w = 0.0
        self.cooling_w = 0.0
        self._plan = plan
        self._room_c = room_c
        self._coil_on = False
        self._capacity_j_per_k = plan.volume_l * (HEAT_CAPACITY_J_PER_L_K if plan.acid_g_per_l else WATER_J_PER_L_K)

    def heat_for_rate(self, rate_c_per_min: float) -> float:
        """The heat, W, that warms this tank at this rate, degC/min, when nothing carries it away."""
        return rate_c_per_min / 60.0 * self._capacity_j_per_k

    def step(self, step_s: float, heat_w: float) -> None:
        """Take up heat_w, W, for step_s, s, lose some to the room and let the thermostat cool."""
        heater_w = 0.0 if self.is_low else self.heater_w
        net_w = heat_w + self.extra_heat_w + heater_w - self._lost_w() - self._cooled_w()
        self.bath_c = min(self.bath_c + net_w * step_s / self._capacity_j_per_k, BOILING_C)

    def _lost_w(self) -> float:
        plan = self._plan
        lost_w = plan.loss_w_per_c * (self.bath_c - self._room_c)
        if plan.open_surface_m2 > 0.0:
            share_m2 = plan.open_surface_m2 * plan.open_loss_factor
            lost_w += share_m2 * open_loss_w_per_m2(self.bath_c, self._room_c)
        return lost_w

    def _cooled_w(self) -> float:
        cooling = self._plan.cooling
        if not self.cooling_works or self.bath_c <= _COOLANT_C:
            return 0.0
        if cooling is None:
            return self.cooling_w
        half_c = cooling.hysteresis_c / 2.0
        if self.bath_c >= cooling.hold_c + half_c:
            self._coil_on = True
        elif self.bath_c <= cooling.hold_c - half_c:
            self._coil_on = False
        return self.cooling_w + (cooling.power_w if self._coil_on else 0.0)


class Sensor:
    """A thermocouple in a sheath.

    Attributes:
        tank: the tank it hangs in; empty for the room's air.
        sheath_c: temperature within the sheath, degC: the truth, some time ago.
        is_open: the wire is broken.
        is_frozen: it goes on showing what it showed.
        is_out: it has come out of its tank's liquid and hangs in the room's air.
        only_c: all that it shows whatever its sheath does, degC; None while it is well.
    """

    __slots__ = (
        "_chance", "_lag_s", "_noise_c", "_shown_c", "is_frozen", "is_open", "is_out", "only_c", "sheath_c", "tank",
    )  # fmt: skip

    def __init__(self, plan: SensorPlan, start_c: float, chance: random.Random) -> None:
        self.tank = plan.tank
        self.sheath_c = start_c
        self.is_open = False
        self.is_frozen = False
        self.is_out = False
        self.only_c: float | None = None
        self._lag_s = plan.lag_s
        self._noise_c = plan.noise_c
        self._chance = chance
        self._shown_c = start_c

    def step(self, step_s: float, around_c: float) -> None:
        """Follow the liquid or the air around, degC, for step_s, s."""
        share = -math.expm1(-step_s / self._lag_s) if self._lag_s > 0.0 else 1.0
        self.sheath_c += (around_c - self.sheath_c) * share

    def read(self) -> float | None:
        """What it shows now, degC, with noise; None while its wire is broken."""
        if self.is_open:
            return None
        if self.only_c is not None:
            return self.only_c
        if not self.is_frozen:
            self._shown_c = self._chance.gauss(self.sheath_c, self._noise_c)
        return self._shown_c
