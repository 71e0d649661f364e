"""Drawn tanks that warm up in the simulators' physics, and what is forecast of them on the way."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from typing import Literal

from simulators.bath import WATER_J_PER_L_K, Bath, Sensor, open_loss_w_per_m2
from simulators.plan_process import SensorPlan, TankPlan
from supervisor.core import warm_up
from supervisor.core.fit import Belief
from supervisor.core.tank_setup import BandSetup, HeatingSetup, TankSetup
from supervisor.trade.boiling import heats_c_per_s

READ_S = 5.0
GIVEN_UP_S = 8 * 3600.0
"""Longer than any of them takes that gets there."""
Kind = Literal["to 60", "lidded", "open", "too weak"]


@dataclass(frozen=True, slots=True)
class Drawn:
    """A tank as the line file tells of it, and as it is."""

    tank: TankSetup
    heating: HeatingSetup
    plan: TankPlan
    sensor: SensorPlan
    heater_w: float
    room_c: float
    mark_c: float


@dataclass(frozen=True, slots=True)
class Seen:
    """A forecast at some share of the rise, and what came of it: times to go, s (infinite: never)."""

    share: float
    ready: warm_up.Ready
    true_s: float


def draw(kind: Kind, chance: random.Random, *, told: bool = True) -> Drawn:
    """Draw a tank of 8 to 200 L: nameplates, volumes and surfaces told within 5 %.

    Insulated to bare walls; a still surface loses what is printed within 30 %, a lid keeps 70-95 % of that in. `told`:
    whether the line file tells the surface.
    """
    volume_l = math.exp(chance.uniform(math.log(8), math.log(200)))
    edge_m2 = (volume_l / 1000) ** (2 / 3)
    mark_c = chance.uniform(45, 60) if kind == "to 60" else chance.uniform(75, 92)
    open_m2 = edge_m2 * chance.uniform(0.7, 1.6)
    lid = kind == "lidded" or (kind == "to 60" and chance.random() < 0.3)
    room_c = chance.uniform(15, 26)
    plan = TankPlan(
        volume_l * chance.uniform(0.95, 1.05), 0.0, room_c + chance.uniform(-2, 3),
        5 * edge_m2 * 11.4 * chance.uniform(0.4, 1.0), None, open_m2,
        chance.uniform(0.7, 1.3) * (chance.uniform(0.05, 0.3) if lid else 1.0),
    )  # fmt: skip
    lost_w = plan.loss_w_per_c * (mark_c - room_c)
    lost_w += plan.open_surface_m2 * plan.open_loss_factor * open_loss_w_per_m2(mark_c, room_c)
    heater_w = lost_w * chance.uniform(0.5, 0.9)
    if kind != "too weak":
        hours = chance.uniform(0.5, 3)
        heater_w = lost_w * chance.uniform(0.75, 1.0) + volume_l * WATER_J_PER_L_K * (mark_c - 20) / hours / 3600
    power_w = heater_w * chance.uniform(0.95, 1.05)
    band = BandSetup(mark_c - 5, mark_c, mark_c + 5, mark_c + 8, 0.3, 10.0)
    heating = HeatingSetup("heater", mark_c + 2, 1.0, 30, 30, heats_c_per_s(power_w, volume_l), 600, "", None)
    tank = TankSetup("seal", "seal", volume_l, 0.0, "seal-temperature", band, heating,
        surface_m2=open_m2 * chance.uniform(0.95, 1.05) if told else 0.0, lid=lid)  # fmt: skip
    sensor = SensorPlan("seal", chance.uniform(30, 60), chance.uniform(0.02, 0.1))
    return Drawn(tank, heating, plan, sensor, heater_w, room_c, mark_c)


def warms_up(drawn: Drawn, seed: int, before: Belief | None = None) -> tuple[list[Seen], Belief | None]:
    """Warm it up once; return forecasts from a quarter of the rise on, and what was learned for the next time."""
    bath = Bath(drawn.plan, drawn.room_c)
    bath.heater_w = drawn.heater_w
    sensor = Sensor(drawn.sensor, bath.bath_c, random.Random(seed))
    warm = warm_up.begin(before or warm_up.first(drawn.tank), 0.0, sensor.read() or 0.0)
    law = warm_up.law(drawn.tank, drawn.heating, warm.began_c)
    began_c, now_s, seen = warm.last_c, 0.0, []
    shares = [0.25, 0.4, 0.55, 0.7, 0.85]
    while sensor.sheath_c < drawn.mark_c and now_s < GIVEN_UP_S:
        for _ in range(2):
            bath.step(READ_S / 2, 0.0)
            sensor.step(READ_S / 2, bath.bath_c)
        now_s += READ_S
        warm = warm_up.read(warm, law, now_s, sensor.read() or 0.0, on=True)
        if shares and sensor.sheath_c - began_c >= shares[0] * (drawn.mark_c - began_c):
            held = warm_up.belief(warm)
            seen.append((shares.pop(0), now_s, warm_up.ready(held, law, warm_up.now_c(warm, law, held), drawn.mark_c)))
    ends_s = now_s if sensor.sheath_c >= drawn.mark_c else math.inf
    return [Seen(share, ready, ends_s - at_s) for share, at_s, ready in seen], warm_up.kept(warm)
