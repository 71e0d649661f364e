"""Which rows of the transition tables were walked: a state and a trigger that means something there."""

from __future__ import annotations

from collections.abc import Iterator
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

ALARM_ROWS = frozenset((state, trigger) for state, row in alarms.TABLE.items() for trigger in row)
"""Every row of an alarm's table: one that leads nowhere must do so as well."""


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


def explore_alarms() -> set[tuple[AlarmState, AlarmTrigger]]:
    """Walk one alarm through its whole table; return the rows that were walked. Raises AssertionError where it slips.

    What stands is never hidden by a reset, and what is latched ends by nothing but one.
    """
    first = Alarm("bath-high-high", "acid")
    found, waiting, walked = {first.state}, [first], set()
    while waiting:
        alarm = waiting.pop()
        for trigger in AlarmTrigger:
            after = alarms.step(alarm, trigger, 1.0)
            walked.add((alarm.state, trigger))
            _keeps_its_rules(alarm, trigger, after)
            if after.state not in found:
                found.add(after.state)
                waiting.append(after)
    return walked


def _keeps_its_rules(before: Alarm, trigger: AlarmTrigger, after: Alarm) -> None:
    told = f"{before.state} by {trigger} to {after.state}"
    if before.standing and not after.standing:
        assert trigger in {AlarmTrigger.GOES, AlarmTrigger.GOES_LATCHED}, told
    if before.latched and not after.latched and not after.standing:
        assert trigger is AlarmTrigger.RESET, told
    if trigger is AlarmTrigger.APPEARS:
        assert after.standing, told
    assert (after is before) == (after.state is before.state), told
