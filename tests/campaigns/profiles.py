"""How exactly the charge of a rippling, stepping current is counted, and how narrow its interval is without a gap.

The steps are made at the supply's front panel. The core blames a set point that is not its own and holds the load, so
profiles with steps are played from the simulated supply and its meter into `core/dose.py`, with the metering of a line
file and with steps it is not told of; and loads without steps through the whole core. The meter reads exactly, or the
figure would tell of its gain and not of the counting; what is told of it is 0.2 % of reading in total.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import lru_cache

from simulators.cell import Cell
from simulators.meter import MeterPlan
from simulators.plan import LinePlan
from simulators.plan_process import LoadPlan, SupplyPlan
from simulators.supply import Supply
from supervisor.config.load import LineFile
from supervisor.config.setup import line_setup
from supervisor.core import dose
from supervisor.core.anodize import State
from supervisor.core.dose import Dose, Metering
from supervisor.core.events import Order
from supervisor.core.plan import floor_to_step
from supervisor.trade.charge import Interval
from tests.campaigns.figures import Figure
from tests.campaigns.worlds import PROFILE_RAMP_S, PROFILE_RIPPLE, PROFILE_S, DrawnProfile, draw_profile
from tests.harness.direct import DirectLine
from tests.harness.lines import short_folder, write_files

SEED = 1
BASE = "process, supply and meter before the charge alone"
CORE_BASE = "process, the direct harness as in life"
DENSITY_A_PER_M2 = 100.0
TARGET_UM = 22.0
"""More than any profile reaches: a person stops it."""

PERIOD_S, RAMP_STEP_S, STEP_A = 0.1, 0.5, 0.001
DOUBT_S = 0.001
"""Half of what a supply takes to answer."""

FILE: dict[str, object] = {
    "devices.rectifier.period": f"{PERIOD_S:g} s",
    "devices.thermometer.period": "10 s",
    "supplies.main.ripple": f"{PROFILE_RIPPLE:.0%}",
    "anodize.ramp_step": f"{RAMP_STEP_S:g} s",
    "anodize.voltage": "30 V",
}
EXACT = ("0.2 % of reading + 5 mA", "0.2 % of reading")


@dataclass(frozen=True)
class Counted:
    """What a profile came to, percent: the best value's error, the whole width of its interval; whether it is true."""

    error_percent: float
    width_percent: float
    contains: bool


def counted(charge: Interval, true_c: float) -> Counted:
    """Hold a charge against the true one, C."""
    return Counted(
        error_percent=100 * abs(charge.best / true_c - 1),
        width_percent=100 * (charge.high - charge.low) / charge.best,
        contains=charge.low <= true_c <= charge.high,
    )


@lru_cache(maxsize=2)
def line_files(ripple_hz: float) -> tuple[LineFile, LinePlan]:
    """The line of every profile on mains of half this frequency."""
    with short_folder() as folder:
        files = write_files(folder, line={**FILE, "supplies.main.mains": f"{ripple_hz / 2:.0f} Hz"})
        profile = folder / "profiles" / "bench-supply.toml"
        text = profile.read_text(encoding="utf-8")
        assert EXACT[0] in text
        profile.write_text(text.replace(*EXACT), encoding="utf-8")
        return files.load(), files.read_plan()


def _meter(drawn: DrawnProfile) -> MeterPlan:
    return MeterPlan("window", 0.1, ripple_share=PROFILE_RIPPLE, ripple_hz=drawn.ripple_hz)


def _load(drawn: DrawnProfile) -> LoadPlan:
    return LoadPlan(100 * drawn.full_a / DENSITY_A_PER_M2, "6061", 1.5)


def metering_of(drawn: DrawnProfile) -> Metering:
    """How the core is told that this current is metered."""
    setup = line_setup(line_files(drawn.ripple_hz)[0], 1.0)
    supply = setup.supplies["main"]
    channel = setup.channels[supply.current]
    return Metering(channel.accuracy, channel.period_s, supply.rated_current_a, meter=supply.meter, doubt_s=DOUBT_S)


def play(seed: int) -> Counted:
    """Count a profile with its steps."""
    drawn = draw_profile(seed)
    metering, supply = metering_of(drawn), _supply(drawn, seed)
    counts, now_s, share = dose.begin(Dose(), 0.0), 0.0, 1.0
    for at_s, what in _moments(drawn):
        while now_s < at_s:
            step_s = min(supply.longest_step_s(), at_s - now_s)
            supply.step(step_s, 20.0, now_s)
            now_s = at_s if now_s + step_s > at_s - 1e-9 else now_s + step_s
        if what == "read":
            shown_a = round(supply.shown_current_a() / STEP_A) * STEP_A
            counts = dose.read(counts, shown_a, now_s + DOUBT_S, metering)
            continue
        share = what if isinstance(what, float) else share
        set_a = share * drawn.full_a * min(1.0, (now_s + RAMP_STEP_S) / PROFILE_RAMP_S)
        supply.set_current(floor_to_step(set_a, STEP_A))
        if what == "ramp":
            counts = dose.stepped(counts, now_s)
    return counted(counts.charge, supply.charge_c)


def _moments(drawn: DrawnProfile) -> list[tuple[float, str | float]]:
    """All that happens, in its order: `ramp`, a share of the current from then on, `read`. Off at the end is read."""
    reads = int((PROFILE_S - drawn.phase_s) / PERIOD_S) + 10
    moments: list[tuple[float, str | float]] = [(drawn.phase_s + n * PERIOD_S, "read") for n in range(reads)]
    moments += [(n * RAMP_STEP_S, "ramp") for n in range(int(PROFILE_RAMP_S / RAMP_STEP_S))]
    moments += [*drawn.steps, (PROFILE_S, 0.0)]
    return sorted(moments, key=lambda moment: moment[0])


def _supply(drawn: DrawnProfile, seed: int) -> Supply:
    load = _load(drawn)
    plan = SupplyPlan("acid", 10.0, 60.0, 10.0, 0.0, "off", 0.05, load, meter=_meter(drawn))
    cell = Cell(
        area_dm2=load.area_dm2, alloy=load.alloy, acid_g_per_l=165.0, leads_ohm=0.05,
        surface_over_bath_c=load.surface_over_bath_c, still_over_bath_c=load.still_over_bath_c,
        chance=random.Random(f"{seed} load"),
    )  # fmt: skip
    supply = Supply(plan, cell)
    supply.set_voltage(60.0)
    supply.switch(on=True)
    return supply


def play_core(seed: int, for_s: float = PROFILE_S) -> Counted:
    """Run a profile without its steps through the core for this time, s."""
    drawn = draw_profile(seed)
    file, plan = line_files(drawn.ripple_hz)
    supply = replace(plan.supplies["rectifier"], load=_load(drawn), meter=_meter(drawn), meter_gain_error=0.0)
    line = DirectLine(file, replace(plan, supplies={"rectifier": supply}), speed=1.0, seed=seed)
    line.start()
    line.pass_time(drawn.phase_s)
    area_m2 = drawn.full_a / DENSITY_A_PER_M2
    order = Order(area_m2, TARGET_UM, density_a_per_m2=DENSITY_A_PER_M2, ramp_s=PROFILE_RAMP_S)
    answer = line.ask("start", order=order)
    assert answer.ok, answer.reasons
    line.pass_time(for_s)
    assert line.ask("stop").ok
    line.until_state(State.STOPPED)
    return counted(line.operation.dose.charge, line.true_charge_c)


def profile_figures(quick: bool, pool: Executor) -> Iterator[Figure]:
    """Measure the worst of some profiles; in a quick run few, and a short one through the core."""
    alone = list(pool.map(play, range(1, 4 if quick else 101)))
    core = list(pool.map(play_core, range(1, 2 if quick else 5), [600.0 if quick else PROFILE_S] * 4))
    for part, found, base in (("", alone, BASE), ("_core", core, CORE_BASE)):
        worst = max(one.error_percent for one in found)
        yield Figure(f"dose_error_percent{part}", worst, "<= 0.01", len(found), SEED, base, timing=False)
        width = max(one.width_percent for one in found)
        yield Figure(f"interval_width_percent{part}", width, "<= 0.5", len(found), SEED, base, timing=False)
    both = [*alone, *core]
    holds = 100 * sum(one.contains for one in both) / len(both)
    yield Figure("interval_contains_truth_percent_profiles", holds, ">= 100", len(both), SEED, BASE, timing=False)
