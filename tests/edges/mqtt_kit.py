"""Brokers for tests: real ones in the same loop, and some that do not behave; and someone who looks on."""

from __future__ import annotations

import asyncio
import json
import logging
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import aiomqtt
from amqtt.broker import Broker as RealBroker

from supervisor.core.actions import Note
from supervisor.core.events import Instant
from supervisor.edges.mqtt import Broker, Publisher
from supervisor.edges.payloads import Reporter
from tests.harness.lines import Files

for name in ("amqtt", "transitions"):
    logging.getLogger(name).setLevel(logging.CRITICAL)

LINE_TOPIC = "ampminder/demo/line/demo"
TANK_TOPIC = "ampminder/demo/tank/acid"
ALARM_TOPIC = "ampminder/demo/alarm/acid.bath-high"

OPEN = {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}}


def closed(passwords: Path) -> dict[str, Any]:
    """A broker's plugins that let in whom the password file names, and nobody else."""
    return {"amqtt.plugins.authentication.FileAuthPlugin": {"password_file": str(passwords)}}


class TidyBroker(RealBroker):  # type: ignore[misc]
    """A broker that leaves no connection open at its end."""

    writers: list[asyncio.StreamWriter]

    async def stream_connected(
        self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, listener_name: str
    ) -> None:
        """Serve a client, and remember it."""
        self.writers.append(writer)
        await super().stream_connected(reader, writer, listener_name)


@asynccontextmanager
async def real_broker(port: int = 0, *, plugins: dict[str, Any] | None = None, **listener: Any) -> AsyncIterator[int]:
    """Run a broker; give its port."""
    listeners = {"default": {"type": "tcp", "bind": f"127.0.0.1:{port}", **listener}}
    broker = TidyBroker({"listeners": listeners, "plugins": plugins or OPEN})
    broker.writers = []
    await broker.start()
    try:
        yield broker._servers["default"].instance.sockets[0].getsockname()[1]
    finally:
        await broker.shutdown()
        for writer in broker.writers:
            writer.transport.abort()
        await asyncio.sleep(0.01)


@asynccontextmanager
async def bad_broker(answer: Callable[[asyncio.StreamReader, asyncio.StreamWriter], Any]) -> AsyncIterator[int]:
    """Listen, and do with each connection what `answer` does; give the port."""
    held: set[asyncio.Task[None]] = set()

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        held.add(task)
        try:
            with suppress(asyncio.CancelledError):  # asyncio's streams complain of one that is cancelled
                await answer(reader, writer)
        finally:
            writer.transport.abort()

    server = await asyncio.start_server(serve, "127.0.0.1", 0)
    try:
        yield server.sockets[0].getsockname()[1]
    finally:
        server.close()
        for task in held:
            task.cancel()
        await asyncio.gather(*held, return_exceptions=True)


def publishes(files: Files, port: int, *lines: str) -> None:
    """Add a broker on this computer to a line file."""
    with files.line.open("a", encoding="utf-8") as file:
        file.write("\n".join(("", "[mqtt]", 'host = "127.0.0.1"', f"port = {port}", *lines, "")))


@dataclass
class Played:
    """A line that is what a test says; the loop's time is its clock."""

    temperature_c: float = 20.5
    alarms: dict[str, str] = field(default_factory=dict)
    broken: bool = False

    def instant(self) -> Instant:
        """Tell the loop's time on all three clocks."""
        now_s = asyncio.get_running_loop().time()
        return Instant(now_s, now_s, 1.79e9 + now_s)

    def status(self) -> dict[str, Any]:
        """Tell how the line stands, as the service does."""
        if self.broken:
            raise ArithmeticError("planted")
        return {
            "units": "metric", "speed": 1.0, "watch_only": False, "contacts": {},
            "calibrations": {}, "commissioned": {}, "at": {"wall_s": self.instant().wall_s},
            "supplies": {
                "main": {
                    "state": "idle", "wanted_on": False, "off_proven": True, "current_a": 0.0, "voltage_v": 0.0,
                    "voltage_held": False, "hydrogen_l_per_s": None, "operation": None,
                }
            },
            "tanks": {
                "acid": {
                    "role": "anodize", "temperature_c": self.temperature_c, "reading": "good", "low_c": 19.0,
                    "high_c": 22.0, "heating": None, "cooling": None, "ready": None, "end": None,
                }
            },
            "alarms": [
                {
                    "name": name, "state": state, "priority": "medium", "active": True, "latched": False, "under": "",
                    "what": "Warm.", "follows": "Nothing.", "first": "Cool it.", "time": "Minutes.",
                    "since_wall_s": 1.79e9, "count": 1, "why": "", "shelved_for_s": None,
                }
                for name, state in self.alarms.items()
            ],
        }  # fmt: skip

    def reporter(self, possible: tuple[str, ...] = ("acid/bath-high",)) -> Reporter:
        """Put this line into payloads."""
        return Reporter("demo", "a-run", self.instant, self.status, possible)

    def publisher(self, port: int, **broker: Any) -> Publisher:
        """Make a publisher of this line."""
        return Publisher(Broker("127.0.0.1", port, "ampminder-demo", **broker), self.reporter())


def a_note(number: int = 0) -> Note:
    """An event."""
    return Note("operation", "main", f"main: happened {number}.", {"state": "running"})


@asynccontextmanager
async def publishing(publisher: Publisher) -> AsyncIterator[Publisher]:
    """Publish until the block ends."""
    publisher.start()
    try:
        yield publisher
    finally:
        await publisher.close(2.0)


@dataclass
class Seen:
    """Messages as a subscriber saw them; `at_s` is the loop's time."""

    messages: list[tuple[float, str, bytes, bool, int]] = field(default_factory=list)

    def of(self, topic: str) -> list[Any]:
        """Payloads of one topic, oldest first; None for an empty one."""
        return [json.loads(payload) if payload else None for _, t, payload, _, _ in self.messages if t == topic]

    def times_s(self, topic: str) -> list[float]:
        """When they came."""
        return [at_s for at_s, t, *_ in self.messages if t == topic]

    def events(self) -> list[int]:
        """Numbers of the events seen."""
        return [json.loads(payload)["number"] for _, t, payload, *_ in self.messages if "/event/" in t]


@asynccontextmanager
async def looking_on(port: int, **client: Any) -> AsyncIterator[Seen]:
    """Subscribe to everything until the block ends."""
    seen, loop = Seen(), asyncio.get_running_loop()

    async def look() -> None:
        async for message in subscriber.messages:
            payload = message.payload
            assert isinstance(payload, bytes)
            seen.messages.append((loop.time(), str(message.topic), payload, bool(message.retain), message.qos))

    async with aiomqtt.Client("127.0.0.1", port, keepalive=6000, **client) as subscriber:
        await subscriber.subscribe("ampminder/#", qos=1)
        looking = asyncio.create_task(look())
        try:
            yield seen
        finally:
            looking.cancel()
            await asyncio.gather(looking, return_exceptions=True)


async def until(holds: Callable[[], Any], within_s: float = 10.0) -> None:
    """Wait, by the loop's time, until something holds."""
    async with asyncio.timeout(within_s):
        while not holds():  # noqa: ASYNC110 - what it waits for sets no event
            await asyncio.sleep(0.02)
