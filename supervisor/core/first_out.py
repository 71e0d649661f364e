"""First-out: where one cause brings others along, the first is the head and the others are folded under it.

Source: common practice of annunciators, no source. Which cause brings which stands in the table of causes, and what
holds a load brings the end of its longest time, and what ends or holds one brings that it sits in its acid, until a
person has seen that; what is in neither is a fault of its own and told. What is folded acts
and latches like anything else. Which of two came first is not surer than the pace of their readings: a cause that comes
at most `WITHIN_S` after what it brings along becomes its head.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from supervisor.core.alarms import HIDDEN, Alarm, AlarmState
from supervisor.core.effects import Effect
from supervisor.core.interlocks import CAUSES

if TYPE_CHECKING:
    from supervisor.core.work import Work

WITHIN_S = 5.0
"""Process time, s."""

HELD_TOO_LONG = "longest-time"
LEFT = frozenset({"left-in-acid", "left-long-in-acid"})


def head_of(work: Work, alarm: Alarm) -> str:
    """Name the alarm that brought this one along, or brought along what did; "" where there is none.

    Of several it is the earliest. What is hidden is no head, and what is gone and was seen is one no more except to the
    end of the load it holds: nobody would be told of what comes now. Nor does what was seen bring along a load left in
    acid: whoever saw it has gone away again.
    """
    seen = frozenset() if alarm.cause == HELD_TOO_LONG else frozenset({AlarmState.LATCHED_ACKNOWLEDGED})
    if alarm.cause in LEFT:
        seen |= {AlarmState.ACKNOWLEDGED}
    found = [
        other for other in _others(work, alarm) if other.state not in HIDDEN | seen and _brings(work, other, alarm)
    ]
    if not found:
        return ""
    earliest = min(found, key=lambda other: other.since_s)
    return earliest.under or earliest.name


def late_to(work: Work, alarm: Alarm) -> tuple[Alarm, ...]:
    """What came shortly before this alarm although it is its consequence; nothing where it is one itself."""
    if alarm.under:
        return ()
    return tuple(
        replace(other, under=alarm.name)
        for other in _others(work, alarm)
        if other.told and alarm.since_s - other.since_s <= WITHIN_S and _brings(work, alarm, other)
    )


def folded(work: Work, head: str) -> tuple[Alarm, ...]:
    """What is folded under an alarm."""
    return tuple(alarm for alarm in work.state.alarms.values() if alarm.under == head)


def _others(work: Work, alarm: Alarm) -> list[Alarm]:
    return [other for other in work.state.alarms.values() if (other.active or other.latch) and other.name != alarm.name]


def _brings(work: Work, head: Alarm, alarm: Alarm) -> bool:
    effect = work.setup.interlocks[head.cause].effect
    ends = (effect is Effect.HOLD and alarm.cause == HELD_TOO_LONG) or (effect > Effect.WARN and alarm.cause in LEFT)
    if alarm.cause not in CAUSES[head.cause].brings and not ends:
        return False
    return bool(work.groups(alarm.subject) & work.groups(head.subject))
