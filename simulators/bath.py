"""A tank of acid as one body of heat, its cooling coil, and sensors that follow it late."""

from __future__ import annotations

import math
import random

from simulators.plan_process import SensorPlan, TankPlan

# 16.5 % sulfuric acid, Laliberté correlation: 3629 J/(kg*K) at 1.113 kg/L.
HEAT_CAPACITY_J_PER_L_K = 4039.0


class Bath:
    """A stirred tank. Times are process time.

    Attributes:
        bath_c: its temperature, degC.
        extra_heat_w: heat from a fault, W.
        cooling_works: False while the coil has failed.
        heater_w, cooling_w: what switched heaters give and switched coils take, W.
    """

    __slots__ = (
        "_capacity_j_per_k", "_coil_on", "_plan", "_room_c", "bath_c", "cooling_w", "cooling_works", "extra_heat_w",
        "heater_w",
    )  # fmt: skip

    def __init__(self, plan: TankPlan, room_c: float) -> None:
        self.bath_c = plan.start_c
        self.extra_heat_w = 0.0
        self.cooling_works = True
        self.heater_w = 0.0
        self.cooling_w = 0.0
        self._plan = plan
        self._room_c = room_c
        self._coil_on = False
        self._capacity_j_per_k = plan.volume_l * HEAT_CAPACITY_J_PER_L_K

    def heat_for_rate(self, rate_c_per_min: float) -> float:
        """The heat, W, that warms this tank at this rate, degC/min, when nothing carries it away."""
        return rate_c_per_min / 60.0 * self._capacity_j_per_k

    def step(self, step_s: float, heat_w: float) -> None:
        """Take up heat_w, W, for step_s, s, lose some to the room and let the thermostat cool."""
        lost_w = self._plan.loss_w_per_c * (self.bath_c - self._room_c)
        net_w = heat_w + self.extra_heat_w + self.heater_w - lost_w - self._cooled_w()
        self.bath_c += net_w * step_s / self._capacity_j_per_k

    def _cooled_w(self) -> float:
        cooling = self._plan.cooling
        if not self.cooling_works:
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
    """

    __slots__ = ("_chance", "_lag_s", "_noise_c", "_shown_c", "is_frozen", "is_open", "sheath_c", "tank")

    def __init__(self, plan: SensorPlan, start_c: float, chance: random.Random) -> None:
        self.tank = plan.tank
        self.sheath_c = start_c
        self.is_open = False
        self.is_frozen = False
        self._lag_s = plan.lag_s
        self._noise_c = plan.noise_c
        self._chance = chance
        self._shown_c = start_c

    def step(self, step_s: float, around_c: float) -> None:
        """Follow the liquid around, degC, for step_s, s."""
        share = -math.expm1(-step_s / self._lag_s) if self._lag_s > 0.0 else 1.0
        self.sheath_c += (around_c - self.sheath_c) * share

    def read(self) -> float | None:
        """What it shows now, degC, with noise; None while its wire is broken."""
        if self.is_open:
            return None
        if not self.is_frozen:
            self._shown_c = self._chance.gauss(self.sheath_c, self._noise_c)
        return self._shown_c
