"""A thousand loads through the core on simulated lines of five worlds: what is told of each, beside what is true.

Each line keeps what its core knows from load to load, and every load is gauged, so that the next one's plan has learned
from it. Answers are lost, devices fall silent and the service dies on the way; a person restarts what was held.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from simulators.meter import MeterPlan
from simulators.plan import LinePlan
from simulators.plan_process import CoolingPlan, LoadPlan
from supervisor.config.load import LineFile
from supervisor.core import coat, electrical
from supervisor.core.anodize import State
from supervisor.core.events import GaugeReading, Order
from supervisor.core.learned import learned
from supervisor.trade.charge import Interval
from tests.campaigns.worlds import GAP_S, LOST_SHARE, WORLDS, DrawnLine, DrawnLoad, draw_line, draw_load
from tests.harness.direct import DirectLine
from tests.harness.lines import LINE_FILE, PLAN_FILE, Base, faults_of, short_folder, write_files

LOADS_OF_A_LINE = 6
"""So the last of them is planned after five gauged ones."""

FILE: dict[str, object] = {
    "devices.rectifier.period": "2 s",
    "devices.thermometer.period": "15 s",
    "anodize.ramp_step": "2 s",
    "anodize.voltage": "30 V",
}
LIMITS = (
    'limits = { trip_low = "13 degC", warn_low = "15 degC", warn_high = "24.5 degC", trip_high = "26 degC", '
    'deadband = "0.3 degC", delay = "10 s" }'
)
"""Wide enough for the hot and for the cold world."""

GAIN, ZERO_A = 0.0018, 0.003
"""Together within the 0.2 % of reading + 5 mA of the supply's profile, beside its step of 1 mA."""

LOOKS_S = 20.0
"""After so long a person looks at a held load, s."""

PATIENCE = 60
"""So many looks, and then it will not be restarted any more."""

STANDS = (State.HELD, State.COMPLETE)
"""Where off is proven and nothing more happens by itself."""


@dataclass(frozen=True)
class Held:
    """What was told of a charge with off proven, C, and what was true."""

    told: Interval
    unbounded: bool
    true_c: float

    @property
    def contains(self) -> bool:
        """Whether the truth lies in what was told."""
        beyond = not self.unbounded and self.true_c > self.told.high + 1e-6
        return self.true_c >= self.told.low - 1e-6 and not beyond


@dataclass(frozen=True)
class LoadSeen:
    """One load.

    Attributes:
        world: its line's. gauged: how many loads its plan had learned from. charges: at each proof of off.
        band_um: told of its mean at the end. target_um, true_um: ordered, and as it came out.
        reports: what the electrical watch said; nothing was wrong. restarts: how often it was held and went on.
    """

    world: str
    gauged: int
    charges: tuple[Held, ...]
    band_um: Interval
    target_um: float
    true_um: float
    reports: tuple[str, ...]
    restarts: int

    @property
    def covered(self) -> bool:
        """Whether its band holds the truth."""
        return self.band_um.low <= self.true_um <= self.band_um.high

    @property
    def half_width_percent(self) -> float:
        """Half of the band, of its best value."""
        return 50 * (self.band_um.high - self.band_um.low) / self.band_um.best

    @property
    def error_percent(self) -> float:
        """By how much it came out thicker or thinner than ordered."""
        return 100 * abs(self.true_um / self.target_um - 1)


@dataclass(frozen=True)
class LineSeen:
    """One line: its loads, and the error of the factor its core believed in after five of them; None before."""

    loads: tuple[LoadSeen, ...]
    factor_error_percent: float | None


def world_of(number: int) -> str:
    """The world of a line, by its number from 0."""
    return list(WORLDS)[number % len(WORLDS)]


def written(folder: Path) -> Base:
    """Write the line of every load, as its file has it, into a folder."""
    text, changed = re.subn("^limits = .*$", LIMITS, LINE_FILE.read_text(encoding="utf-8"), flags=re.MULTILINE)
    assert changed == 1
    path = folder / "loads.toml"
    path.write_text(text, encoding="utf-8")
    return Base(path, PLAN_FILE, 1.0)


@lru_cache(maxsize=1)
def line_files() -> tuple[LineFile, LinePlan]:
    """The same read, and as its simulators have it."""
    with short_folder() as folder:
        files = write_files(folder / "line", line=FILE, base=written(folder))
        return files.load(), files.read_plan()


def planned(plan: LinePlan, line: DrawnLine, load: DrawnLoad) -> LinePlan:
    """The simulated line with this load in its tank."""
    acid, supply = plan.tanks["acid"], plan.supplies["rectifier"]
    cooling = CoolingPlan(line.bath_c, 0.2, 120.0)
    tank = replace(acid, start_c=line.bath_c, acid_g_per_l=line.acid_g_per_l, cooling=cooling)
    part = LoadPlan(
        line.area_dm2, line.alloy, line.surface_over_bath_c, growth_um_per_a_min_dm2=load.growth_um_per_a_min_dm2
    )
    meter = MeterPlan("window", 0.1, zero_a=ZERO_A * line.meter_error, ripple_share=line.ripple)
    powered = replace(
        supply, load=part, leads_ohm=line.leads_ohm, meter_gain_error=GAIN * line.meter_error, meter=meter
    )
    return replace(plan, tanks={"acid": tank}, supplies={"rectifier": powered})


def order_of(line: DrawnLine, load: DrawnLoad) -> Order:
    """What the person asks for."""
    return Order(load.stated_dm2 / 100, load.target_um, density_a_per_m2=100 * load.density_a_per_dm2, alloy=line.alloy)


def play_line(number: int, seeds: range) -> LineSeen:
    """Play the loads of these seeds one after another on a line."""
    world = world_of(number)
    drawn = draw_line(WORLDS[world], number)
    before: DirectLine | None = None
    seen: list[LoadSeen] = []
    for seed in seeds:
        before, one = _play(world, drawn, draw_load(drawn, seed), seed, before)
        seen.append(one)
    assert before is not None
    known = learned(before.setup, before.state.gauged, drawn.alloy, "acid")
    taught = known.believed.factor.best / drawn.factor_um_m2_per_c - 1
    full = seeds.stop - seeds.start == LOADS_OF_A_LINE
    return LineSeen(tuple(seen), 100 * abs(taught) if full else None)


def _play(
    world: str, drawn: DrawnLine, load: DrawnLoad, seed: int, before: DirectLine | None
) -> tuple[DirectLine, LoadSeen]:
    file, plan = line_files()
    simulated = planned(plan, drawn, load)
    lost = [
        {"what": "answer dropped", "device": device, "share": LOST_SHARE, "at_s": 0.0}
        for device in ("rectifier", "thermometer")
    ]
    gaps = [{"what": "device silent", "device": "rectifier", "at_s": at_s, "for_s": GAP_S} for at_s in load.gaps_s]
    faults = faults_of(simulated, *lost, *gaps, speed=1.0)
    line = DirectLine(file, simulated, speed=1.0, seed=seed, faults=faults, after=before)
    line.start()
    answer = line.ask("start", order=order_of(drawn, load))
    assert answer.ok, answer.reasons
    charges, restarts = _to_the_end(line, load)
    seen = _seen(world, line, load, charges, restarts)
    name = line.operation.load
    line.ask("reset")
    readings = tuple(GaugeReading(um, um, "um") for um in load.gauged_um(seen.true_um))
    answer = line.ask("gauge", load=name, readings=readings)
    assert answer.ok, answer.reasons
    return line, seen


def _to_the_end(line: DirectLine, load: DrawnLoad) -> tuple[list[Held], int]:
    """Play until the load is complete: its service dies where that was drawn, a person restarts it where it is held."""
    charges: list[Held] = []
    if load.killed_s is not None:
        _play_on(line, charges, load.killed_s)
        if line.stands not in STANDS:
            line.kill(load.away_s)
    _play_on(line, charges, math.inf)
    return charges, len(charges) - 1


def _play_on(line: DirectLine, charges: list[Held], until_s: float) -> None:
    """Play until process time `until_s`, or until the load is complete; note its charge wherever off is proven."""

    def stands() -> bool:
        return line.stands in STANDS or line.simulated.now_s >= until_s

    while line.stands is not State.COMPLETE and line.simulated.now_s < until_s:
        line.until(stands, within_s=3 * 3600.0)
        if line.stands in STANDS:
            dose = line.operation.dose
            charges.append(Held(dose.charge, dose.unbounded, line.true_charge_c))
        if line.stands is State.HELD:
            _restart(line)


def _restart(line: DirectLine) -> None:
    """Let a person reset what has gone and restart the load; several looks may be needed."""
    reasons: tuple[str, ...] = ()
    for _ in range(PATIENCE):
        line.pass_time(LOOKS_S)
        for alarm in line.alarms:
            line.ask("alarm reset", alarm=alarm)
        answer = line.ask("restart")
        if answer.ok:
            return
        reasons = answer.reasons
    raise AssertionError(f"It could not be restarted: {reasons}")


def _seen(world: str, line: DirectLine, load: DrawnLoad, charges: list[Held], restarts: int) -> LoadSeen:
    operation = line.operation
    growth = operation.plan.growth
    assert growth is not None
    told = coat.told(operation, line.supply.coat, operation.dose.charge, growth)
    alarms = {note.subject for note in line.notes if note.kind == "alarm"}
    return LoadSeen(
        world=world,
        gauged=operation.plan.learned_from,
        charges=tuple(charges),
        band_um=told.band_um,
        target_um=load.target_um,
        true_um=line.simulated_supply.thickness_um,
        reports=tuple(cause for cause in electrical.CAUSES if f"main/{cause}" in alarms),
        restarts=restarts,
    )
