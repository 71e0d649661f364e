"""The growth factor of an alloy in a bath, learned from gauged loads: a Bayesian regression through the origin.

Thickness = factor x charge per area, and thickness is linear in charge density once growth is steady (Nanoscale Res.
Lett. 2015, DOI 10.1186/s11671-015-1202-y), so each gauged load gives one value of the factor: its gauged mean over its
charge per area. With y the logarithm of that value, all spreads as shares:

    y = theta + load + gauge          theta: ln of the factor that this line's own areas lead to

- theta, before any load: anywhere between the published bounds alike (or, in ASTRAY_SHARE of lines, anywhere near
  them), widened by the part of the area's error that is the same from load to load (a part drawn too small, a rack
  that is never counted). A gauge over charge and area cannot tell that part from the factor, and need not: together
  they are what the next load will do.
- load: what differs from load to load, growth and the area's other part. How large it is in truth is learned as well,
  as one of SCALES times what is assumed.
- gauge: a limit of error taken as equally likely all over (GUM, JCGM 100:2008, 4.3.7: divided by the root of three),
  with the scatter of the readings over the rack.
- One load in twenty is taken to be OUTLIER_WIDTH times as wide as the rest: a slip of a gauge or a lost contact pulls
  at nothing.

The integrals are sums over a grid of theta and scale. An error of the gauge that is the same in every load is learned
into the factor like one of the area: only a check on foils finds it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from supervisor.trade.charge import Interval

GAUGE_LIMIT_UM = 1.0
GAUGE_LIMIT_SHARE = 0.03
"""A coating gauge's limit of error is the larger of the two; common practice for eddy-current gauges, no source."""

RACK_SPREAD_SHARE = 0.05
"""Standard deviation of single readings over a rack, as far as few of them show; within +-5 to 20 %, from memory."""

OUTLIER_SHARE = 0.05
OUTLIER_WIDTH = 5.0

ASTRAY_SHARE = 0.01
"""How likely it is that the published bounds do not hold: an alloy taken for another, or areas told far off."""

SCALES = (0.6, 1.0, 1.7, 2.8)
SCALE_WEIGHTS = (0.3, 0.6, 0.08, 0.02)
"""How much more or less loads may differ than assumed, and how likely each is before any was gauged."""

LEVEL = 0.9
"""Share of cases in which a band of this file holds the truth."""

_ROOT_3 = math.sqrt(3.0)
_LOWER, _UPPER = (1 - LEVEL) / 2, (1 + LEVEL) / 2
_STEP = 0.006  # of theta: below what the surest posteriors are wide
_SHARP = 2e-4  # of theta: a fiftieth of a percent
_NEXT_TO_NOTHING = 1e-7
_BEYOND = 0.36  # of theta beyond the published bounds: a factor of 1.43, as between an alloy and another
_SHARPEST = 0.01  # no published bound is sharper than a percent


@dataclass(frozen=True, slots=True)
class Errors:
    """What is assumed of a line, as shares.

    Attributes:
        area_limit: of an area, the same from load to load. area_by_load_limit: of an area, anew in each load. Both are
            limits of error.
        load_sd: standard deviation of growth from load to load.
    """

    area_limit: float = 0.05
    area_by_load_limit: float = 0.02
    load_sd: float = 0.015

    @property
    def by_load_sd(self) -> float:
        """Standard deviation of what differs from load to load."""
        return math.hypot(self.load_sd, self.area_by_load_limit / _ROOT_3)


@dataclass(frozen=True, slots=True)
class Seen:
    """What one gauged load shows: a factor, um per C/m2, and its standard deviation as a share of it."""

    factor: float
    sd: float


@dataclass(frozen=True, slots=True)
class FactorBelief:
    """What is believed of a factor; every interval holds LEVEL of the cases.

    Attributes:
        factor: um per C/m2, best within its credible interval.
        of_load: the same of a single load's mean thickness over its charge per area: wider by what differs by load.
        fits: how likely each gauged load is to be an ordinary one, 0..1, in their order.
    """

    factor: Interval
    of_load: Interval
    fits: tuple[float, ...] = ()


def seen(readings_um: Sequence[float], charge_c: Interval, area_m2: float) -> Seen:
    """Turn a load's gauge readings, um, into the factor it shows. Readings, charge, C, and area are above zero."""
    count = len(readings_um)
    mean_um = sum(readings_um) / count
    limit = max(GAUGE_LIMIT_UM / mean_um, GAUGE_LIMIT_SHARE)
    scatter = sum((reading / mean_um - 1) ** 2 for reading in readings_um)
    # Few readings may lie close by chance: what is usual counts like two more of them.
    spread = math.sqrt((2 * RACK_SPREAD_SHARE**2 + scatter) / (count + 1) / count)
    charged = (charge_c.high - charge_c.low) / (2 * _ROOT_3 * charge_c.best)
    return Seen(mean_um * area_m2 / charge_c.best, math.hypot(limit / _ROOT_3, spread, charged))


def belief(published: Interval, loads: Sequence[Seen], errors: Errors) -> FactorBelief:
    """Work out what is believed of a factor whose published bounds, um per C/m2, are above zero.

    Before any load the best value is the published one; the bounds come from the model at any time.
    """
    points = _posterior(published, loads, errors)
    mean = sum(point.weight * point.theta for point in points)
    scatter = sum(point.weight * point.scatter for point in points)
    best = math.exp(mean) if loads else published.best
    return FactorBelief(
        _around(best, _of_theta(points, _LOWER), _of_theta(points, _UPPER)),
        _around(best, _of_load(points, _LOWER), _of_load(points, _UPPER)),
        tuple(_fit(mean, load, scatter) for load in loads),
    )


@dataclass(frozen=True, slots=True)
class _Point:
    """A place on the grid with the share of the posterior that lies there; `scatter` is the sd from load to load."""

    theta: float
    scatter: float
    weight: float


def _posterior(published: Interval, loads: Sequence[Seen], errors: Errors) -> list[_Point]:
    """Where the posterior lies; what carries next to nothing is left out."""
    grid = _grid(published)
    prior = [_log_prior(theta, published, errors.area_limit / _ROOT_3) for theta in grid]
    found: list[_Point] = []
    for scale, likely in zip(SCALES, SCALE_WEIGHTS, strict=True):
        scatter = scale * errors.by_load_sd
        logs = _log_likelihood(grid, loads, scatter)
        found += [
            _Point(theta, scatter, math.log(likely) + before + log)
            for theta, before, log in zip(grid, prior, logs, strict=True)
        ]
    top = max(point.weight for point in found)
    shares = [math.exp(point.weight - top) for point in found]
    whole = sum(shares)
    return [
        _Point(point.theta, point.scatter, share / whole)
        for point, share in zip(found, shares, strict=True)
        if share > _NEXT_TO_NOTHING
    ]


def _grid(published: Interval) -> list[float]:
    """Values of theta in even steps, from well below the published bounds to well above them."""
    begin = math.log(published.low) - _BEYOND
    steps = math.ceil((math.log(published.high) + _BEYOND - begin) / _STEP)
    return [begin + _STEP * step for step in range(steps + 1)]


def _log_prior(theta: float, published: Interval, area_sd: float) -> float:
    """Anywhere between the published bounds alike, widened by the area; or, rarely, anywhere at all."""
    sd = max(area_sd, _SHARPEST)
    low, high = math.log(published.low), max(math.log(published.high), math.log(published.low) + _STEP)
    inside = (_below(high, theta, sd) - _below(low, theta, sd)) / (high - low)
    return math.log((1 - ASTRAY_SHARE) * inside + ASTRAY_SHARE / (high - low + 2 * _BEYOND))


def _log_likelihood(grid: Sequence[float], loads: Sequence[Seen], scatter: float) -> list[float]:
    """Of all loads, for each theta."""
    total = [0.0] * len(grid)
    for load in loads:
        value, sd = math.log(load.factor), math.hypot(load.sd, scatter)
        for at, theta in enumerate(grid):
            usual, slip = _densities((value - theta) / sd)
            total[at] += math.log((usual + slip) / sd)
    return total


def _densities(z: float) -> tuple[float, float]:
    """How likely a load is at `z` standard deviations, as an ordinary one and as an outlier; up to a constant.

    The floor keeps a load far beyond both from being impossible.
    """
    usual = (1 - OUTLIER_SHARE) * math.exp(-(z**2) / 2)
    slip = OUTLIER_SHARE / OUTLIER_WIDTH * math.exp(-(min(abs(z) / OUTLIER_WIDTH, 30.0) ** 2) / 2)
    return usual, slip


def _fit(mean: float, load: Seen, scatter: float) -> float:
    usual, slip = _densities((math.log(load.factor) - mean) / math.hypot(load.sd, scatter))
    return usual / (usual + slip)


def _around(best: float, low: float, high: float) -> Interval:
    """From logarithms to factors; the best value stays between."""
    return Interval(min(math.exp(low), best), best, max(math.exp(high), best))


def _of_theta(points: Sequence[_Point], share: float) -> float:
    """Below which value of theta that share lies, evenly spread over each step of the grid."""
    below = 0.0
    for point in sorted(points, key=lambda point: point.theta):
        if below + point.weight >= share:
            return point.theta + _STEP * ((share - below) / point.weight - 0.5)
        below += point.weight
    return points[-1].theta


def _of_load(points: Sequence[_Point], share: float) -> float:
    """Below which value that share of single loads lies, by halving."""
    beyond = 6 * max(point.scatter for point in points)
    low = min(point.theta for point in points) - beyond
    high = max(point.theta for point in points) + beyond
    while high - low > _SHARP:
        middle = (low + high) / 2
        below = sum(point.weight * _below(middle, point.theta, point.scatter) for point in points)
        low, high = (middle, high) if below < share else (low, middle)
    return (low + high) / 2


def _below(x: float, mean: float, sd: float) -> float:
    return math.erfc((mean - x) / (sd * math.sqrt(2.0))) / 2
