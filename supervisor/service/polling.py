"""One link at work: commands as they come, readings as they fall due, each transaction one event."""

from __future__ import annotations

import asyncio
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from drivers.ports import BadAnswer, Device, LinkDown, NoAnswer, Refused, Scan, Sent, SupplyDevice, WireError
from supervisor.core.events import Event, Quality, Reading, Scanned, Written
from supervisor.core.setup import ChannelSetup
from supervisor.service.clock import Clock
from supervisor.service.dispatch import Frame, Outbox

PROOF_READS = 2
"""Readings brought forward after a confirmed off, so that its proof does not wait for the next period."""

LATE_S = 0.05
"""An answer this much beyond the response time-out says that this process stood still: its time is not known."""

BLINK_S = 0.001
"""A planned moment may come this much late: timers are rounded up to whole milliseconds."""

ON_WITHIN_S = 5.0
"""An on that has waited longer for its turn is dropped: the process stood still, and the request is long over (R4)."""

_QUALITIES: dict[type[WireError], Quality] = {
    LinkDown: Quality.LINK_DOWN, NoAnswer: Quality.NO_ANSWER, BadAnswer: Quality.MALFORMED, Refused: Quality.REFUSED,
}  # fmt: skip


@dataclass
class Turn:
    """One group of a device's points and when it is read next.

    Attributes:
        device: its name. driver: reads it. points: to read. channels: of those points.
        period_s: wire time between readings, s. due_s: wire time of the next one.
        ahead: readings still to be brought forward.
        took_s: the last good one, silence before it included, s. made_way: whether it waited for something planned.
    """

    device: str
    driver: Device
    points: frozenset[str]
    channels: tuple[ChannelSetup, ...]
    period_s: float
    due_s: float = -math.inf
    ahead: int = 0
    took_s: float = 0.0
    made_way: bool = False


def turns(devices: Mapping[str, Device], channels: Sequence[ChannelSetup], clock: Clock) -> list[Turn]:
    """Make the turns of one link: every group that holds a point some channel wants."""
    made = []
    for name, driver in devices.items():
        mine = [channel for channel in channels if channel.device == name]
        for group in driver.groups:
            wanted = tuple(channel for channel in mine if channel.point in group)
            if wanted:
                points = frozenset(channel.point for channel in wanted)
                period_s = min(channel.period_s for channel in wanted) / clock.speed
                made.append(Turn(name, driver, points, wanted, period_s))
    return made


class LinkRunner:
    """One bus: a single task, so that transactions on it never overlap and off waits for one at most."""

    def __init__(
        self,
        outbox: Outbox,
        on_link: list[Turn],
        supplies: Mapping[str, tuple[SupplyDevice, str]],
        time_out_s: float,
        clock: Clock,
    ) -> None:
        """`supplies` maps a supply to its driver and its current channel; `time_out_s` is the response time-out."""
        self.outbox = outbox
        self._turns = on_link
        self._supplies = supplies
        self._time_out_s = time_out_s
        self._clock = clock

    async def run(self, post: Callable[[Event], None], planned_s: Callable[[], float | None]) -> None:
        """Work until cancelled; `planned_s` tells the wire time left until the core next wants to decide something."""
        while True:
            frame = self.outbox.take()
            if frame is not None:
                for event in await self._write(frame):
                    post(event)
                continue
            turn = min(self._turns, key=lambda turn: turn.due_s, default=None)
            if turn is None:  # nothing on this link is read
                await self.outbox.arrived.wait()
                continue
            wait_s = turn.due_s - self._clock.now()
            if wait_s <= 0:
                wait_s = self._makes_way_s(turn, planned_s())
            if wait_s > 0:
                await self._idle(wait_s)
            else:
                post(await self._read(turn))

    def _makes_way_s(self, turn: Turn, planned_s: float | None) -> float:
        """Return how long a reading that is due waits, s, for what the core has planned: a stop would fall into it.

        Once only: on a slow bus the core plans more often than a reading takes, and readings must come.
        """
        if turn.made_way or planned_s is None or planned_s >= turn.took_s:
            return 0.0
        turn.made_way = True
        return max(planned_s, 0.0) + BLINK_S

    async def _idle(self, wait_s: float) -> None:
        try:
            async with asyncio.timeout(wait_s):
                await self.outbox.arrived.wait()
        except TimeoutError:
            return

    # -- reading

    async def _read(self, turn: Turn) -> Scanned:
        began_s = self._clock.now()
        turn.made_way = False
        if turn.ahead > 0:
            turn.ahead -= 1
        try:
            scan = await turn.driver.read(turn.points)
        except WireError as error:
            self._schedule(turn, began_s)
            quality = _QUALITIES[type(error)]
            return self._scanned(turn, began_s, self._clock.now(), None, quality)
        self._schedule(turn, began_s)
        turn.took_s = scan.t_received_s - began_s
        late = scan.t_received_s - scan.t_sent_s > self._time_out_s + LATE_S
        return self._scanned(turn, scan.t_sent_s, scan.t_received_s, scan, Quality.LATE if late else Quality.GOOD)

    def _schedule(self, turn: Turn, began_s: float) -> None:
        """Keep the rhythm; readings that were missed are not made up for."""
        beat_s = turn.due_s + turn.period_s
        turn.due_s = beat_s if beat_s > self._clock.now() else max(began_s + turn.period_s, self._clock.now())
        if turn.ahead > 0:
            turn.due_s = self._clock.now()

    def _scanned(self, turn: Turn, sent_s: float, received_s: float, scan: Scan | None, quality: Quality) -> Scanned:
        readings = tuple(_reading(channel, scan, quality) for channel in turn.channels)
        clock = self._clock
        return Scanned(clock.instant(), turn.device, clock.process_s(sent_s), clock.process_s(received_s), readings)

    # -- writing

    async def _write(self, frame: Frame) -> list[Written]:
        """Send one frame; return the fate of its command if it ended with it, and of those that fell with it."""
        began_s = self._clock.now()
        try:
            sent = await self._call(frame)
        except (WireError, ValueError) as error:
            fallen = {frame.number: frame, **{other.number: other for other in self._falls_with(frame)}}
            return [self._written(other, began_s, None, str(error)) for other in fallen.values()]
        self.outbox.done(frame)
        if frame.command == "off":
            self._bring_forward(frame.supply)
        return [self._written(frame, sent.t_sent_s, sent.t_received_s, "")] if frame.last else []

    def _falls_with(self, frame: Frame) -> list[Frame]:
        """After a failure nothing that raises energy may follow: it was meant for another state of the supply."""
        return [] if frame.command == "off" else self.outbox.drop(frame.supply)

    async def _call(self, frame: Frame) -> Sent:
        driver, _ = self._supplies[frame.supply]
        if frame.what == "off":
            return await driver.switch_off()
        if frame.what == "on":
            if self._clock.now() - frame.decided_s > ON_WITHIN_S:
                raise ValueError(f"it waited more than {ON_WITHIN_S:g} s for its turn and was not sent")
            return await driver.switch_on()
        if frame.what == "time-out":
            sent = await driver.arm_time_out(frame.value)
            if sent is None:
                raise ValueError(f"{frame.supply} has no communication time-out to arm")
            return sent
        return await (driver.set_current if frame.what == "current" else driver.set_voltage)(frame.value)

    def _bring_forward(self, supply: str) -> None:
        _, current = self._supplies[supply]
        for turn in self._turns:
            if any(channel.name == current for channel in turn.channels):
                turn.ahead, turn.due_s = PROOF_READS, self._clock.now()

    def _written(self, frame: Frame, sent_s: float, received_s: float | None, problem: str) -> Written:
        clock = self._clock
        ended_s = clock.now() if received_s is None else received_s
        return Written(
            clock.instant(), frame.supply, frame.command, frame.number, not problem,
            clock.process_s(sent_s), clock.process_s(ended_s), problem,
        )  # fmt: skip


def _reading(channel: ChannelSetup, scan: Scan | None, quality: Quality) -> Reading:
    """Mark what the wire shows of one value; only a good one carries a number."""
    if scan is None:
        return Reading(channel.name, quality, None)
    value, raw = scan.values[channel.point], scan.raw[channel.point]
    if quality is not Quality.GOOD:
        return Reading(channel.name, quality, None, raw)
    if value is None:
        return Reading(channel.name, Quality.ABSENT, None, raw)
    if not (math.isfinite(value) and channel.low <= value <= channel.high):
        return Reading(channel.name, Quality.OUT_OF_RANGE, None, raw)
    return Reading(channel.name, Quality.GOOD, value, raw)
