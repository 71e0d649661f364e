"""The charge of one operation as it comes in, reading by reading, with an honest interval (R5)."""

from __future__ import annotations

from dataclasses import dataclass, replace

from supervisor.core.setup import Accuracy
from supervisor.trade.charge import NOTHING, Bound, Interval, between_readings, over_gap, with_accuracy
from supervisor.trade.metering import STEADY, Meter

GAP_PERIODS = 2.5
"""Readings further apart than this many periods leave a gap in which anything may have flowed."""


@dataclass(frozen=True, slots=True)
class Gap:
    """The newest gap, while something may yet narrow it.

    Attributes:
        began_s, ended_s: process times of the readings around it, s.
        most_a: counted for it. shown_a: what these readings show at most: it is never narrowed below.
        set_a: the set current read back before it began; None where none was.
    """

    began_s: float
    ended_s: float
    most_a: float
    shown_a: float
    set_a: float | None


@dataclass(frozen=True, slots=True)
class Counted:
    """The supply's own counter, C, at process time `at_s`, and the charge at the same moment, C."""

    counted_c: float
    at_s: float
    charge: Interval


@dataclass(frozen=True, slots=True)
class Dose:
    """Charge so far.

    Attributes:
        charge: C. last_s: process time of the newest good reading, s; None before the first.
        last: that reading with its bounds, A.
        steps_s: process times at which the set point was changed since then, or before and the meter is still turning.
        unbounded: whether a gap stands in it that nothing bounds from above; `charge.high` is then only a least value.
        ahead: what `charge` holds that the readings have not shown yet, bound by bound, C: the next reading's own
            takes its place.
        doubt_s: how much earlier or later than `last_s` that reading may have been taken, s.
        level: between which currents, A, flowed what came in last (low and high).
        gap: the newest gap that may yet be narrowed. set_back: the set current read back last, A, and when, s.
        counted: the supply's own counter when it was read last. uncounted: whether a gap was counted since.
    """

    charge: Interval = NOTHING
    last_s: float | None = None
    last: Interval = NOTHING
    steps_s: tuple[float, ...] = ()
    unbounded: bool = False
    ahead: Interval = NOTHING
    doubt_s: float = 0.0
    level: Interval = NOTHING
    gap: Gap | None = None
    set_back: tuple[float, float] | None = None
    counted: Counted | None = None
    uncounted: bool = False


@dataclass(frozen=True, slots=True)
class Metering:
    """How a current is metered.

    Attributes:
        accuracy: limit of error. period_s: between readings, s. most_a: the most the supply can give, A.
        unseen_a: what can have flowed since the newest reading although neither it nor the next one shows it, A: the
            set current, while an output commanded on was switched off again.
        meter: what it makes of the current. doubt_s: as in Dose, of the reading that comes in.
    """

    accuracy: Accuracy
    period_s: float
    most_a: float
    unseen_a: float = 0.0
    meter: Meter = STEADY
    doubt_s: float = 0.0


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
    accuracy, meter = metering.accuracy, metering.meter
    now = with_accuracy(current_a, accuracy.of_reading, accuracy.absolute, meter.share)
    if off_proven:
        now = Interval(0.0, 0.0, now.high)
    behind = now.times(meter.behind_s)
    if dose.last_s is None:
        return replace(dose, last_s=at_s, last=now, steps_s=(), ahead=turned(behind), doubt_s=metering.doubt_s)
    elapsed_s = at_s - dose.last_s
    if elapsed_s <= 0:
        return dose
    if elapsed_s > GAP_PERIODS * metering.period_s:
        return _with_gap(dose, at_s, now, behind, metering)
    low_a, high_a = min(dose.last.low, now.low), max(dose.last.high, now.high, metering.unseen_a)
    flowed = between_readings(dose.last, now, elapsed_s, _turns(dose, elapsed_s, metering), metering.unseen_a)
    was, turn_c = dose.ahead, meter.turn_s * abs(now.best - dose.last.best)
    doubt_s = dose.doubt_s  # a reading taken earlier or later moves charge between two levels of current, if any
    low_c = dose.charge.low + flowed.low - turn_c - was.low + behind.low - doubt_s * abs(dose.level.low - low_a)
    best_c = dose.charge.best + flowed.best - was.best + behind.best
    high_c = dose.charge.high + flowed.high - was.high + behind.high + doubt_s * abs(dose.level.high - high_a)
    if low_c < 0.0:  # known better: none flows back, whatever the readings have not shown yet
        low_c, behind = 0.0, behind._replace(low=max(behind.low, behind.high))
    turning = dose.steps_s
    if turning:
        turning = tuple(step_s for step_s in turning if step_s + _turns_for_s(meter) > at_s)
    return Dose(  # written out: this is done for every reading, and replace() costs twice as much
        charge=Interval(low_c, min(max(best_c, low_c), high_c), high_c),
        last_s=at_s,
        last=now,
        steps_s=turning,
        unbounded=dose.unbounded,
        ahead=behind,
        doubt_s=metering.doubt_s,
        level=Interval(low_a, low_a, high_a),
        gap=dose.gap,
        set_back=dose.set_back,
        counted=dose.counted,
        uncounted=dose.uncounted,
    )


def _with_gap(dose: Dose, at_s: float, now: Interval, behind: Interval, metering: Metering) -> Dose:
    """Count a gap: what flowed in it is bounded by itself, whatever the readings around it do not show yet."""
    assert dose.last_s is not None
    flowed = over_gap(dose.last, now, at_s - dose.last_s, metering.most_a)
    shown_a = max(dose.last.high, now.high)
    level_a = max(metering.most_a, shown_a)
    low_c = max(0.0, dose.charge.low + flowed.low - dose.doubt_s * abs(dose.level.low))
    best_c = dose.charge.best + flowed.best - dose.ahead.best + behind.best
    high_c = dose.charge.high + flowed.high + dose.doubt_s * abs(dose.level.high - level_a)
    return replace(
        dose,
        charge=Interval(low_c, min(max(best_c, low_c), high_c), high_c),
        last_s=at_s,
        last=now,
        steps_s=(),
        ahead=turned(behind),
        doubt_s=metering.doubt_s,
        level=Interval(0.0, 0.0, level_a),
        gap=Gap(dose.last_s, at_s, level_a, shown_a, None if dose.set_back is None else dose.set_back[0]),
        uncounted=True,
    )


def turned(behind: Interval) -> Interval:
    """What to take off each bound where the charge itself is bounded: the opposite end, since both are in doubt."""
    return Interval(behind.high, behind.best, behind.low)


def _turns(dose: Dose, elapsed_s: float, metering: Metering) -> tuple[float, ...]:
    """Between which moments, s after the newest reading, the meter goes from what it showed to what it shows now.

    It begins to with the first change of the set point and is through a while after the last one.
    """
    if not dose.steps_s or dose.last_s is None:
        return ()
    ends_s = dose.steps_s[-1] + _turns_for_s(metering.meter)
    return tuple(min(max(0.0, at - dose.last_s), elapsed_s) for at in (dose.steps_s[0], ends_s))


def _turns_for_s(meter: Meter) -> float:
    """For how long a meter goes on turning after a step, s: twice what it is behind, exactly so for a window."""
    return 2 * meter.behind_s.best


def up_to(dose: Dose, at_s: float, metering: Metering) -> Interval:
    """Charge up to process time `at_s`, C, where the newest reading may be long ago: it is known ever less from above.

    The dose itself counts the gap once a reading has ended it.
    """
    if dose.last_s is None or at_s - dose.last_s <= GAP_PERIODS * metering.period_s:
        return dose.charge
    return dose.charge.plus(Interval(0.0, 0.0, metering.most_a * (at_s - dose.last_s)))


def lost_track(dose: Dose, at_s: float, most_a: float, longest_s: float | None, behind_s: float = 0.0) -> Dose:
    """Count a gap across boots, where the clock before and after do not compare.

    Args:
        dose: as it stood at the newest reading before the gap.
        at_s: process time now, in the new boot, s.
        most_a: the most the supply can give, A.
        longest_s: how long current can have flowed at most, s; None where nothing bounds it.
        behind_s: what the meter may have been behind at most, s: its next readings may still show it.
    """
    ahead = Interval(most_a * behind_s, 0.0, 0.0)
    fresh = replace(
        dose, last_s=at_s, last=NOTHING, steps_s=(), ahead=ahead, doubt_s=0.0, level=NOTHING, gap=None, set_back=None,
        counted=None,
    )  # fmt: skip
    if longest_s is None:
        return replace(fresh, unbounded=True)
    return replace(fresh, charge=dose.charge.plus(Interval(0.0, dose.last.best * longest_s / 2, most_a * longest_s)))


def reached(dose: Dose, target_c: float, bound: Bound) -> bool:
    """Whether this bound of the charge has reached the target, C."""
    return dose.charge.bound(bound) >= target_c


def crossing_s(dose: Dose, target_c: float, current_a: float, bound: Bound = "best") -> float | None:
    """Process time at which a bound of the charge reaches `target_c` if `current_a` goes on; None if it never does.

    Args:
        dose: with at least one reading.
        target_c: charge wanted, C.
        current_a: what flows from the last change of the set point on, A.
        bound: which one; a bound other than the best grows by what the newest reading says of it.
    """
    if dose.last_s is None:
        return None
    missing_c = target_c - dose.charge.bound(bound)
    if missing_c <= 0:
        return dose.last_s
    begins_s = dose.last_s
    if bound != "best":
        current_a = dose.last.bound(bound)
    elif dose.steps_s:
        begins_s = max(dose.last_s, dose.steps_s[-1])
        missing_c -= dose.last.best * (begins_s - dose.last_s)
    return begins_s + missing_c / current_a if current_a > 0 else None
