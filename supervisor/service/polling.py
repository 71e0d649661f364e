"""One link at work: commands as they come, readings as they fall due, each transaction one event."""

from __future__ import annotations

import asyncio
import math
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass

from drivers.ports import BadAnswer, LinkDown, NoAnswer, Refused, Scan, Sent, SupplyDevice, SwitchDevice, WireError
from supervisor.core.actions import Switch
from supervisor.core.events import Event, Quality, Reading, Scanned, Switched, Written
from supervisor.core.setup import ChannelSetup
from supervisor.service.clock import Clock
from supervisor.service.dispatch import Frame, Outbox
from supervisor.service.turns import Turn
from supervisor.trade.thermocouple import compensated_c

LATE_S = 0.05
"""An answer this much beyond the response time-out says that this process stood still: its time is not known."""

BLINK_S = 0.001
"""A planned moment may come this much late: timers are rounded up to whole milliseconds."""

LOOKS_AGAIN_S = 0.1
"""Wire time between two looks at whether the core decides again."""

ON_WITHIN_S = 5.0
"""An on that has waited longer for its turn is dropped: the process stood still, and the request is long over (R4)."""

_QUALITIES: dict[type[WireError], Quality] = {
    LinkDown: Quality.LINK_DOWN, NoAnswer: Quality.NO_ANSWER, BadAnswer: Quality.MALFORMED, Refused: Quality.REFUSED,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Driven:
    """A supply as its link drives it: its driver, and the channels whose readings prove what it was told."""

    driver: SupplyDevice
    shown_by: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Switching:
    """An output as its link switches it: driver and point, and the channels whose readings prove what it was told."""

    driver: SwitchDevice
    point: str
    shown_by: tuple[str, ...] = ()


@dataclass(slots=True)
class Keep:
    """A board that must be told to keep its outputs, how often, s, and when next, wire time, s."""

    driver: SwitchDevice
    every_s: float
    due_s: float = -math.inf


class LinkRunner:
    """One link: a single task, so that transactions on it never overlap and off waits for one at most."""

    def __init__(
        self,
        outbox: Outbox,
        on_link: list[Turn],
        supplies: Mapping[str, Driven],
        switches: Mapping[str, Switching],
        time_out_s: float,
        clock: Clock,
        hasten: Callable[[Collection[str]], None] | None = None,
    ) -> None:
        """`time_out_s` is the response time-out; `hasten` brings readings forward on whatever link they are."""
        self.outbox = outbox
        self._turns = on_link
        self._supplies = supplies
        self._switches = switches
        self._time_out_s = time_out_s
        self._clock = clock
        self._hasten = hasten or self.hasten
        self._owes_reading = False
        boards = {id(switching.driver): switching.driver for switching in switches.values()}
        self._keeps = [Keep(driver, driver.keep_every_s) for driver in boards.values() if driver.keep_every_s]

    async def run(
        self, post: Callable[[Event], None], planned_s: Callable[[], float | None], goes_on: Callable[[], bool]
    ) -> None:
        """Work until cancelled.

        `planned_s` tells the wire time left until the core next wants to decide something; `goes_on` whether it decides
        in time. While it does not, only ways to a safe state leave: whatever else passes feeds a device's own time-out.
        """
        while True:
            frame = None if self._owes_reading and not self.outbox.urgent else self.outbox.take(only_safe=not goes_on())
            self._owes_reading = False
            if frame is not None:
                for event in await self._command(frame):
                    post(event)
                continue
            if not goes_on():
                await self._idle(LOOKS_AGAIN_S)
                continue
            keep = min(self._keeps, key=lambda keep: keep.due_s, default=None)
            if keep is not None and keep.due_s <= self._clock.now():
                await self._keep(keep)
                continue
            scanned = await self._read_or_wait(planned_s())
            if scanned is not None:
                post(scanned)

    def hasten(self, channels: Collection[str]) -> None:
        """Bring the next readings of these channels forward, where they are read on this link."""
        now_s = self._clock.now()
        if sum(turn.hasten(channels, now_s) for turn in self._turns):
            self.outbox.arrived.set()

    async def _read_or_wait(self, planned_s: float | None) -> Scanned | None:
        """Read what is due; otherwise wait until something is, or a command comes."""
        turn = min(self._turns, key=lambda turn: turn.due_s, default=None)
        keep_s = min((keep.due_s for keep in self._keeps), default=math.inf)
        if turn is not None and turn.driver.streams and turn.due_s <= self._clock.now():
            return await self._listen(turn, keep_s - self._clock.now())
        wait_s = min(math.inf if turn is None else turn.due_s, keep_s) - self._clock.now()
        if turn is not None and not turn.driver.streams and wait_s <= 0:
            wait_s = self._makes_way_s(turn, planned_s)
            if wait_s <= 0:
                return await self._read(turn)
        await self._idle(wait_s)
        return None

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
            async with asyncio.timeout(None if math.isinf(wait_s) else wait_s):
                await self.outbox.arrived.wait()
        except TimeoutError:
            return

    # -- reading

    async def _read(self, turn: Turn) -> Scanned:
        began_s = self._clock.now()
        points = turn.due(began_s)
        turn.made_way = False
        try:
            scan = await turn.driver.read(points)
        except WireError as error:
            turn.done(points, began_s, self._clock.now())
            return self._failed(turn, points, began_s, error)
        turn.done(points, began_s, self._clock.now())
        turn.took_s = scan.t_received_s - began_s
        late = scan.t_received_s - scan.t_sent_s > self._time_out_s + LATE_S
        return self._scanned(turn, scan, Quality.LATE if late else Quality.GOOD)

    async def _listen(self, turn: Turn, wait_s: float) -> Scanned | None:
        """Take what a device says next that speaks by itself, unless a command comes first: nothing is in flight."""
        began_s = self._clock.now()
        reading = asyncio.ensure_future(turn.driver.read(frozenset(turn.rhythms)))
        command = asyncio.ensure_future(self.outbox.arrived.wait())
        try:
            await asyncio.wait(
                {reading, command}, timeout=None if math.isinf(wait_s) else wait_s,
                return_when=asyncio.FIRST_COMPLETED,
            )  # fmt: skip
        finally:
            command.cancel()
            reading.cancel()  # harmless where it is done
            await asyncio.wait({reading, command})
        if reading.cancelled():
            return None
        problem = reading.exception()
        if isinstance(problem, LinkDown):
            # It is told at once, again and again: without a rest nothing else would get its turn.
            turn.done(turn.rhythms, began_s, self._clock.now())
        if isinstance(problem, WireError):
            return self._failed(turn, frozenset(turn.rhythms), began_s, problem)
        return self._scanned(turn, reading.result(), Quality.GOOD)

    def _failed(self, turn: Turn, points: Collection[str], began_s: float, error: WireError) -> Scanned:
        quality = _QUALITIES[type(error)]
        readings = tuple(Reading(c.name, quality, None) for c in turn.channels if c.point in points)
        return self._event(turn, began_s, self._clock.now(), readings)

    def _scanned(self, turn: Turn, scan: Scan, quality: Quality) -> Scanned:
        readings = tuple(_reading(channel, scan, quality) for channel in turn.channels if channel.point in scan.values)
        return self._event(turn, scan.t_sent_s, scan.t_received_s, readings)

    def _event(self, turn: Turn, sent_s: float, received_s: float, readings: tuple[Reading, ...]) -> Scanned:
        clock = self._clock
        return Scanned(clock.instant(), turn.device, clock.process_s(sent_s), clock.process_s(received_s), readings)

    # -- writing

    async def _command(self, frame: Frame | Switch) -> list[Written] | list[Switched]:
        return [await self._switch(frame)] if isinstance(frame, Switch) else await self._write(frame)

    async def _write(self, frame: Frame) -> list[Written]:
        """Send one frame; return the fate of its command if it ended with it, and of those that fell with it."""
        began_s = self._clock.now()
        try:
            sent = await self._call(frame)
        except (WireError, ValueError) as error:
            # Off to a silent supply must not keep the others on its link from being heard, nor itself from being read.
            self._owes_reading = frame.command == "off" and not self.outbox.safe_waits
            fallen = {frame.number: frame, **{other.number: other for other in self._falls_with(frame)}}
            return [self._written(other, began_s, None, str(error)) for other in fallen.values()]
        self.outbox.done(frame)
        if frame.command == "off":
            self._hasten(self._supplies[frame.supply].shown_by)
        return [self._written(frame, sent.t_sent_s, sent.t_received_s, "")] if frame.last else []

    def _falls_with(self, frame: Frame) -> list[Frame]:
        """After a failure nothing that raises energy may follow: it was meant for another state of the supply."""
        return [] if frame.command == "off" else self.outbox.drop(frame.supply)

    async def _call(self, frame: Frame) -> Sent:
        driver = self._supplies[frame.supply].driver
        if frame.what == "off":
            return await driver.switch_off()
        if frame.what == "on":
            self._in_good_time(frame.decided_s)
            return await driver.switch_on()
        if frame.what == "time-out":
            sent = await driver.arm_time_out(frame.value)
            if sent is None:
                raise ValueError(f"{frame.supply} has no communication time-out to arm")
            return sent
        return await (driver.set_current if frame.what == "current" else driver.set_voltage)(frame.value)

    def _in_good_time(self, decided_s: float) -> None:
        if self._clock.now() - decided_s > ON_WITHIN_S:
            raise ValueError(f"it waited more than {ON_WITHIN_S:g} s for its turn and was not sent")

    def _written(self, frame: Frame, sent_s: float, received_s: float | None, problem: str) -> Written:
        clock = self._clock
        ended_s = clock.now() if received_s is None else received_s
        return Written(
            clock.instant(), frame.supply, frame.command, frame.number, not problem,
            clock.process_s(sent_s), clock.process_s(ended_s), problem,
        )  # fmt: skip

    async def _switch(self, action: Switch) -> Switched:
        """Switch one output. What leads away from its safe state is dropped, never delayed, as an on is."""
        switching, clock, began_s, problem = self._switches[action.output], self._clock, self._clock.now(), ""
        sent_s = ended_s = began_s
        try:
            if not action.safe:
                self._in_good_time(action.decided_wire_s)
            sent = await switching.driver.set_switch(switching.point, on=action.on)
            sent_s, ended_s = sent.t_sent_s, sent.t_received_s
            self._hasten(switching.shown_by)
        except (WireError, ValueError) as error:
            ended_s, problem = clock.now(), str(error)
            # A safe state that is sent again and again must not keep its device from being heard.
            self._owes_reading = True
        return Switched(
            clock.instant(), action.output, action.on, action.number, not problem,
            clock.process_s(sent_s), clock.process_s(ended_s), problem,
        )  # fmt: skip

    async def _keep(self, keep: Keep) -> None:
        """Tell a board to keep its outputs. Where that fails it drops them by itself, as it should."""
        keep.due_s = self._clock.now() + keep.every_s
        try:
            await keep.driver.keep()
        except WireError:
            return


def _reading(channel: ChannelSetup, scan: Scan, quality: Quality) -> Reading:
    """Mark what the wire shows of one value; only a good one carries a number."""
    value, raw = scan.values[channel.point], scan.raw[channel.point]
    if channel.thermocouple is not None and quality is Quality.GOOD:
        junction = channel.thermocouple.junction
        junction_c, raw = scan.values.get(junction), raw + scan.raw.get(junction, ())
        value = None if value is None or junction_c is None else _compensated_c(channel, value, junction_c)
    if quality is not Quality.GOOD:
        return Reading(channel.name, quality, None, raw)
    if value is None:
        return Reading(channel.name, Quality.ABSENT, None, raw)
    if not (math.isfinite(value) and channel.low <= value <= channel.high):
        return Reading(channel.name, Quality.OUT_OF_RANGE, None, raw)
    return Reading(channel.name, Quality.GOOD, value, raw)


def _compensated_c(channel: ChannelSetup, emf_v: float, junction_c: float) -> float:
    """What a thermocouple's voltage means, degC; not a number where no temperature of its type gives it."""
    assert channel.thermocouple is not None
    try:
        return compensated_c(channel.thermocouple.kind, emf_v, junction_c)
    except ValueError:
        return math.nan
