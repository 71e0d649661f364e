"""Where a bath under current stands when its load is done, learned from its own readings, and how sure that is.

The cell puts in current x (voltage + 1.41 V) at most, the room takes or gives some by the walls, and a cooling takes
what it can while it is on. How much of each is true of this bath is learned as in `warm_up.py`: shares of the cell's
heat (what the leads keep, and the part of the reaction that gives none), of the walls' loss, of a cooling that takes
ten kelvin an hour, heat from elsewhere (the sun, a heater that hangs), and a start. What was seen long ago fades,
because a cooling that begins to fail tells nobody.

Ahead, the bath is let run through the charge still to go, its sensor after it: the control switches the cooling as it
always does, by readings that waver, and one that has failed takes nothing. Current and voltage are taken to stay as
they are. In voltage mode the current follows the bath, some 6 % per kelvin, and the load is done the sooner: the heat
of the charge still to go hangs on the voltage alone, so that the end is the same but for the losses of the time
between.

What is believed before (assumptions, no source): the cell's heat within 7 %; walls from insulated to bare; a cooling of
any strength; some kelvin an hour from elsewhere. `tests/core/test_bath_end.py` shows what they are good for.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from supervisor.core import fit, two_position
from supervisor.core.fit import Belief, Sums
from supervisor.core.tank_setup import CoolingSetup, TankSetup
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

LAG_S = 45.0
"""Process time by which a sensor in its sheath is late, some 30 to 60 s (common practice, no source)."""

WAVERS = 2.2
"""Standard deviations of a reading by which its edges are reached early: one of many readings is enough to switch."""

SETTLES_S = 120.0
LONGEST_GAP_S = 300.0
"""Process time between two good readings after which nobody knows what was between them."""

LEAST_SEEN_S = 300.0
"""Process time under current before anything is foretold."""

_SUMMED_EVERY_S = 10.0
_SMOOTHING_S = 20.0
_STEPS = 240
_NUDGE = 0.01
_LOOKED_AT = (-1.6, -0.8, 0.8, 1.6)
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
        readings: after the first. wavers_k2: the sum of their squared differences, each to the one before, K2.
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
    readings: int = 0
    wavers_k2: float = 0.0


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
        heat_j, walls_k_s, cool_s, run.readings + 1, run.wavers_k2 + (temperature_c - run.last_c) ** 2,
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


def cooling(run: Run, on: bool, for_s: float, setup: CoolingSetup) -> Cooling:
    """How its cooling stands, and is switched by these readings: within a band that they make narrower."""
    wavers_c = math.sqrt(run.wavers_k2 / (2 * run.readings)) if run.readings else 0.0
    return Cooling(on, for_s, replace(setup, band_c=max(0.1 * setup.band_c, setup.band_c - 2 * WAVERS * wavers_c)))


def course(shares: fit.Vector, of: Law, from_c: float, ahead: Ahead, limit_c: float) -> Course:
    """Let a bath run on, and its sensor after it, from a temperature, degC, that the sensor has."""
    shown_c, highest_c, limit_s = from_c, from_c, None
    bath_c = from_c + LAG_S * _shown_rate(shares, of, from_c, ahead)
    on, for_s = (ahead.cooling.on, ahead.cooling.for_s) if ahead.cooling else (False, 0.0)
    step_s = ahead.left_s / _STEPS
    follows = -math.expm1(-step_s / LAG_S)
    for step in range(1, _STEPS + 1):
        rate = _rate(shares, of, bath_c, ahead.heat_w, cools=on)
        # A sensor behind a steady rise comes to be late by its lag, exactly so.
        shown_c += rate * step_s + (bath_c - LAG_S * rate - shown_c) * follows
        bath_c += rate * step_s
        for_s += step_s
        highest_c = max(highest_c, shown_c)
        limit_s = step * step_s if limit_s is None and shown_c >= limit_c else limit_s
        if ahead.cooling is not None and _wants(ahead.cooling.setup, shown_c, for_s, on=on) is not on:
            on, for_s = not on, 0.0
    return Course(shown_c, highest_c, limit_s)


def end_c(held: Belief, of: Law, from_c: float, ahead: Ahead) -> Interval:
    """Temperature at the end, degC; its bounds hold nine of ten."""
    return _straight_c(held, of, from_c, ahead) if ahead.cooling is None else _cycling_c(held, of, from_c, ahead)


def _straight_c(held: Belief, of: Law, from_c: float, ahead: Ahead) -> Interval:
    """Without a cooling: the end moves with each share in proportion."""
    best_c = course(held.mean, of, from_c, ahead, math.inf).end_c
    along = [0.0] * len(held.mean)
    for place in range(len(along) - 1):
        nudged = tuple(share + (_NUDGE if at == place else 0.0) for at, share in enumerate(held.mean))
        along[place] = (course(nudged, of, from_c, ahead, math.inf).end_c - best_c) / _NUDGE
    off_c = math.hypot(WITHIN * held.spread(tuple(along)), WITHIN * NOISE_C)
    return Interval(best_c - off_c, best_c, best_c + off_c)


def _cycling_c(held: Belief, of: Law, from_c: float, ahead: Ahead) -> Interval:
    """With a cooling that comes and goes.

    A little more or less of any share shifts its cycles, and the end may be anywhere in one: so the ends of many
    shares that may be true are looked at.
    """
    assert ahead.cooling is not None
    size = len(held.mean)
    axes = [tuple(float(at == place) for at in range(size)) for place in range(size - 1)]
    likely = [held.mean, *(held.towards(axis, by) for axis in axes for by in _LOOKED_AT)]
    ends_c = [course(shares, of, from_c, ahead, math.inf).end_c for shares in likely]
    off_c = math.hypot(WITHIN * NOISE_C, ahead.cooling.setup.band_c / 4)
    return Interval(min(ends_c) - off_c, math.fsum(ends_c) / len(ends_c), max(ends_c) + off_c)


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


def _shown_rate(shares: fit.Vector, of: Law, bath_c: float, ahead: Ahead) -> float:
    """Rise that a sensor shows, K/s: it still goes from what was before its cooling was switched to what is since."""
    if ahead.cooling is None:
        return _rate(shares, of, bath_c, ahead.heat_w, cools=False)
    now = _rate(shares, of, bath_c, ahead.heat_w, cools=ahead.cooling.on)
    before = _rate(shares, of, bath_c, ahead.heat_w, cools=not ahead.cooling.on)
    return now + (before - now) * math.exp(-ahead.cooling.for_s / LAG_S)


def _wants(setup: CoolingSetup, bath_c: float, for_s: float, *, on: bool) -> bool:
    return two_position.wants(on, setup.hold_c - bath_c, setup.band_c, for_s, setup.least_on_s, setup.least_off_s)
