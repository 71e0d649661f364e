"""How long a tank still warms up, learned from its own readings, and how sure that is.

The heater's power over what the bath takes up gives a rise; walls and surface take from it. How much of each is true
of this tank is learned: shares of the heater's rise, of the walls' loss by `trade/heat.py` and of the surface's printed
loss (`trade/open_tank.py`); how far the surface goes by the formula of `trade/heat.py` instead, which is flatter where
tanks are warm and steeper where they are hot; and a start that the sensor's lag shifts. Written as what came in all
since the begin, every reading tells of them together, and nothing has to be differentiated.

What is believed before: heater, mains and volume within 6 %; walls from insulated to bare; a surface's loss within the
30 % by which printed ones differ, or, where the line file does not tell the surface, that of tanks from half to one and
a half times as deep as a cube; a lid keeps some 80 % of it in. Readings waver and the law is never quite right: what a
minute of them tells counts as one outcome within 0.06 K. All of these are assumptions, no source;
`tests/core/test_warm_up.py` shows what they are good for. Where a bath is topped up, parts are put in, or the lid is
opened meanwhile, the forecast errs until new readings outweigh the old ones.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from supervisor.core import fit
from supervisor.core.fit import Belief, Sums
from supervisor.core.tank_setup import HeatingSetup, TankSetup
from supervisor.trade.charge import NOTHING, Interval
from supervisor.trade.heat import (
    AIR_C,
    BARE_WALLS_W_PER_M2_K,
    capacity_j_per_l_k,
    open_surface_w_per_m2,
    surface_m2,
    walls_m2,
)
from supervisor.trade.open_tank import surface_loses_to_w_per_m2

HEATER, WALLS = (0.98, 0.06), (0.75, 0.3)
SURFACE = {"told": (1.0, 0.2), "guessed": (1.07, 0.42), "lid": (0.18, 0.1)}
OTHERWISE_SHARE = 1.0
"""Mean and spread of the shares before anything is seen; and how far a surface may go by the formula instead of by what
is printed, as a share of its loss."""

START_C = 1.0
LOOSENED = (0.02, 0.1, 0.08, 0.03, START_C)
"""What of them may be otherwise the next time: mains, room, level, lid."""

NOISE_C = 0.06
OUTCOME_S = 60.0
"""Process time of readings that count as one outcome."""

SETTLES_S = 150.0
"""Process time after which a sensor in its sheath follows a steady rise: some three of its lags of 30 to 60 s."""

LONGEST_GAP_S = 600.0
"""Process time between two good readings after which nobody knows what was between them."""

ROOM_C = (10.0, 30.0)
"""Temperatures a room may have, degC."""

WITHIN = 1.645
"""Standard deviations to either side that hold 90 % of a normal spread."""

_SMOOTHING_S = 60.0
_SUMMED_EVERY_S = 10.0
_STEPS = 48
_LEAST_RISE_C = 3.0


@dataclass(frozen=True, slots=True)
class Law:
    """What a tank would do if all that is assumed of it were true.

    Attributes:
        heater: its rise, K/s. walls: loss per K above the air, K/s. surface: loss per W/m2, K/s. air_c: the air, degC.
    """

    heater: float
    walls: float
    surface: float
    air_c: float


@dataclass(frozen=True, slots=True)
class WarmUp:
    """One warm-up as it comes in.

    Attributes:
        before: what was believed of its shares as it began. sums: what was seen since.
        summed_s: process time up to which that goes; at first, when the sensor has settled.
        began_s, began_c: process time and degC of its first reading. last_s, last_c: of its newest.
        smooth_c: the newest readings, smoothed; late by what the bath rises meanwhile.
        on_s: time with the heater on, s. walls_k_s: time x difference to the air. surface: time x printed flux, J/m2.
        otherwise: likewise of the flux by the formula, less that.
    """

    before: Belief
    sums: Sums
    summed_s: float
    began_s: float
    began_c: float
    last_s: float
    last_c: float
    smooth_c: float
    on_s: float = 0.0
    walls_k_s: float = 0.0
    surface: float = 0.0
    otherwise: float = 0.0


@dataclass(frozen=True, slots=True)
class Ready:
    """When a tank will be in its band.

    Attributes:
        to_go_s: process time still to go; its bounds hold nine of ten. Infinite: it will not reach it.
        ends_c: where it levels off with its heater on, degC; None where that is above its mark.
    """

    to_go_s: Interval
    ends_c: float | None


def law(tank: TankSetup, heating: HeatingSetup, began_c: float) -> Law:
    """Return what is assumed of a tank that began to warm up at a temperature, degC.

    One that begins as cold as a room can be has taken on the room's temperature.
    """
    air_c = began_c if ROOM_C[0] <= began_c <= ROOM_C[1] else AIR_C
    capacity_j_per_k = tank.volume_l * capacity_j_per_l_k(tank.acid_g_per_l)
    open_m2 = tank.surface_m2 or surface_m2(tank.volume_l)
    walls = walls_m2(tank.volume_l, open_m2) * BARE_WALLS_W_PER_M2_K / capacity_j_per_k
    return Law(heating.rise_c_per_s, walls, open_m2 / capacity_j_per_k, air_c)


def first(tank: TankSetup) -> Belief:
    """What is believed of a tank that was never seen to warm up."""
    mean, spread = SURFACE["lid" if tank.lid else "told" if tank.surface_m2 else "guessed"]
    other = OTHERWISE_SHARE * mean
    return fit.independent((HEATER[0], WALLS[0], mean, 0.0, 0.0), (HEATER[1], WALLS[1], spread, other, START_C))


def begin(before: Belief, at_s: float, temperature_c: float) -> WarmUp:
    """Begin at a good reading, degC, of process time `at_s`."""
    sums = fit.nothing(len(before.mean))
    return WarmUp(before, sums, at_s + SETTLES_S, at_s, temperature_c, at_s, temperature_c, temperature_c)


def read(warm: WarmUp, of: Law, at_s: float, temperature_c: float, *, on: bool) -> WarmUp:
    """Take one good reading, degC, of process time `at_s`, after the last; `on`: the heater was on since that one."""
    elapsed_s, mean_c = at_s - warm.last_s, (warm.last_c + temperature_c) / 2
    on_s = warm.on_s + (elapsed_s if on else 0.0)
    walls_k_s = warm.walls_k_s + (mean_c - of.air_c) * elapsed_s
    printed, other = _fluxes(of, mean_c)
    surface, otherwise = warm.surface + printed * elapsed_s, warm.otherwise + other * elapsed_s
    sums, summed_s = warm.sums, warm.summed_s
    if at_s - summed_s >= _SUMMED_EVERY_S:
        shares = (of.heater * on_s, -of.walls * walls_k_s, -of.surface * surface, -of.surface * otherwise, 1.0)
        weight = min(1.0, (at_s - summed_s) / OUTCOME_S)
        sums, summed_s = fit.seen(sums, shares, temperature_c - warm.began_c, weight), at_s
    smooth_c = warm.smooth_c + (temperature_c - warm.smooth_c) * elapsed_s / (elapsed_s + _SMOOTHING_S)
    return WarmUp(
        warm.before, sums, summed_s, warm.began_s, warm.began_c, at_s, temperature_c, smooth_c,
        on_s, walls_k_s, surface, otherwise,
    )  # fmt: skip


def belief(warm: WarmUp) -> Belief:
    """What is held of the shares now."""
    return fit.learned(warm.before, warm.sums, NOISE_C)


def kept(warm: WarmUp) -> Belief | None:
    """What the next warm-up of this tank may begin with; None where this one rose too little to teach anything."""
    if warm.last_c - warm.began_c < _LEAST_RISE_C:
        return None
    return belief(warm).restarted(LOOSENED)


def ready(held: Belief, of: Law, now_c: float, mark_c: float) -> Ready:
    """When a bath that stands at `now_c`, degC, reaches its mark with its heater on."""
    if now_c >= mark_c:
        return Ready(NOTHING, None)
    places = [_parts(of, now_c + (mark_c - now_c) * step / _STEPS) for step in range(_STEPS + 1)]
    best_s = _time_s(held.mean, places, mark_c - now_c)
    along = _slope(held.mean, places, mark_c - now_c)
    low_s, high_s = (_time_s(held.towards(along, side * WITHIN), places, mark_c - now_c) for side in (-1, 1))
    ends_c = None if math.isfinite(best_s) else levels_off_c(held.mean, of, mark_c)
    return Ready(Interval(min(low_s, best_s), best_s, max(high_s, best_s)), ends_c)


def now_c(warm: WarmUp, of: Law, held: Belief) -> float:
    """Where the sensor stands without its noise: what the smoothing is late by is put back."""
    return warm.smooth_c + max(0.0, rate(held.mean, of, warm.last_c)) * _SMOOTHING_S


def rate(shares: fit.Vector, of: Law, bath_c: float) -> float:
    """Rise, K/s, at a temperature, degC, with the heater on."""
    return _rate(shares, _parts(of, bath_c))


def levels_off_c(shares: fit.Vector, of: Law, below_c: float) -> float:
    """The temperature, degC, at which the heater only just holds, between freezing and `below_c`."""
    low_c, high_c = 0.0, below_c
    for _ in range(_STEPS):
        middle_c = (low_c + high_c) / 2
        low_c, high_c = (middle_c, high_c) if rate(shares, of, middle_c) > 0 else (low_c, middle_c)
    return low_c


def _time_s(shares: fit.Vector, places: list[fit.Vector], width_c: float) -> float:
    """Time, s, through evenly spaced places over a width, K; infinite where the loss holds the bath below one."""
    rates = [_rate(shares, parts) for parts in places]
    return math.inf if min(rates) <= 0 else _simpson([1 / one for one in rates], width_c)


def _slope(shares: fit.Vector, places: list[fit.Vector], width_c: float) -> fit.Vector:
    """How the time to go moves with each share; where it is infinite, how the rise at the mark does, turned round."""
    rates = [_rate(shares, parts) for parts in places]
    if min(rates) <= 0:
        return tuple(-part for part in places[-1])
    scaled = [[-part / one**2 for part in parts] for parts, one in zip(places, rates, strict=True)]
    return tuple(_simpson(list(part), width_c) for part in zip(*scaled, strict=True))


def _rate(shares: fit.Vector, parts: fit.Vector) -> float:
    return sum([share * part for share, part in zip(shares, parts, strict=True)])


def _parts(of: Law, bath_c: float) -> fit.Vector:
    """What each share adds to the rise at a temperature, K/s."""
    printed, other = _fluxes(of, bath_c)
    return (of.heater, -of.walls * (bath_c - of.air_c), -of.surface * printed, -of.surface * other, 0.0)


def _fluxes(of: Law, bath_c: float) -> tuple[float, float]:
    """What a surface loses as printed, W/m2, and by how much more it does by the formula."""
    printed = surface_loses_to_w_per_m2(bath_c, of.air_c)
    return printed, open_surface_w_per_m2(bath_c, of.air_c) - printed


def _simpson(values: list[float], width: float) -> float:
    """Integral over a width of values at both of its ends and evenly between, an odd number of them."""
    inner = 4 * sum(values[1:-1:2]) + 2 * sum(values[2:-1:2])
    return (values[0] + inner + values[-1]) * width / (3 * (len(values) - 1))
