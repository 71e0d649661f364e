"""Drawn acid baths under current in the simulators' physics, and where they are said to end."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from typing import Literal

from simulators.bath import Bath, Sensor
from simulators.plan_process import SensorPlan, TankPlan
from supervisor.core import bath_end, two_position
from supervisor.core.bath_end import Ahead
from supervisor.core.fit import Belief
from supervisor.core.tank_setup import BandSetup, CoolingSetup, TankSetup
from supervisor.trade.charge import Interval
from supervisor.trade.heat import cell_heat_w

READ_S = 2.0
Kind = Literal["none", "works", "failed"]


@dataclass(frozen=True, slots=True)
class DrawnBath:
    """A bath as the line file tells of it, and as it is; what flows through it, and for how long."""

    tank: TankSetup
    plan: TankPlan
    sensor: SensorPlan
    room_c: float
    current_a: float
    supply_v: float
    leads_ohm: float
    reaction_v: float
    takes_s: float
    chiller_w: float

    @property
    def heat_w(self) -> float:
        """What truly comes into it."""
        return self.current_a * (self.supply_v - self.leads_ohm * self.current_a + self.reaction_v)


@dataclass(frozen=True, slots=True)
class EndSeen:
    """What was foretold at some share of an operation, and what came, degC."""

    share: float
    told: Interval
    true_c: float


def draw(kind: Kind, chance: random.Random) -> DrawnBath:
    """Draw a bath of 8 to 200 L under 0.2-0.6 A/L: leads, walls and room as shops have them, volume told within 5 %."""
    volume_l = math.exp(chance.uniform(math.log(8), math.log(200)))
    current_a, supply_v = volume_l * chance.uniform(0.2, 0.6), chance.uniform(13, 19)
    edge_m2 = (volume_l / 1000) ** (2 / 3)
    begins_c = chance.uniform(19.5, 21.5)
    plan = TankPlan(
        volume_l * chance.uniform(0.95, 1.05), 180.0, begins_c, 5 * edge_m2 * 11.4 * chance.uniform(0.4, 1.2), None
    )
    cooling = CoolingSetup("chiller", 20.5, chance.uniform(0.5, 1.0), 60, 240, 900) if kind != "none" else None
    band = BandSetup(15, 18, 23, 26, 0.3, 10)
    tank = TankSetup("acid", "anodize", volume_l, 180.0, "acid-temperature", band, cooling=cooling)
    sensor = SensorPlan("acid", chance.uniform(30, 60), chance.uniform(0.02, 0.1))
    chiller_w = current_a * 18 * chance.uniform(1.1, 3.0) if kind == "works" else 0.0
    return DrawnBath(
        tank, plan, sensor, chance.uniform(15, 28), current_a, supply_v, chance.uniform(0.0, 1.0) / current_a,
        chance.uniform(0.7, 1.41), chance.uniform(30, 60) * 60, chiller_w,
    )  # fmt: skip


def runs(drawn: DrawnBath, seed: int, before: Belief | None = None) -> tuple[list[EndSeen], Belief | None]:
    """Run one operation; return what was foretold from half way on, and what was learned for the next one."""
    bath, control = Bath(drawn.plan, drawn.room_c), drawn.tank.cooling
    sensor = Sensor(drawn.sensor, bath.bath_c, random.Random(seed))
    law = bath_end.law(drawn.tank)
    run = bath_end.begin("o", before or bath_end.FIRST, 0.0, sensor.read() or 0.0)
    heat_w = cell_heat_w(drawn.current_a, drawn.supply_v)
    now_s, on, since_s, told = 0.0, False, -3600.0, []
    shares = [0.5, 0.65, 0.8]
    while now_s < drawn.takes_s:
        bath.cooling_w = drawn.chiller_w if on else 0.0
        bath.step(READ_S, drawn.heat_w)
        sensor.step(READ_S, bath.bath_c)
        now_s += READ_S
        shown_c = sensor.read() or 0.0
        run = bath_end.read(run, law, now_s, shown_c, heat_w, cools=on)
        if control is not None:
            beyond_c, for_s = control.hold_c - shown_c, now_s - since_s
            if two_position.wants(on, beyond_c, control.band_c, for_s, control.least_on_s, control.least_off_s) != on:
                on, since_s = not on, now_s
        if shares and now_s >= shares[0] * drawn.takes_s:
            held = bath_end.belief(run)
            now_c = bath_end.now_c(run, law, held, heat_w, cools=on)
            cooling = bath_end.cooling(run, on, now_s - since_s, control) if control is not None else None
            ahead = Ahead(heat_w, drawn.takes_s - now_s, cooling)
            told.append((shares.pop(0), bath_end.end_c(held, law, now_c, ahead)))
    return [EndSeen(share, one, sensor.sheath_c) for share, one in told], bath_end.kept(run)
