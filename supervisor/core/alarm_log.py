"""What became of alarms lately, and how many there are: chattering, standing, and the rate a person must deal with.

Source: EEMUA 191: one alarm in ten minutes is manageable over the long term, ten in ten minutes are a flood; ISA-18.2
counts as standing (stale) what is there for more than a day (from memory).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from supervisor.core.alarms import Alarm

KEPT = 300
"""Happenings remembered, newest last; the journal keeps them all."""

RATE_WITHIN_S = 600.0
FLOOD = 10
STANDS_LONG_S = 86400.0


@dataclass(frozen=True, slots=True)
class Happening:
    """Something that became of an alarm.

    Attributes:
        at_s: process time, s. wall_s: UTC s, for people. alarm: its name. state: where it stands since.
        what: the trigger in words. under: the alarm whose consequence it is. why: a reason given, and by whom.
    """

    at_s: float
    wall_s: float
    alarm: str
    state: str
    what: str
    under: str = ""
    why: str = ""


def with_happening(log: tuple[Happening, ...], happening: Happening) -> tuple[Happening, ...]:
    """Add one; the oldest go."""
    return (*log, happening)[-KEPT:]


def told_lately(log: tuple[Happening, ...], now_s: float) -> int:
    """How many alarms were told for themselves within the ten minutes before process time `now_s`."""
    return sum(
        happening.what == "cause appears" and not happening.under and happening.state == "unacknowledged"
        for happening in log
        if 0 <= now_s - happening.at_s <= RATE_WITHIN_S
    )


def chattering(alarms: Iterable[Alarm], now_s: float) -> tuple[str, ...]:
    """Names of alarms that came and went too often to mean anything within the ten minutes before `now_s`."""
    return tuple(alarm.name for alarm in alarms if alarm.chatters and now_s - alarm.recent_s[-1] <= RATE_WITHIN_S)


def standing_long(alarms: Iterable[Alarm], now_s: float) -> tuple[str, ...]:
    """Names of alarms whose cause has been there for more than a day at process time `now_s`."""
    return tuple(alarm.name for alarm in alarms if alarm.active and now_s - alarm.since_s > STANDS_LONG_S)
