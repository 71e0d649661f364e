"""One load's cell and supply of the simulators before the electrical watch alone: no service, no line, no wire.

The physics is `simulators/cell.py`; what chance draws stands here, with where its range comes from.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import dataclass

from simulators.cell import ALLOYS as SIMULATED
from simulators.cell import Cell
from simulators.plan_process import LoadPlan, SupplyPlan
from simulators.supply import Supply
from supervisor.core import electrical
from supervisor.core.electrical import Sample, Sight, Watch
from supervisor.trade.alloys import ALLOYS
from supervisor.trade.apparent_area import reading_doubt

LOAD_S = 2400.0
"""40 minutes."""

LOST_AFTER_S = 1.0
"""What the core waits before it calls a current lost."""


@dataclass(frozen=True)
class Draw:
    """What chance decides of a load, its bath and its meters.

    Attributes:
        mode: what is held. area_dm2, density_a_per_dm2, alloy, acid_g_per_l, leads_ohm, surface_c: see the simulators.
        ramp_s: soft start. steps: moments, s, and shares of the first set point from then on. by_hand: turned by hand,
            so that the watch is not told.
        bath_c, swing_c, swing_s, phase: a bath that wanders about a mean. lag_s, noise_c: of its sensor.
        accuracy: limit of error of the meters, share of reading and share of range; noise_share: what of that is noise
            from reading to reading. ripple: amplitude, share of current, seen by a meter that samples at a point.
        period_s: between readings. lost_share: of readings that never come.
    """

    mode: str
    area_dm2: float
    density_a_per_dm2: float
    alloy: str
    acid_g_per_l: float
    leads_ohm: float
    surface_c: float
    ramp_s: float
    steps: tuple[tuple[float, float], ...]
    by_hand: bool
    bath_c: float
    swing_c: float
    swing_s: float
    phase: float
    lag_s: float
    noise_c: float
    accuracy: tuple[float, float]
    noise_share: float
    ripple: float
    period_s: float
    lost_share: float

    @property
    def current_a(self) -> float:
        """First set current, A; in volts held a bound far above."""
        return self.area_dm2 * self.density_a_per_dm2

    @property
    def range_a(self) -> float:
        """Range of the current meter, A: half of it again is left above the set current."""
        return 1.5 * self.current_a


def draw(chance: random.Random) -> Draw:
    """Draw a load.

    Area and leads: a bench of 1-5 A and 20-100 mOhm or a shop of 50-200 A and 2-10 mOhm; surface 1-2.5 degC over a
    stirred bath; ripple 1-10 % (from memory). Bath 16-24 degC, moving 0.2 degC/min at most; acid 150-200 g/L; density
    10-18 A/ft2. Meters of 0.2 % + 0.1 % to 1 % + 0.5 %, common practice without a source.
    """
    bench = chance.random() < 0.5
    density = chance.uniform(1.1, 1.9)
    swing_s = chance.uniform(900.0, 4800.0)
    return Draw(
        mode=chance.choice(("current", "current", "voltage")),
        area_dm2=chance.uniform(1.0, 5.0) / density if bench else chance.uniform(50.0, 200.0) / density,
        density_a_per_dm2=density,
        alloy=chance.choice(sorted(SIMULATED)),
        acid_g_per_l=chance.uniform(150.0, 200.0),
        leads_ohm=chance.uniform(0.02, 0.1) if bench else chance.uniform(0.002, 0.01) * 50.0 / 200.0,
        surface_c=chance.uniform(1.0, 2.5),
        ramp_s=chance.choice((5.0, 30.0, 60.0, 120.0)),
        steps=_steps(chance),
        by_hand=chance.random() < 0.3,
        bath_c=chance.uniform(18.0, 22.0),
        swing_c=min(2.0, 0.2 / 60.0 * swing_s / (2 * math.pi)) * chance.random(),
        swing_s=swing_s,
        phase=chance.uniform(0.0, 2 * math.pi),
        lag_s=chance.uniform(30.0, 60.0),
        noise_c=0.05,
        accuracy=(chance.uniform(0.002, 0.01), chance.uniform(0.001, 0.005)),
        noise_share=chance.uniform(0.0, 0.5),
        ripple=chance.choice((0.0, 0.0, chance.uniform(0.01, 0.1))),
        period_s=chance.choice((1.0, 1.0, 2.0, 0.5)),
        lost_share=0.01,
    )


def _steps(chance: random.Random) -> tuple[tuple[float, float], ...]:
    """Up to three changes of the set point by 30 % at most."""
    moments = sorted(chance.uniform(300.0, LOAD_S - 200.0) for _ in range(chance.choice((0, 0, 1, 2, 3))))
    return tuple((moment, 1.0 + chance.uniform(-0.3, 0.3)) for moment in moments)


Fault = Callable[[Supply, float], None]
"""Does to the load what is wrong with it at each reading, given process time since the fault began, s."""


def area_lost(share: float) -> Fault:
    """A share of the area loses its contact at once."""
    return lambda supply, _: _touching(supply, 1.0 - share)


def creeps_off(over_s: float) -> Fault:
    """A contact's resistance rises until it opens after this time."""

    def do(supply: Supply, since_s: float) -> None:
        gone = since_s / over_s
        supply.cell.creep_ohm = 0.5 * gone / (1.0 - gone) if gone < 1.0 else math.inf
        supply.solve()

    return do


def heats(share_of_volts: float, over_s: float) -> Fault:
    """A contact's resistance rises, with a time constant, to what takes this share of the volts at the current then."""
    ohms: list[float] = []

    def do(supply: Supply, since_s: float) -> None:
        if not ohms:
            ohms.append(share_of_volts * supply.voltage_v / supply.current_a)
        supply.cell.creep_ohm = ohms[0] * -math.expm1(-since_s / over_s)
        supply.solve()

    return do


def touches(voltage_v: float) -> Fault:
    """The rack touches the cathode and leaves so many volts, 0-4, at the highest current set."""

    def do(supply: Supply, _: float) -> None:
        if not supply.cell.is_touching:
            supply.cell.touch_ohm = voltage_v / supply.set_current_a
            supply.disturb()

    return do


def burns(rate_c_per_min: float) -> Fault:
    """The surface gets hotter and hotter than the bath, by this rate."""

    def do(supply: Supply, since_s: float) -> None:
        supply.cell.burning_c = min(rate_c_per_min / 60.0 * since_s, 30.0)

    return do


def _touching(supply: Supply, share: float) -> None:
    if supply.cell.share != share:
        supply.cell.share = share
        supply.disturb()


@dataclass
class Played:
    """What the watch said first: cause and process time since the fault began, or since current; "" if nothing."""

    cause: str = ""
    at_s: float = math.inf
    watch: Watch | None = None


class ElectricalLoad:
    """A load as drawn, played against the watch."""

    def __init__(self, of: Draw, seed: int) -> None:
        self.of = of
        self._chance = random.Random(f"{seed} meters")
        load = LoadPlan(of.area_dm2, of.alloy, of.surface_c)
        highest_v = 60.0
        plan = SupplyPlan("acid", 4 * of.current_a, highest_v, 4 * of.current_a, 0.0, "off", of.leads_ohm, load)
        cell = Cell(
            area_dm2=of.area_dm2,
            alloy=of.alloy,
            acid_g_per_l=of.acid_g_per_l,
            leads_ohm=of.leads_ohm,
            surface_over_bath_c=of.surface_c,
            still_over_bath_c=9.0,
            chance=random.Random(f"{seed} load"),
        )
        self.supply = Supply(plan, cell)
        alloy = ALLOYS[of.alloy]
        self._volts = alloy.voltage_v * (of.density_a_per_dm2 / 1.3) ** 0.4
        self.supply.set_voltage(highest_v if of.mode == "current" else 0.0)
        self.supply.set_current(0.0 if of.mode == "current" else 1.3 * of.current_a)
        self._sheath_c = self._bath_c(0.0)
        self._now_s = 0.0
        share, absolute = of.accuracy
        self._gain = 1.0 + self._chance.uniform(-share, share) * (1.0 - of.noise_share)
        self._zero = self._chance.uniform(-1.0, 1.0) * (1.0 - of.noise_share)
        volts_share = share + absolute * 1.5
        doubt = reading_doubt(share + absolute * of.range_a / of.current_a + of.ripple / 2, volts_share)
        growth = alloy.growth.best
        self.sight = Sight(of.area_dm2 / 100, alloy.voltage_v, alloy.voltage_v, growth, doubt, of.by_hand)

    def _bath_c(self, at_s: float) -> float:
        return self.of.bath_c + self.of.swing_c * math.sin(2 * math.pi * at_s / self.of.swing_s + self.of.phase)

    def play(self, fault: Fault | None = None, at_s: float = math.inf, until_s: float = LOAD_S) -> Played:
        """Play the load; stop at the first cause found after `at_s`, or at any where nothing is wrong."""
        of, supply = self.of, self.supply
        supply.switch(on=True)
        watch = electrical.begin(0.0, self._sheath_c)
        told: list[float] = []
        charge_c, last_a = 0.0, 0.0
        while self._now_s < until_s:
            self._set(told)
            if fault is not None and self._now_s >= at_s:
                fault(supply, self._now_s - at_s)
            self._advance(of.period_s)
            watch = self._told(watch, told)
            if self._chance.random() < of.lost_share:
                continue
            current_a, voltage_v = self._read(supply.current_a, of.range_a), self._read(supply.voltage_v, 30.0)
            charge_c += (current_a + last_a) / 2 * of.period_s
            last_a = current_a
            if current_a < 0.1 * of.current_a and self._now_s > at_s:
                return Played("current-lost", self._now_s - at_s + LOST_AFTER_S, watch)
            bath_c = self._chance.gauss(self._sheath_c, of.noise_c)
            sample = Sample(self._now_s, current_a, voltage_v, bath_c, charge_c / self.sight.area_m2)
            watch = electrical.step(watch, sample, self.sight)
            if watch.found:
                began_s = at_s if fault is not None and self._now_s >= at_s else 0.0
                return Played(watch.found[0], self._now_s - began_s, watch)
        return Played(watch=watch)

    def _set(self, told: list[float]) -> None:
        """Set points: the soft start, then the steps; note when the last one came that the watch is told of."""
        of, supply, now_s = self.of, self.supply, self._now_s
        ramp = min(1.0, (now_s + of.period_s) / of.ramp_s)
        step = next((share for moment, share in reversed(of.steps) if now_s >= moment), 1.0)
        before = (supply.set_current_a, supply.set_voltage_v)
        if of.mode == "current":
            wanted = (of.current_a * ramp * step, supply.set_voltage_v)
        else:
            wanted = (supply.set_current_a, self._volts * ramp * (1.0 + 0.4 * (step - 1.0)))
        if wanted == before:
            return
        supply.set_current(wanted[0])
        supply.set_voltage(wanted[1])
        if ramp < 1.0 or now_s < of.ramp_s or not of.by_hand:
            told.append(now_s)

    def _told(self, watch: Watch, told: list[float]) -> Watch:
        if not told:
            return watch
        moment = told[-1]
        told.clear()
        return electrical.disturbed(watch, moment)

    def _advance(self, by_s: float) -> None:
        until_s = self._now_s + by_s
        while self._now_s < until_s - 1e-9:
            step_s = min(self.supply.longest_step_s(), until_s - self._now_s)
            bath_c = self._bath_c(self._now_s)
            self.supply.step(step_s, bath_c, self._now_s)
            self._now_s += step_s
            self._sheath_c += (bath_c - self._sheath_c) * -math.expm1(-step_s / self.of.lag_s)

    def _read(self, true: float, full: float) -> float:
        """Read a meter: gain, zero, noise and, of the current, ripple; all but the ripple within its limit of error."""
        share, absolute = self.of.accuracy
        limit = share * abs(true) + absolute * full
        error = (self._gain - 1.0) * true + self._zero * absolute * full
        error += self.of.noise_share * limit * self._chance.uniform(-1.0, 1.0)
        ripple = self.of.ripple * math.sin(2 * math.pi * self._chance.random()) if full != 30.0 else 0.0
        return true * (1.0 + ripple) + error
