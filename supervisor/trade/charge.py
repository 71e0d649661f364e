"""Charge from current readings: a best value between two bounds that hold it.

Source: charge is the time integral of current (coulomb = ampere x second). Between two readings the trapezium rule
serves, split where the set point is known to have changed. The bounds take the meter's accuracy as a limit of error
and, between two readings, assume that the current lies between them; over a gap it lies anywhere between zero and
what the supply can give.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

Bound = Literal["low", "best", "high"]
"""Which value of an interval is meant."""


class Interval(NamedTuple):
    """A best value between two bounds, low <= best <= high, all in one unit.

    A tuple, because a reading makes half a dozen of them.
    """

    low: float
    best: float
    high: float

    def bound(self, which: Bound) -> float:
        """Return one of its three values."""
        return {"low": self.low, "best": self.best, "high": self.high}[which]

    def plus(self, other: Interval) -> Interval:
        """Add bound to bound: errors of limit-of-error kind do not cancel."""
        return Interval(self.low + other.low, self.best + other.best, self.high + other.high)

    def times(self, factor: Interval) -> Interval:
        """Multiply two intervals of values that are not negative."""
        return Interval(self.low * factor.low, self.best * factor.best, self.high * factor.high)


NOTHING = Interval(0.0, 0.0, 0.0)
EXACTLY = Interval(1.0, 1.0, 1.0)


def with_accuracy(current_a: float, of_reading: float, absolute_a: float, share: Interval = EXACTLY) -> Interval:
    """Turn a reading, A, into the interval that holds the true current; `share`: the true one over what is shown.

    Never below zero: a current the wrong way grows no coat, and a meter's zero error is no charge.
    """
    error_a = abs(current_a) * of_reading + absolute_a
    low_a, high_a = current_a - error_a, current_a + error_a
    return Interval(
        low_a * share.low if low_a > 0.0 else 0.0,
        current_a * share.best if current_a > 0.0 else 0.0,
        high_a * share.high if high_a > 0.0 else 0.0,
    )


def between_readings(
    before: Interval, after: Interval, elapsed_s: float, steps_s: tuple[float, ...] = (), unseen_a: float = 0.0
) -> Interval:
    """Charge, C, that flowed between two readings, A, `elapsed_s` apart.

    Args:
        before: the earlier reading with its bounds, A.
        after: the later one, A.
        elapsed_s: time between them, s, not negative.
        steps_s: when, after the earlier reading, the set point changed; rising, each within 0..elapsed_s. The best
            value holds the earlier current up to the first, the later one from the last, their mean in between.
        unseen_a: current, A, that can have flowed between the two although neither shows it.
    """
    mean_a = (before.best + after.best) / 2
    if steps_s:
        first_s, last_s = steps_s[0], steps_s[-1]
        best_c = before.best * first_s + mean_a * (last_s - first_s) + after.best * (elapsed_s - last_s)
    else:
        best_c = mean_a * elapsed_s
    highest_a = max(before.high, after.high, unseen_a)
    return Interval(min(before.low, after.low) * elapsed_s, best_c, highest_a * elapsed_s)


def over_gap(before: Interval, after: Interval, elapsed_s: float, most_a: float) -> Interval:
    """Charge, C, over a gap in the readings: from none at all to the most the supply can give, A, all the time."""
    most_c = max(most_a, before.high, after.high) * elapsed_s
    return Interval(0.0, min((before.best + after.best) / 2 * elapsed_s, most_c), most_c)
