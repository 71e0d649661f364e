"""One alarm: the state table of IEC 62682 as data, the delays before it, and the frozen value that walks it.

Source: IEC 62682 / ISA-18.2 alarm states. What is hidden (shelved, suppressed by design, out of service) is not told;
what its cause does to an operation or a heater does not ask for the alarm's state, so hiding one disarms no interlock.
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
    SHELVED = "shelved"
    SUPPRESSED = "suppressed by design"
    OUT_OF_SERVICE = "out of service"


class AlarmTrigger(StrEnum):
    """What can move an alarm. The last three end a hiding; they differ in what became of the cause meanwhile."""

    APPEARS = "cause appears"
    GOES = "cause goes"
    GOES_LATCHED = "cause goes, latching"
    ACKNOWLEDGE = "acknowledge"
    RESET = "reset"
    AGAIN = "told again"
    SHELVE = "shelve"
    SUPPRESS = "suppress by design"
    TAKE_OUT = "take out of service"
    SHOW_NORMAL = "shown again, cause gone"
    SHOW_STANDING = "shown again, cause there"
    SHOW_LATCHED = "shown again, latched"


class Priority(StrEnum):
    """How soon a person must act: high at once, medium within minutes, low in this shift."""

    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"


_S, _T = AlarmState, AlarmTrigger

_HIDE = {_T.SHELVE: _S.SHELVED, _T.SUPPRESS: _S.SUPPRESSED, _T.TAKE_OUT: _S.OUT_OF_SERVICE}
_SHOW = {
    _T.SHOW_NORMAL: _S.NORMAL,
    _T.SHOW_STANDING: _S.UNACKNOWLEDGED,
    _T.SHOW_LATCHED: _S.LATCHED_UNACKNOWLEDGED,
}


def _row(state: AlarmState, moves: dict[AlarmTrigger, AlarmState]) -> dict[AlarmTrigger, AlarmState]:
    """Fill a row: a trigger that means nothing in a state leads back to it."""
    return {trigger: moves.get(trigger, state) for trigger in AlarmTrigger}


# Every state has a row and every row every trigger. Reset never leaves a state whose cause still stands: that would
# hide it. What is out of service stays so until a person says otherwise; what is shelved can only go further out.
TABLE: dict[AlarmState, dict[AlarmTrigger, AlarmState]] = {
    state: _row(state, moves)
    for state, moves in {
        _S.NORMAL: {_T.APPEARS: _S.UNACKNOWLEDGED, **_HIDE},
        _S.UNACKNOWLEDGED: {
            _T.GOES: _S.RETURNED_UNACKNOWLEDGED,
            _T.GOES_LATCHED: _S.LATCHED_UNACKNOWLEDGED,
            _T.ACKNOWLEDGE: _S.ACKNOWLEDGED,
            **_HIDE,
        },
        _S.ACKNOWLEDGED: {
            _T.GOES: _S.NORMAL,
            _T.GOES_LATCHED: _S.LATCHED_ACKNOWLEDGED,
            _T.AGAIN: _S.UNACKNOWLEDGED,
            **_HIDE,
        },
        _S.RETURNED_UNACKNOWLEDGED: {
            _T.APPEARS: _S.UNACKNOWLEDGED,
            _T.ACKNOWLEDGE: _S.NORMAL,
            _T.RESET: _S.NORMAL,
            **_HIDE,
        },
        _S.LATCHED_UNACKNOWLEDGED: {
            _T.APPEARS: _S.UNACKNOWLEDGED,
            _T.ACKNOWLEDGE: _S.LATCHED_ACKNOWLEDGED,
            _T.RESET: _S.NORMAL,
            **_HIDE,
        },
        _S.LATCHED_ACKNOWLEDGED: {_T.APPEARS: _S.UNACKNOWLEDGED, _T.RESET: _S.NORMAL, **_HIDE},
        _S.SHELVED: {_T.TAKE_OUT: _S.OUT_OF_SERVICE, **_SHOW},
        _S.SUPPRESSED: {_T.SHELVE: _S.SHELVED, _T.TAKE_OUT: _S.OUT_OF_SERVICE, **_SHOW},
        _S.OUT_OF_SERVICE: _SHOW,
    }.items()
}

STANDING = frozenset({_S.UNACKNOWLEDGED, _S.ACKNOWLEDGED})
"""States in which the cause is there now and told."""

LATCHED = frozenset({_S.LATCHED_UNACKNOWLEDGED, _S.LATCHED_ACKNOWLEDGED})
"""States in which the cause is gone and a person has yet to reset it."""

HIDDEN = frozenset({_S.SHELVED, _S.SUPPRESSED, _S.OUT_OF_SERVICE})
"""States in which an alarm is not told."""

UNANSWERED = frozenset({_S.UNACKNOWLEDGED, _S.RETURNED_UNACKNOWLEDGED, _S.LATCHED_UNACKNOWLEDGED})
"""States in which nobody has acknowledged it: the only ones that are heard."""

CHATTERS_WITHIN_S = 60.0
CHATTERS_TIMES = 3
"""An alarm that appears three times within a minute chatters (ISA-18.2's usual measure, from memory)."""


@dataclass(frozen=True, slots=True)
class Alarm:
    """One alarm of one subject.

    Attributes:
        cause: row of the cause x effect table. subject: the tank, supply, contact or device it is about.
        state: where it stands. since_wall_s: UTC s of the last appearance, for people. since_s: process time of it.
        count: how often it has appeared.
        active: whether its cause is there now, its delays over, shelved and out of service too; never while suppressed.
        latch: whether a trip waits for a reset, or will when its cause goes.
        turning_s: process time since when its cause says otherwise than `active`, its delay not over; None otherwise.
        acknowledged_s: process time at which it was acknowledged; None unless it is.
        shelved_until_s: process time at which its shelving ends; None unless shelved.
        why: why it is shelved or out of service, and by whom; "" otherwise.
        under: name of the alarm whose consequence it is; "" where it stands by itself.
        recent_s: process times of its newest appearances, oldest first.
    """

    cause: str
    subject: str
    state: AlarmState = AlarmState.NORMAL
    since_wall_s: float = 0.0
    count: int = 0
    active: bool = False
    latch: bool = False
    turning_s: float | None = None
    acknowledged_s: float | None = None
    shelved_until_s: float | None = None
    why: str = ""
    under: str = ""
    recent_s: tuple[float, ...] = ()
    since_s: float = 0.0

    @property
    def name(self) -> str:
        """What a person types: subject/cause."""
        return f"{self.subject}/{self.cause}"

    @property
    def standing(self) -> bool:
        """Whether the cause is there now and acts."""
        return self.active

    @property
    def latched(self) -> bool:
        """Whether only a person's reset is missing."""
        return self.latch and not self.active

    @property
    def present(self) -> bool:
        """Whether the cause says so at this moment, its delay over or not; only what is there is suppressed."""
        return self.active == (self.turning_s is None) or self.state is AlarmState.SUPPRESSED

    @property
    def told(self) -> bool:
        """Whether it is told for itself: neither hidden nor another's consequence, and not normal."""
        return self.state is not AlarmState.NORMAL and self.state not in HIDDEN and not self.under

    @property
    def chatters(self) -> bool:
        """Whether it appeared so often lately that its limit, deadband or delay is wrong."""
        if len(self.recent_s) < CHATTERS_TIMES:
            return False
        return self.recent_s[-1] - self.recent_s[-CHATTERS_TIMES] <= CHATTERS_WITHIN_S


def turn(alarm: Alarm, present: bool, now_s: float, on_delay_s: float, off_delay_s: float) -> tuple[Alarm, bool]:
    """Let the delays follow what the cause says at process time `now_s`; True where `active` is to change now.

    A cause must be there for the on-delay before it counts, and gone for the off-delay before it has gone.
    """
    if present == alarm.active:
        return (alarm if alarm.turning_s is None else replace(alarm, turning_s=None)), False
    since_s = now_s if alarm.turning_s is None else alarm.turning_s
    # The very sum that the line is woken at: a difference may miss it by a hair, and nobody is woken again.
    if now_s >= since_s + (on_delay_s if present else off_delay_s):
        return replace(alarm, turning_s=None), True
    return (alarm if alarm.turning_s is not None else replace(alarm, turning_s=now_s)), False


def appear(alarm: Alarm, now_s: float, wall_s: float, *, latches: bool) -> Alarm:
    """Let its cause be there, counted and dated; hidden it stays hidden."""
    return replace(
        alarm,
        state=TABLE[alarm.state][AlarmTrigger.APPEARS],
        active=True,
        latch=latches,
        since_wall_s=wall_s,
        since_s=now_s,
        count=alarm.count + 1,
        recent_s=(*alarm.recent_s, now_s)[-CHATTERS_TIMES:],
        acknowledged_s=None,
    )


def go(alarm: Alarm) -> Alarm:
    """Let its cause be gone; a latch stays."""
    trigger = AlarmTrigger.GOES_LATCHED if alarm.latch else AlarmTrigger.GOES
    return _settled(replace(alarm, state=TABLE[alarm.state][trigger], active=False))


def acknowledge(alarm: Alarm, now_s: float) -> Alarm:
    """Take a person's word that it was seen."""
    after = TABLE[alarm.state][AlarmTrigger.ACKNOWLEDGE]
    return alarm if after is alarm.state else _settled(replace(alarm, state=after, acknowledged_s=now_s))


def reset(alarm: Alarm) -> Alarm:
    """Clear a latch whose cause is gone, hidden or not; nothing while the cause is there."""
    if alarm.active:
        return alarm
    return _settled(replace(alarm, state=TABLE[alarm.state][AlarmTrigger.RESET], latch=False))


def again(alarm: Alarm) -> Alarm:
    """Tell an acknowledged one anew whose cause still stands."""
    return replace(alarm, state=TABLE[alarm.state][AlarmTrigger.AGAIN], acknowledged_s=None)


def hide(alarm: Alarm, trigger: AlarmTrigger, why: str = "", until_s: float | None = None) -> Alarm:
    """Shelve it until process time `until_s`, take it out of service, or suppress it by design."""
    after = TABLE[alarm.state][trigger]
    if after is alarm.state and after is not AlarmState.SHELVED:
        return alarm
    return replace(alarm, state=after, why=why, shelved_until_s=until_s, acknowledged_s=None)


def show(alarm: Alarm) -> Alarm:
    """End a hiding: it stands where its cause is by now."""
    trigger = AlarmTrigger.SHOW_LATCHED if alarm.latched else AlarmTrigger.SHOW_NORMAL
    trigger = AlarmTrigger.SHOW_STANDING if alarm.active else trigger
    return _settled(replace(alarm, state=TABLE[alarm.state][trigger], why="", shelved_until_s=None))


def _settled(alarm: Alarm) -> Alarm:
    """Drop what counts only in other states."""
    acknowledged = alarm.state is AlarmState.ACKNOWLEDGED
    under = "" if alarm.state is AlarmState.NORMAL else alarm.under
    return replace(alarm, acknowledged_s=alarm.acknowledged_s if acknowledged else None, under=under)
