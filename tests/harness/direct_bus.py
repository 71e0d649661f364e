"""The direct harness's bus: what is read when, what waits to be written, and what is on its way."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from drivers.registers import Register
from drivers.registers_read import decode
from supervisor.core.events import Quality, Reading
from supervisor.core.setup import ChannelSetup
from supervisor.service.dispatch import Outbox

NEVER_S = float("inf")


@dataclass(slots=True)
class Turn:
    """One group of a device's registers and when it is read next; all times wire time."""

    device: str
    channels: tuple[tuple[ChannelSetup, Register], ...]
    period_s: float
    due_s: float = -NEVER_S
    ahead: int = 0
    took_s: float = 0.0
    made_way: bool = False
    waits_until_s: float = -NEVER_S


@dataclass(slots=True)
class Flight:
    """A transaction: when its next stage comes (its frame leaves, its answer is complete) and what follows then."""

    ends_s: float
    arrives: Callable[[], None]


class Bus:
    """One link: its devices, what waits to be written, what is due to be read, and what is on the wire."""

    def __init__(self, turns: list[Turn], gap_s: float, time_out_s: float, quiet_s: float) -> None:
        self.turns = turns
        self.gap_s = gap_s
        self.time_out_s = time_out_s
        self.quiet_s = quiet_s
        self.outbox = Outbox()
        self.flight: Flight | None = None
        self.free_s = -NEVER_S

    def turn(self) -> Turn:
        """What is read next."""
        return min(self.turns, key=lambda turn: turn.due_s)


def reading(channel: ChannelSetup, point: Register, raw: int | None) -> Reading:
    """Turn a register into a reading, as polling does; None where the device did not answer."""
    if raw is None:
        return Reading(channel.name, Quality.NO_ANSWER, None)
    value = decode(point, (raw,))
    if value is None:
        return Reading(channel.name, Quality.ABSENT, None, (raw,))
    if not channel.low <= value <= channel.high:
        return Reading(channel.name, Quality.OUT_OF_RANGE, None, (raw,))
    return Reading(channel.name, Quality.GOOD, value, (raw,))
