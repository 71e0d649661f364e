"""Which rows of the transition tables were walked: a state and a trigger that means something there."""

from __future__ import annotations

from collections.abc import Hashable, Iterator
from contextlib import contextmanager
from unittest.mock import patch

from supervisor.core import alarms, anodize, energise
from supervisor.core.alarms import Alarm, AlarmState, AlarmTrigger
from supervisor.core.anodize import Operation, State, Trigger

Move = tuple[State, Trigger]

MOVES: frozenset[Move] = frozenset(
    (state, trigger) for state, row in anodize.TABLE.items() for trigger, after in row.items() if after is not None
)
"""Every row of an operation's table that leads anywhere."""

ALARM_MOVES = frozenset(
    (state, trigger) for state, row in alarms.TABLE.items() for trigger, after in row.items() if after is not state
)
"""The same of an alarm's table."""


@contextmanager
def moves_walked() -> Iterator[set[Move]]:
    """Note every move that operations make meanwhile."""
    walked: set[Move] = set()
    move = anodize.move

    def noted(operation: Operation, trigger: Trigger, why: str = "") -> Operation | None:
        after = move(operation, trigger, why)
        if after is not None:
            walked.add((operation.state, trigger))
        return after

    with patch.object(anodize, "move", noted), patch.object(energise, "move", noted):
        yield walked


class _Noted(dict[AlarmTrigger, AlarmState]):
    """A row of the alarm table that notes what is looked up in it."""

    def __init__(self, state: AlarmState, walked: set[tuple[AlarmState, AlarmTrigger]]) -> None:
        super().__init__(alarms.TABLE[state])
        self._state, self._walked = state, walked

    def __getitem__(self, trigger: AlarmTrigger) -> AlarmState:
        self._walked.add((self._state, trigger))
        return super().__getitem__(trigger)


def explore_alarms() -> set[tuple[AlarmState, AlarmTrigger]]:
    """Let everything happen to one alarm until nothing new comes; return the rows of its table that were looked up.

    Raises AssertionError where the alarm slips.
    """
    walked: set[tuple[AlarmState, AlarmTrigger]] = set()
    noted = {state: _Noted(state, walked) for state in AlarmState}
    first = Alarm("bath-high-high", "acid")
    found, waiting = {_kind(first)}, [first]
    with patch.object(alarms, "TABLE", noted):
        while waiting:
            alarm = waiting.pop()
            for what, after in _all_that_can_happen(alarm):
                _keeps_its_rules(alarm, what, after)
                if _kind(after) not in found:
                    found.add(_kind(after))
                    waiting.append(after)
    return walked


def _kind(alarm: Alarm) -> tuple[Hashable, ...]:
    dated = alarm.acknowledged_s is not None, alarm.shelved_until_s is not None
    return alarm.state, alarm.active, alarm.latch, *dated


def _all_that_can_happen(alarm: Alarm) -> Iterator[tuple[str, Alarm]]:
    """As `telling.py` uses the table; there a cause that is suppressed by design has gone before."""
    if alarm.active:
        yield "goes", alarms.go(alarm)
    else:
        yield "appears", alarms.appear(alarm, 1.0, 2.0, latches=False)
        yield "appears", alarms.appear(alarm, 1.0, 2.0, latches=True)
    yield "acknowledged", alarms.acknowledge(alarm, 1.0)
    yield "reset", alarms.reset(alarm)
    for trigger, until_s in ((AlarmTrigger.SHELVE, 9.0), (AlarmTrigger.SUPPRESS, None), (AlarmTrigger.TAKE_OUT, None)):
        yield "hidden", alarms.hide(alarm, trigger, "mended tomorrow", until_s)
    if alarm.acknowledged_s is not None:
        yield "told again", alarms.again(alarm)
    if alarm.state in alarms.HIDDEN:
        yield "shown", alarms.show(alarm)


STANDS = {
    AlarmState.NORMAL: (False, False),
    AlarmState.RETURNED_UNACKNOWLEDGED: (False, False),
    AlarmState.LATCHED_UNACKNOWLEDGED: (False, True),
    AlarmState.LATCHED_ACKNOWLEDGED: (False, True),
}
"""Whether its cause is there and whether it is latched, where its state alone says both."""


def _keeps_its_rules(before: Alarm, what: str, after: Alarm) -> None:
    told = f"{before.state}, {what}: {after.state}"
    assert before.active is after.active or what in {"goes", "appears"}, told
    assert not (before.latch and not after.latch) or (what == "reset" and not before.active) or what == "appears", told
    assert STANDS.get(after.state, (after.active, after.latch)) == (after.active, after.latch), told
    assert after.active or after.state not in alarms.STANDING, told
    assert (after.acknowledged_s is None) is (after.state is not AlarmState.ACKNOWLEDGED), told
    assert after.shelved_until_s is None or after.state is AlarmState.SHELVED, told
