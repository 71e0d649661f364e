"""The charge of one operation as it comes in, reading by reading, with an honest interval (R5)."""

from __future__ import annotations

from dataclasses import dataclass, replace

from supervisor.core.setup import Accuracy
from supervisor.trade.charge import NOTHING, Interval, between_readings, over_gap, with_accuracy

GAP_PERIODS = 2.5
"""Readings further apart than this many periods leave a gap in which anything may have flowed."""


@dataclass(frozen=True, slots=True)
class Dose:
    """Charge so far.

    Attributes:
        charge: C. last_s: process time of the newest good reading, s; None before the first.
        last: that reading with its bounds, A.
        steps_s: process times since then at which the set point was changed, s.
        unbounded: whether a gap stands in it that nothing bounds from above; `charge.high` is then only a least value.
    """

    charge: Interval = NOTHING
    last_s: float | None = None
    last: Interval = NOTHING
    steps_s: tuple[float, ...] = ()
    unbounded: bool = False


@dataclass(frozen=True, slots=True)
class Metering:
    """How a current is metered.

    Attributes:
        accuracy: limit of error. period_s: between readings, s. most_a: the most the supply can give, A.
        unseen_a: what can have flowed since the newest reading although neither it nor the next one shows it, A: the
            set current, while an output commanded on was switched off again.
    """

    accuracy: Accuracy
    period_s: float
    most_a: float
    unseen_a: float = 0.0


def begin(dose: Dose, at_s: float) -> Dose:
    """Start counting at `at_s` with the output proven off; nothing flowed up to then."""
    return replace(dose, last_s=at_s, last=NOTHING, steps_s=())


def stepped(dose: Dose, at_s: float) -> Dose:
    """Note that the set point changed at process time `at_s`."""
    if dose.last_s is None or at_s < dose.last_s or (dose.steps_s and at_s < dose.steps_s[-1]):
        return dose
    return replace(dose, steps_s=(*dose.steps_s, at_s))


def read(dose: Dose, current_a: float, at_s: float, metering: Metering, *, off_proven: bool = False) -> Dose:
    """Count up to a good reading, A, sampled at process time `at_s`.

    With off proven, a reading is the meter's own zero: it widens the upper bound and moves the best value by nothing.
    A reading older than the newest one is ignored: it has nothing to add.
    """
    now = with_accuracy(current_a, metering.accuracy.of_reading, metering.accuracy.absolute)
    if off_proven:
        now = Interval(0.0, 0.0, now.high)
    if dose.last_s is None:
        return replace(dose, last_s=at_s, last=now, steps_s=())
    elapsed_s = at_s - dose.last_s
    if elapsed_s <= 0:
        return dose
    if elapsed_s > GAP_PERIODS * metering.period_s:
        flowed = over_gap(dose.last, now, elapsed_s, metering.most_a)
    else:
        steps = tuple(min(max(0.0, at - dose.last_s), elapsed_s) for at in dose.steps_s)
        flowed = between_readings(dose.last, now, elapsed_s, steps, metering.unseen_a)
    return replace(dose, charge=dose.charge.plus(flowed), last_s=at_s, last=now, steps_s=())


def up_to(dose: Dose, at_s: float, metering: Metering) -> Interval:
    """Charge up to process time `at_s`, C, where the newest reading may be long ago: it is known ever less from above.

    The dose itself counts the gap once a reading has ended it.
    """
    if dose.last_s is None or at_s - dose.last_s <= GAP_PERIODS * metering.period_s:
        return dose.charge
    return dose.charge.plus(Interval(0.0, 0.0, metering.most_a * (at_s - dose.last_s)))


def lost_track(dose: Dose, at_s: float, most_a: float, longest_s: float | None) -> Dose:
    """Count a gap across boots, where the clock before and after do not compare.

    Args:
        dose: as it stood at the newest reading before the gap.
        at_s: process time now, in the new boot, s.
        most_a: the most the supply can give, A.
        longest_s: how long current can have flowed at most, s; None where nothing bounds it.
    """
    fresh = replace(dose, last_s=at_s, last=NOTHING, steps_s=())
    if longest_s is None:
        return replace(fresh, unbounded=True)
    return replace(fresh, charge=dose.charge.plus(Interval(0.0, dose.last.best * longest_s / 2, most_a * longest_s)))


def crossing_s(dose: Dose, target_c: float, current_a: float) -> float | None:
    """Process time at which the best charge reaches `target_c` if `current_a` goes on; None if it never does.

    Args:
        dose: with at least one reading.
        target_c: charge wanted, C.
        current_a: what flows from the last change of the set point on, A.
    """
    if dose.last_s is None:
        return None
    missing_c = target_c - dose.charge.best
    if missing_c <= 0:
        return dose.last_s
    begins_s = dose.last_s
    if dose.steps_s:
        before_c = dose.last.best * (dose.steps_s[-1] - dose.last_s)
        missing_c -= before_c
        begins_s = dose.steps_s[-1]
    return begins_s + missing_c / current_a if current_a > 0 else None
