"""Calibration of an instrument: what it showed beside what was true, at two or more points, and what follows of it.

Sources: the ice point of water is 0.00 degC (0.01 K below its triple point, which ITS-90 has at 0.01 degC); where water
boils is trade/boiling.py's. Straight lines between points are common practice, no source. Beyond the outermost points
the correction stays what it is there: carried on along its line it would grow without bound, out to where nobody held
the instrument against anything.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

ICE_C = 0.0
"""Crushed ice of clean water in water under ordinary pressure, degC."""

LEAST_POINTS = 2


@dataclass(frozen=True, slots=True)
class Point:
    """What an instrument showed and what was true, in one `unit` (degC, A or V).

    spread: by how much what it showed changed while the point was taken, 0 or more.
    """

    shown: float
    true: float
    spread: float = 0.0
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Limits:
    """What a calibration must keep, in the instrument's unit; each above zero.

    Attributes:
        largest: correction, either way. apart: the least distance of two points, of what was true.
        steady: the greatest spread of a point.
    """

    largest: float
    apart: float
    steady: float


def corrected(points: Sequence[Point], shown: float) -> float:
    """Return what is true where the instrument shows `shown`; `points` are `in_order` and none speaks against them."""
    at = bisect_right(points, shown, key=_shown)
    if at == 0:
        return shown + correction(points[0])
    before = points[at - 1]
    if at == len(points):
        return shown + correction(before)
    after = points[at]
    share = (shown - before.shown) / (after.shown - before.shown)
    return shown + correction(before) + share * (correction(after) - correction(before))


def correction(point: Point) -> float:
    """Return what must be added to what was shown."""
    return point.true - point.shown


def in_order(points: Sequence[Point]) -> tuple[Point, ...]:
    """Return points as `corrected` takes them."""
    return tuple(sorted(points, key=_shown))


def too_near(points: Sequence[Point], apart: float) -> list[tuple[Point, Point]]:
    """Return the pairs of neighbours that say one thing twice: true values less than `apart` from each other."""
    by_truth = sorted(points, key=lambda point: point.true)
    return [(one, other) for one, other in pairwise(by_truth) if other.true - one.true < apart]


def not_rising(points: Sequence[Point]) -> list[tuple[Point, Point]]:
    """Return the pairs of neighbours between which the instrument showed no more where there was more."""
    by_truth = sorted(points, key=lambda point: point.true)
    return [(one, other) for one, other in pairwise(by_truth) if other.true > one.true and other.shown <= one.shown]


def _shown(point: Point) -> float:
    return point.shown
