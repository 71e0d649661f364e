"""One alarm: the state table of IEC 62682 as data, and the frozen value that walks it.

Source: IEC 62682 / ISA-18.2 alarm states. Shelved, suppressed by design and out of service come with the commands
that enter them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum


class AlarmState(StrEnum):
    """Where an alarm stands."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED_UNACKNOWLEDGED = "returned to normal, unacknowledged"
    LATCHED_UNACKNOWLEDGED = "latched, unacknowledged"
    LATCHED_ACKNOWLEDGED = "latched, acknowledged"


class AlarmTrigger(StrEnum):
    """What can move an alarm."""

    APPEARS = "cause appears"
    GOES = "cause goes"
    GOES_LATCHED = "cause goes, latching"
    ACKNOWLEDGE = "acknowledge"
    RESET = "reset"


class Priority(StrEnum):
    """How soon a person must act: high at once, medium within minutes, low in this shift."""

    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"


_S, _T = AlarmState, AlarmTrigger

# Every state has a row and every row every trigger; a trigger that means nothing in a state leads back to it.
# Reset never leaves a state whose cause still stands: that would hide it.
TABLE: dict[AlarmState, dict[AlarmTrigger, AlarmState]] = {
    _S.NORMAL: {
        _T.APPEARS: _S.UNACKNOWLEDGED,
        _T.GOES: _S.NORMAL,
        _T.GOES_LATCHED: _S.NORMAL,
        _T.ACKNOWLEDGE: _S.NORMAL,
        _T.RESET: _S.NORMAL,
    },
    _S.UNACKNOWLEDGED: {
        _T.APPEARS: _S.UNACKNOWLEDGED,
        _T.GOES: _S.RETURNED_UNACKNOWLEDGED,
        _T.GOES_LATCHED: _S.LATCHED_UNACKNOWLEDGED,
        _T.ACKNOWLEDGE: _S.ACKNOWLEDGED,
        _T.RESET: _S.UNACKNOWLEDGED,
    },
    _S.ACKNOWLEDGED: {
        _T.APPEARS: _S.ACKNOWLEDGED,
        _T.GOES: _S.NORMAL,
        _T.GOES_LATCHED: _S.LATCHED_ACKNOWLEDGED,
        _T.ACKNOWLEDGE: _S.ACKNOWLEDGED,
        _T.RESET: _S.ACKNOWLEDGED,
    },
    _S.RETURNED_UNACKNOWLEDGED: {
        _T.APPEARS: _S.UNACKNOWLEDGED,
        _T.GOES: _S.RETURNED_UNACKNOWLEDGED,
        _T.GOES_LATCHED: _S.RETURNED_UNACKNOWLEDGED,
        _T.ACKNOWLEDGE: _S.NORMAL,
        _T.RESET: _S.NORMAL,
    },
    _S.LATCHED_UNACKNOWLEDGED: {
        _T.APPEARS: _S.UNACKNOWLEDGED,
        _T.GOES: _S.LATCHED_UNACKNOWLEDGED,
        _T.GOES_LATCHED: _S.LATCHED_UNACKNOWLEDGED,
        _T.ACKNOWLEDGE: _S.LATCHED_ACKNOWLEDGED,
        _T.RESET: _S.NORMAL,
    },
    _S.LATCHED_ACKNOWLEDGED: {
        _T.APPEARS: _S.UNACKNOWLEDGED,
        _T.GOES: _S.LATCHED_ACKNOWLEDGED,
        _T.GOES_LATCHED: _S.LATCHED_ACKNOWLEDGED,
        _T.ACKNOWLEDGE: _S.LATCHED_ACKNOWLEDGED,
        _T.RESET: _S.NORMAL,
    },
}

STANDING = frozenset({_S.UNACKNOWLEDGED, _S.ACKNOWLEDGED})
"""States in which the cause is there now."""

LATCHED = frozenset({_S.LATCHED_UNACKNOWLEDGED, _S.LATCHED_ACKNOWLEDGED})
"""States in which the cause is gone and a person has yet to reset it."""


@dataclass(frozen=True, slots=True)
class Alarm:
    """One alarm of one subject.

    Attributes:
        cause: row of the cause x effect table. subject: the tank or supply it is about.
        state: where it stands. since_wall_s: UTC s of the last appearance, for people.
        count: how often it has appeared.
    """

    cause: str
    subject: str
    state: AlarmState = AlarmState.NORMAL
    since_wall_s: float = 0.0
    count: int = 0

    @property
    def name(self) -> str:
        """What a person types: subject/cause."""
        return f"{self.subject}/{self.cause}"

    @property
    def standing(self) -> bool:
        """Whether the cause is there now."""
        return self.state in STANDING

    @property
    def latched(self) -> bool:
        """Whether only a person's reset is missing."""
        return self.state in LATCHED


def step(alarm: Alarm, trigger: AlarmTrigger, wall_s: float) -> Alarm:
    """Walk the table once; the appearance of a cause is counted and dated."""
    after = TABLE[alarm.state][trigger]
    if after is alarm.state:
        return alarm
    if trigger is AlarmTrigger.APPEARS:
        return replace(alarm, state=after, since_wall_s=wall_s, count=alarm.count + 1)
    return replace(alarm, state=after)
