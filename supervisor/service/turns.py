"""What is read of one link and when: each channel in its own rhythm, those that fall together in one request."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from drivers.ports import Device
from supervisor.core.setup import ChannelSetup
from supervisor.service.clock import Clock

JOINS = 0.25
"""A point that is due within this share of its period is read along where its group is read anyhow."""

PROOF_READS = 2
"""Readings brought forward where something waits for them, so that a proof does not wait for the next period."""


@dataclass(slots=True)
class Rhythm:
    """One point's readings: wire time between them and of the next, s; how many are still to be brought forward."""

    period_s: float
    due_s: float = -math.inf
    ahead: int = 0


@dataclass(slots=True)
class Turn:
    """One group of a device's points.

    Attributes:
        device: its name. driver: reads it. channels: those that are read from the group.
        rhythms: by point.
        took_s: the last good reading, silence before it included, s. made_way: whether it waited for something planned.
    """

    device: str
    driver: Device
    channels: tuple[ChannelSetup, ...]
    rhythms: dict[str, Rhythm]
    took_s: float = 0.0
    made_way: bool = field(default=False)

    @property
    def due_s(self) -> float:
        """Wire time at which the next point is due, s."""
        return min(rhythm.due_s for rhythm in self.rhythms.values())

    def due(self, now_s: float) -> frozenset[str]:
        """The points to read in one request now: those that are due, and those that nearly are."""
        return frozenset(
            point for point, rhythm in self.rhythms.items() if rhythm.due_s <= now_s + JOINS * rhythm.period_s
        )

    def done(self, points: Collection[str], began_s: float, now_s: float) -> None:
        """Keep the rhythm of points that were read, or should have been; what was missed is not made up for."""
        for point in points:
            rhythm = self.rhythms[point]
            rhythm.ahead = max(0, rhythm.ahead - 1)
            beat_s = rhythm.due_s + rhythm.period_s
            rhythm.due_s = beat_s if beat_s > now_s else max(began_s + rhythm.period_s, now_s)
            if rhythm.ahead > 0:
                rhythm.due_s = now_s

    def hasten(self, channels: Collection[str], now_s: float) -> bool:
        """Bring the next readings forward where any of these channels is among them; say whether one is.

        All of the group, or they would fall out of step and cost two requests from then on.
        """
        wanted = any(channel.name in channels for channel in self.channels)
        for rhythm in self.rhythms.values() if wanted else ():
            rhythm.ahead, rhythm.due_s = PROOF_READS, now_s
        return wanted


def points_of(channel: ChannelSetup) -> tuple[str, ...]:
    """The points a channel needs: its own, and a thermocouple's cold junction."""
    return (channel.point,) if channel.thermocouple is None else (channel.point, channel.thermocouple.junction)


def turns(devices: Mapping[str, Device], channels: Sequence[ChannelSetup], clock: Clock) -> list[Turn]:
    """Make the turns of one link: every group that holds a point some channel wants."""
    made = []
    for name, driver in devices.items():
        mine = [channel for channel in channels if channel.device == name]
        for group in driver.groups:
            wanted = tuple(channel for channel in mine if channel.point in group)
            if wanted:
                made.append(Turn(name, driver, wanted, _rhythms(wanted, clock)))
    return made


def _rhythms(channels: Iterable[ChannelSetup], clock: Clock) -> dict[str, Rhythm]:
    """A point that several channels want is read as often as the most eager of them asks."""
    rhythms: dict[str, Rhythm] = {}
    for channel in channels:
        period_s = channel.period_s / clock.speed
        for point in points_of(channel):
            known = rhythms.get(point)
            rhythms[point] = Rhythm(period_s if known is None else min(period_s, known.period_s))
    return rhythms
