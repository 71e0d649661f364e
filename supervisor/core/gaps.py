"""What narrows a gap in the readings afterwards: the set current read back, and the supply's own counter (R5).

A supply gives at most 5 % more than the current it is set to; more is over-current. So where the same set current was
read back before and after a gap, that bounds it. A counter bounds what flowed between its two readings by its own limit
of error, taken of what it counted meanwhile. One that began anew in between has counted less than flowed, so it always
bounds from below; from above only where it could not have caught up with what it showed before.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from supervisor.core.dose import Counted, Dose, turned
from supervisor.core.setup import Accuracy
from supervisor.trade.charge import Interval

OVER_SHARE = 1.05
"""A current or voltage surely above this share of the highest set point is too much (common practice, no source)."""


def set_read_back(dose: Dose, set_a: float, at_s: float, step_a: float) -> Dose:
    """Take a good read-back of the set current, A, at process time `at_s`; `step_a` is the device's least step."""
    gap, fresh = dose.gap, replace(dose, set_back=(set_a, at_s))
    if gap is None or at_s < gap.ended_s:
        return fresh
    fresh = replace(fresh, gap=None)
    if gap.set_a is None or abs(gap.set_a - set_a) > 1.5 * step_a:
        return fresh
    most_a = max(OVER_SHARE * max(gap.set_a, set_a), gap.shown_a)
    high_c = dose.charge.high - max(0.0, gap.most_a - most_a) * (gap.ended_s - gap.began_s)
    return replace(fresh, charge=Interval(dose.charge.low, min(dose.charge.best, high_c), high_c))


@dataclass(frozen=True, slots=True)
class Counter:
    """A supply's own counter.

    Attributes:
        accuracy: limit of error, C: of what it counts, and of each reading. most_a: the most the supply can give, A.
        doubt_s: how much earlier or later than its process time a reading may have been taken, s.
    """

    accuracy: Accuracy
    most_a: float
    doubt_s: float = 0.0


def counter_read(dose: Dose, counted_c: float, at_s: float, counter: Counter) -> Dose:
    """Take a good reading, C, of the supply's own counter at process time `at_s`; it narrows what a gap left open."""
    if dose.last_s is None or dose.unbounded:
        return dose
    doubt_s = counter.doubt_s + dose.doubt_s
    before_c = counter.most_a * max(0.0, dose.last_s - at_s + doubt_s)
    after_c = counter.most_a * max(0.0, at_s - dose.last_s + doubt_s)
    if dose.counted is not None and dose.uncounted:
        flowed = _between(dose.counted, counted_c, at_s, counter)
        since = dose.counted.charge.plus(flowed)
        narrowed = Interval(
            max(dose.charge.low, since.low - after_c), since.best, min(dose.charge.high, since.high + before_c)
        )
        # Meter and counter that contradict each other are another rule's; here the meter stands.
        if narrowed.low <= narrowed.high:
            dose = _narrowed(dose, narrowed)
    charge = Interval(max(0.0, dose.charge.low - before_c), dose.charge.best, dose.charge.high + after_c)
    return replace(dose, counted=Counted(counted_c, at_s, charge), uncounted=False)


def _between(before: Counted, now_c: float, at_s: float, counter: Counter) -> Interval:
    """Charge, C, between two readings of a counter; without an upper bound where it may have begun anew."""
    accuracy, elapsed_s = counter.accuracy, at_s - before.at_s + 2 * counter.doubt_s
    began_anew = now_c < before.counted_c
    counted_c = now_c if began_anew else now_c - before.counted_c
    error_c = accuracy.of_reading * counted_c + 2 * accuracy.absolute
    could_catch_up = before.counted_c <= (1 + accuracy.of_reading) * counter.most_a * elapsed_s + accuracy.absolute
    high_c = float("inf") if began_anew or could_catch_up else counted_c + error_c
    return Interval(max(0.0, counted_c - error_c), counted_c, high_c)


def _narrowed(dose: Dose, charge: Interval) -> Dose:
    """Put a narrower charge in: where a bound moved, what the readings have not shown yet is in doubt both ways.

    The whole gap is no more in it, so that the set current can take nothing off for it any longer.
    """
    ahead, other = dose.ahead, turned(dose.ahead)
    low = max(ahead.low, other.low) if charge.low > dose.charge.low else ahead.low
    high = min(ahead.high, other.high) if charge.high < dose.charge.high else ahead.high
    best_c = min(max(charge.best, charge.low), charge.high)
    narrower = Interval(charge.low, best_c, charge.high)
    return replace(dose, charge=narrower, ahead=Interval(low, ahead.best, high), gap=None)
