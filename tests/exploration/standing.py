"""What stands over an operation: the one place in which the rules and the explorer look at alarms and causes."""

from __future__ import annotations

from collections.abc import Iterator

from supervisor.core.alarms import Alarm
from supervisor.core.effects import Effect
from supervisor.core.interlocks import CAUSES
from supervisor.core.setup import LineSetup
from supervisor.core.state import LineState


def hangs_on(setup: LineSetup, supply: str) -> set[str]:
    """What an operation of a supply stands and falls with, written a second time so that a slip in the core shows."""
    of = setup.supplies[supply]
    found = {supply, of.tank, of.contactor or of.tank}
    found |= {beat.device for beat in setup.heartbeats.values() if supply in beat.supplies}
    found |= {watch.device for watch in setup.watches.values() if supply in watch.supplies}
    return found | {contact.name for contact in setup.contacts.values() if contact.tank in {of.tank, ""}}


def over(setup: LineSetup, state: LineState, supply: str) -> Iterator[Alarm]:
    """Every alarm over the operation of a supply, whatever became of it."""
    subjects = hangs_on(setup, supply)
    return (alarm for alarm in state.alarms.values() if alarm.subject in subjects)


def trips(setup: LineSetup, alarm: Alarm) -> bool:
    """Whether its cause ends an operation, if only for a while."""
    return setup.interlocks[alarm.cause].effect > Effect.WARN


def opens(setup: LineSetup, alarm: Alarm) -> bool:
    """Whether its cause opens the contactor."""
    return "contactor open" in setup.interlocks[alarm.cause].also


def latches(setup: LineSetup, alarm: Alarm) -> bool:
    """Whether it waits for a person once its cause is gone: all that switch something off do (R2)."""
    return trips(setup, alarm) or bool(setup.interlocks[alarm.cause].also) or CAUSES[alarm.cause].latch


def blocks(setup: LineSetup, alarm: Alarm) -> bool:
    """Whether nothing may be switched on under it: its cause is there, its delay over or not, or it awaits a reset."""
    return latches(setup, alarm) and (alarm.present or alarm.active or alarm.latch)


def looked_at(setup: LineSetup, supply: str) -> Iterator[tuple[str, float]]:
    """Channels without which no operation of a supply may go on, and how old each may be, s."""
    of = setup.supplies[supply]
    temperature = setup.tanks[of.tank].temperature
    yield of.current, of.silent_after_s
    yield temperature, setup.channels[temperature].age_limit_s
    yield from ((beat.channel, beat.silent_after_s) for beat in setup.heartbeats.values() if supply in beat.supplies)
