"""Where a bath under current stands when its load is done, learned from its own readings, and how sure that is.

The cell puts in current x (voltage + 1.41 V) at most, the room takes or gives some by the walls, and a cooling takes
what it can while it is on. How much of each is true of this bath is learned as in `warm_up.py`: shares of the cell's
heat (what the leads keep, and the part of the reaction that gives none), of the walls' loss, of a cooling that takes
ten kelvin an hour, heat from elsewhere (the sun, a heater that hangs), and a start. What was seen long ago fades,
because a cooling that begins to fail tells nobody.

Ahead, the bath is let run through the charge still to go: its control switches the cooling as it always does, and one
that has failed takes nothing. Current and voltage are taken to stay as they are. In voltage mode the current follows
the bath, some 6 % per kelvin, and the load is done the sooner: the heat of the charge still to go hangs on the voltage
alone, so that the end is the same but for the losses of the time between.

What is believed before (assumptions, no source): the cell's heat within 7 %; walls from insulated to bare; a cooling of
any strength; some kelvin an hour from elsewhere. `tests/core/test_bath_end.py` shows what they are good for.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from supervisor.core import fit, two_position
from supervisor.core.fit import Belief, Sums
from supervisor.core.setup import CoolingSetup, TankSetup
from supervisor.core.warm_up import OUTCOME_S, WITHIN
from supervisor.trade.charge import Interval
from supervisor.trade.heat import AIR_C, BARE_WALLS_W_PER_M2_K, capacity_j_per_l_k, surface_m2, walls_m2

FIRST = fit.independent((0.93, 0.8, 1.5, 0.0, 0.0), (0.07, 0.4, 1.2, 3.0, 3.0))
"""Before anything is seen: shares of the cell's heat, of the walls' loss and of the cooling; heat from elsewhere, K/h;
and the start's shift, K."""

LOOSENED = (0.02, 0.1, 0.2, 1.0, 3.0)
"""What of them may be otherwise the next time: leads, room, a cooling's water, heat from elsewhere."""

COOLS_C_PER_S = 10.0 / 3600

NOISE_C = 0.05
FADES_S = 900.0
"""Process time after which what was seen counts for a third."""

SETTLES_S = 120.0
LONGEST_GAP_S = 300.0
"""Process time between two good readings after which nobody knows what was between them."""

LEAST_SEEN_S = 300.0
"""Process time under current before anything is foretold."""

_SUMMED_EVERY_S = 10.0
_SMOOTHING_S = 20.0
_STEPS, _AROUND = 140, 21
_NUDGE = 0.01
_LEAST_CURRENT_SHARE = 0.2


@dataclass(frozen=True, slots=True)
class Law:
    """What a bath would do if all that is assumed of it were true: K/s per W of heat; loss per K above the air, 1/s."""

    per_w: float
    walls: float


@dataclass(frozen=True, slots=True)
class Run:
    """A bath under one operation, as it comes in.

    Attributes:
        operation: whose. before: what was believed of its shares as it began. sums: what was seen since.
        summed_s: process time up to which that goes; at first, when the sensor has settled.
        began_s, began_c: process time and degC of the first reading. last_s, last_c: of the newest.
        smooth_c: the newest readings, smoothed; late by what the bath rises meanwhile.
        heat_j: heat put in, J. walls_k_s: time x difference to the air. cool_s: time with the cooling on.
    """

    operation: str
    before: Belief
    sums: Sums
    summed_s: float
    began_s: float
    began_c: float
    last_s: float
    last_c: float
    smooth_c: float
    heat_j: float = 0.0
    walls_k_s: float = 0.0
    cool_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Cooling:
    """A cooling as it stands now: whether it is on, for how long, s, and what switches it."""

    on: bool
    for_s: float
    setup: CoolingSetup


@dataclass(frozen=True, slots=True)
class Ahead:
    """What lies before a bath: heat, W, for a time, s; its cooling, None where there is none or none that works."""

    heat_w: float
    left_s: float
    cooling: Cooling | None


@dataclass(frozen=True, slots=True)
class Course:
    """How a bath goes on: degC at the end, the highest before it, and after how many s it is at its limit, if ever."""

    end_c: float
    highest_c: float
    limit_s: float | None


def law(tank: TankSetup) -> Law:
    """Return what is assumed of a bath."""
    capacity_j_per_k = tank.volume_l * capacity_j_per_l_k(tank.acid_g_per_l)
    walls = walls_m2(tank.volume_l, tank.surface_m2 or surface_m2(tank.volume_l))
    return Law(1 / capacity_j_per_k, walls * BARE_WALLS_W_PER_M2_K / capacity_j_per_k)


def begin(operation: str, before: Belief, at_s: float, temperature_c: float) -> Run:
    """Begin at a good reading, degC, of process time `at_s`."""
    sums = fit.nothing(len(before.mean))
    return Run(operation, before, sums, at_s + SETTLES_S, at_s, temperature_c, at_s, temperature_c, temperature_c)


def read(run: Run, of: Law, at_s: float, temperature_c: float, heat_w: float, *, cools: bool) -> Run:
    """Take one good reading, degC, of process time `at_s`, after the last; heat, W, and cooling since that one."""
    elapsed_s, mean_c = at_s - run.last_s, (run.last_c + temperature_c) / 2
    heat_j, cool_s = run.heat_j + heat_w * elapsed_s, run.cool_s + (elapsed_s if cools else 0.0)
    walls_k_s = run.walls_k_s + (mean_c - AIR_C) * elapsed_s
    sums, summed_s, since_s = run.sums, run.summed_s, at_s - run.summed_s
    if since_s >= _SUMMED_EVERY_S:
        shares = (of.per_w * heat_j, -of.walls * walls_k_s, -COOLS_C_PER_S * cool_s, (at_s - run.began_s) / 3600, 1.0)
        weight, keeps = min(1.0, since_s / OUTCOME_S), math.exp(-since_s / FADES_S)
        sums, summed_s = fit.seen(sums, shares, temperature_c - run.began_c, weight, keeps), at_s
    smooth_c = run.smooth_c + (temperature_c - run.smooth_c) * elapsed_s / (elapsed_s + _SMOOTHING_S)
    return Run(
        run.operation, run.before, sums, summed_s, run.began_s, run.began_c, at_s, temperature_c, smooth_c,
        heat_j, walls_k_s, cool_s,
    )  # fmt: skip


def belief(run: Run) -> Belief:
    """What is held of the shares now."""
    return fit.learned(run.before, run.sums, NOISE_C)


def kept(run: Run) -> Belief | None:
    """What the next operation over this bath may begin with; None where this one was too short to teach anything."""
    return None if run.last_s - run.began_s < LEAST_SEEN_S else belief(run).restarted(LOOSENED)


def now_c(run: Run, of: Law, held: Belief, heat_w: float, *, cools: bool) -> float:
    """Where the sensor stands without its noise: what the smoothing is late by is put back, K."""
    return run.smooth_c + _rate(held.mean, of, run.last_c, heat_w, cools=cools) * _SMOOTHING_S


def course(shares: fit.Vector, of: Law, from_c: float, ahead: Ahead, limit_c: float) -> Course:
    """Let a bath run on from a temperature, degC.

    Where a cooling comes and goes, nobody knows long ahead at which end of its band the bath will be: the end is the
    mean of what is reached around it, the longer ahead the further around.
    """
    bath_c, highest_c, limit_s, around_c = from_c, from_c, None, 0.0
    on, for_s = (ahead.cooling.on, ahead.cooling.for_s) if ahead.cooling else (False, 0.0)
    step_s = ahead.left_s / _STEPS
    for step in range(1, _STEPS + _AROUND + 1):
        bath_c += _rate(shares, of, bath_c, ahead.heat_w, cools=on) * step_s
        for_s += step_s
        around_c += bath_c if step >= _STEPS - _AROUND else 0.0
        if step <= _STEPS:
            highest_c = max(highest_c, bath_c)
            limit_s = step * step_s if limit_s is None and bath_c >= limit_c else limit_s
        if ahead.cooling is not None and _wants(ahead.cooling.setup, bath_c, for_s, on=on) is not on:
            on, for_s = not on, 0.0
    return Course(around_c / (2 * _AROUND + 1), highest_c, limit_s)


def end_c(held: Belief, of: Law, from_c: float, ahead: Ahead) -> Interval:
    """Temperature at the end, degC; its bounds hold nine of ten."""
    best_c = course(held.mean, of, from_c, ahead, math.inf).end_c
    along = [0.0] * len(held.mean)
    for place in range(len(along) - 1):
        nudged = tuple(share + (_NUDGE if at == place else 0.0) for at, share in enumerate(held.mean))
        along[place] = (course(nudged, of, from_c, ahead, math.inf).end_c - best_c) / _NUDGE
    cycles_c = ahead.cooling.setup.band_c / 2 if ahead.cooling else 0.0
    off_c = math.hypot(WITHIN * held.spread(tuple(along)), WITHIN * NOISE_C, cycles_c)
    return Interval(best_c - off_c, best_c, best_c + off_c)


def bearable_share(shares: fit.Vector, of: Law, from_c: float, ahead: Ahead, limit_c: float) -> float | None:
    """The largest share of the current, 0 to 1, with which the load is done before the limit; None below a fifth.

    The voltage is taken to stay, although it falls with the current: less heat than counted is on the safe side.
    """

    def holds(share: float) -> bool:
        slower = replace(ahead, heat_w=ahead.heat_w * share, left_s=ahead.left_s / share)
        return course(shares, of, from_c, slower, limit_c).limit_s is None

    low, high = _LEAST_CURRENT_SHARE, 1.0
    if not holds(low):
        return None
    for _ in range(8):
        middle = (low + high) / 2
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low


def _rate(shares: fit.Vector, of: Law, bath_c: float, heat_w: float, *, cools: bool) -> float:
    """Rise of the bath, K/s."""
    cooled = shares[2] * COOLS_C_PER_S if cools else 0.0
    return shares[0] * of.per_w * heat_w - shares[1] * of.walls * (bath_c - AIR_C) - cooled + shares[3] / 3600


def _wants(setup: CoolingSetup, bath_c: float, for_s: float, *, on: bool) -> bool:
    return two_position.wants(on, setup.hold_c - bath_c, setup.band_c, for_s, setup.least_on_s, setup.least_off_s)
