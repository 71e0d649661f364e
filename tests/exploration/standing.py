"""What stands over an operation: the one place in which the rules and the explorer look at alarms and causes."""

from __future__ import annotations

from collections.abc import Iterator

from supervisor.core.alarms import Alarm, AlarmState
from supervisor.core.interlocks import CAUSES, Effect
from supervisor.core.setup import LineSetup
from supervisor.core.state import LineState

ACKNOWLEDGED = frozenset({AlarmState.ACKNOWLEDGED, AlarmState.LATCHED_ACKNOWLEDGED})


def hangs_on(setup: LineSetup, supply: str) -> set[str]:
    """What an operation of a supply stands and falls with, written a second time so that a slip in the core shows."""
    of = setup.supplies[supply]
    found = {supply, of.tank, *(beat.device for beat in setup.heartbeats.values() if supply in beat.supplies)}
    return found if of.contactor is None else found | {of.contactor}


def over(setup: LineSetup, state: LineState, supply: str) -> Iterator[Alarm]:
    """Every alarm over the operation of a supply, whatever became of it."""
    subjects = hangs_on(setup, supply)
    return (alarm for alarm in state.alarms.values() if alarm.subject in subjects)


def looked_at(setup: LineSetup, supply: str) -> Iterator[tuple[str, float]]:
    """Channels without which no operation of a supply may go on, and how old each may be, s."""
    of = setup.supplies[supply]
    temperature = setup.tanks[of.tank].temperature
    yield of.current, of.silent_after_s
    yield temperature, setup.channels[temperature].age_limit_s
    yield from ((beat.channel, beat.silent_after_s) for beat in setup.heartbeats.values() if supply in beat.supplies)


def trips(alarm: Alarm) -> bool:
    """Whether its cause does more than warn."""
    return CAUSES[alarm.cause].effect > Effect.WARN


def blocks(alarm: Alarm) -> bool:
    """Whether nothing may be switched on under it: a trip or a latching warning that stands or waits for a reset."""
    return CAUSES[alarm.cause].latches and (alarm.standing or alarm.latched)


def acknowledged(alarm: Alarm) -> bool:
    """Whether a person has seen it."""
    return alarm.state in ACKNOWLEDGED
