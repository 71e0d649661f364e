"""R5 and R8: the charge interval holds whatever can have flowed, and an operation ends by target, time and charge.

R5 step by step: an interval that held the truth before holds it after if its low bound rose by no more than the least
that can have flowed meanwhile and its high bound by no less than the most. What the meter has not shown yet is in the
interval beside what it has shown, and goes out of it again: each of the two is held for itself.
"""

from __future__ import annotations

from collections.abc import Iterator

from supervisor.core.anodize import Operation
from supervisor.core.dose import Dose
from supervisor.core.events import Started
from tests.exploration.seen import Around, Seen, by

Found = Iterator[str]

LONGEST_PERIODS = 2.5
ROUNDING_C = 1e-9


# -- R5


def the_charge_interval_contains_the_truth(seen: Seen, of: Around) -> Found:
    operation = of.now.operation
    if of.begins and operation is not None and operation.dose.unbounded:
        yield "restarted though nobody can say how much charge went through the load"
    if of.same is None or of.same[0].over:
        return
    was, now = of.same[0].dose, of.same[1].dose
    if now.unbounded < was.unbounded:
        yield "a charge without a bound got one"
    if not now.charge.low <= now.charge.best + ROUNDING_C <= now.charge.high + 2 * ROUNDING_C:
        yield "the best charge is outside its own bounds"
    if isinstance(seen.event, Started):
        yield from _across_a_start(seen, of, was, now)
    elif now.last_s == was.last_s:
        inside = was.charge.low <= now.charge.low and now.charge.high <= was.charge.high
        if now.charge != was.charge and not (inside and _narrows(seen, of, was, now)):
            yield "charge changed without a reading"
    elif not _narrows(seen, of, was, now):
        yield from _across_a_reading(seen, of, of.same[0], now)


def _narrows(seen: Seen, of: Around, was: Dose, now: Dose) -> bool:
    """Whether a gap was open that the set current or the supply's counter, read in this step, may have narrowed.

    Whether what it was narrowed to still holds the truth is seen where there is one: in the random histories.
    """
    told = (of.setup.set_current, of.setup.counter)
    period_s = seen.setup.channels[of.setup.current].period_s
    ends_one = (
        was.last_s is not None and now.last_s is not None and now.last_s - was.last_s > LONGEST_PERIODS * period_s
    )
    open_gap = ends_one or was.gap is not None or was.uncounted or now.gap is not None or now.uncounted
    return open_gap and any(seen.good(channel) is not None for channel in told if channel)


def _across_a_start(seen: Seen, of: Around, was: Dose, now: Dose) -> Found:
    event = seen.event
    assert isinstance(event, Started)
    if event.same_boot or event.journal_s is None:
        if now.charge != was.charge or now.last_s != was.last_s:
            yield "charge changed by a start alone"
        return
    time_out_s = of.setup.device_time_out_s
    if not of.was.armed or time_out_s is None:
        if not now.unbounded:
            yield "nothing bounds what flowed across the boot, and a bound is told"
        return
    away_s = 0.0 if was.last_s is None else max(0.0, event.journal_s - was.last_s)
    most_c = of.setup.rated_current_a * (away_s + time_out_s)
    if now.charge.high < was.charge.high + most_c - ROUNDING_C or now.charge.low > was.charge.low + ROUNDING_C:
        yield f"{most_c} C can have flowed across the boot, and the interval does not hold them"


def _across_a_reading(seen: Seen, of: Around, before: Operation, now: Dose) -> Found:
    was, reading_a = before.dose, seen.good(of.setup.current)
    if reading_a is None or now.last_s is None:
        yield "charge is counted up to a moment at which no good reading was taken"
        return
    if was.last_s is None:
        return
    elapsed_s, channel = now.last_s - was.last_s, seen.setup.channels[of.setup.current]
    error_a = abs(reading_a) * channel.accuracy.of_reading + channel.accuracy.absolute
    low_a, high_a = max(0.0, reading_a - error_a), max(0.0, reading_a + error_a)
    least_a, most_a = min(was.last.low, low_a), max(was.last.high, high_a, _unseen_a(of, before))
    if elapsed_s > LONGEST_PERIODS * channel.period_s:
        least_a, most_a = 0.0, max(most_a, of.setup.rated_current_a)
    if of.was.output.proven_off:
        least_a = 0.0
    gap = elapsed_s > LONGEST_PERIODS * channel.period_s
    rose_low_c, rose_high_c = now.charge.low - was.charge.low, now.charge.high - was.charge.high
    if not gap:
        rose_low_c -= now.ahead.low - was.ahead.low
        rose_high_c -= now.ahead.high - was.ahead.high
        behind_s = of.setup.meter.behind_s
        if now.ahead.high < behind_s.high * high_a - ROUNDING_C:
            yield "more can have flowed that the meter has not shown yet"
        if now.ahead.low > behind_s.low * low_a + ROUNDING_C and now.charge.low > 0:
            yield "less can have flowed that the meter has not shown yet"
    if rose_low_c > least_a * elapsed_s + ROUNDING_C and now.charge.low > 0:
        yield f"{least_a * elapsed_s} C can have been all that flowed, and the low bound rose by more"
    if rose_high_c < most_a * elapsed_s - ROUNDING_C:
        yield f"{most_a * elapsed_s} C can have flowed, and the high bound rose by less"


def _unseen_a(of: Around, before: Operation) -> float:
    """Set current that no reading shows, A: switched on after the newest one and off again before this one."""
    output, last_s = of.was.output, before.dose.last_s
    if before.energised or output.proven_off:
        return 0.0
    if last_s is not None and output.confirmed_s is not None and last_s >= output.confirmed_s:
        return 0.0
    return before.plan.current_a if before.plan.commanded_a is None else before.plan.commanded_a


# -- R8


def the_target_ends_it_once_and_time_and_charge_too(seen: Seen, of: Around) -> Found:
    operation = of.now.operation
    if operation is not None and of.energised:
        yield from _beyond_its_end(seen, of, operation)
    if of.same is not None:
        was, now = of.same
        if was.over and now != was:
            yield "an operation that is over changed"
        if now.at_target < was.at_target:
            yield "a target that was reached is forgotten"
        if now.commanded_c < was.commanded_c + _least_commanded_c(seen, of) - 1e-9:
            yield "commanded charge is not counted"


def _beyond_its_end(seen: Seen, of: Around, operation: Operation) -> Found:
    due_s = operation.began_s + operation.plan.longest_s
    if operation.dose.charge.best >= operation.plan.target_c:
        yield "current beyond the target"
    if operation.at_target:
        yield "current again after the target"
    if max(operation.commanded_c, operation.dose.charge.best) >= operation.plan.largest_c:
        yield "current beyond the largest charge"
    if seen.process_s >= due_s and of.settled:
        yield "current beyond the longest time"
    elif seen.process_s < due_s and not by(seen.wake.process_s, due_s):
        yield "nobody looks when the longest time is over"


def _least_commanded_c(seen: Seen, of: Around) -> float:
    """What the set points alone say flowed since they were counted last, C; across a boot nobody can say."""
    operation, event = of.was.operation, seen.event
    if operation is None or operation.over or of.was.output.proven_off or of.now.output.proven_off:
        return 0.0
    if isinstance(event, Started) or not of.settled or of.proves_off:
        return 0.0
    set_a = operation.plan.commanded_a
    if set_a is None:
        ramps = (moment.ramp for moment in (of.was.operation, of.now.operation) if moment is not None)
        set_a = min((ramp.current_a for ramp in ramps if ramp is not None), default=operation.plan.current_a)
    return set_a * max(0.0, seen.process_s - operation.counted_s)
