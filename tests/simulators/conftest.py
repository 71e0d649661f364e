"""A demo line in the test's own loop, and a peer that speaks raw bytes to it."""

from __future__ import annotations

import asyncio
import os
import time
from collections.abc import AsyncIterator
from dataclasses import replace
from pathlib import Path

import pytest

from simulators.line import Truth
from simulators.modbus_frames import with_crc
from simulators.plan import LinePlan, read_plan
from simulators.server import LineServer

DEMO = Path(__file__).parents[1] / "harness" / "plain-line.sim.toml"


@pytest.fixture(scope="session")
def plan() -> LinePlan:
    return read_plan(DEMO)


class Peer:
    """The other end of a pty, without any library."""

    def __init__(self, path: str) -> None:
        self._fd = os.open(path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        self._came = asyncio.Event()
        self._bytes = b""
        asyncio.get_running_loop().add_reader(self._fd, self._read)

    def _read(self) -> None:
        self._bytes += os.read(self._fd, 4096)
        self._came.set()

    def send(self, frame: bytes) -> None:
        os.write(self._fd, frame)

    async def take(self, count: int) -> bytes:
        """The next `count` bytes; fewer never satisfy."""
        async with asyncio.timeout(2.0):
            while len(self._bytes) < count:
                self._came.clear()
                await self._came.wait()
        taken, self._bytes = self._bytes[:count], self._bytes[count:]
        return taken

    async def rest(self, wait_s: float = 0.03) -> bytes:
        """Whatever comes within this time."""
        await asyncio.sleep(wait_s)
        taken, self._bytes = self._bytes, b""
        return taken

    async def ask(self, body: str, count: int) -> str:
        """Send a body in hexadecimal with its check sum; the next `count` bytes in hexadecimal."""
        self.send(with_crc(bytes.fromhex(body)))
        return (await self.take(count)).hex(" ")

    def close(self) -> None:
        asyncio.get_running_loop().remove_reader(self._fd)
        os.close(self._fd)


class Bench:
    """A server, what it told, and a peer on its bus."""

    def __init__(self, plan: LinePlan, speed: float = 1.0) -> None:
        self.truths: list[Truth] = []
        self.server = LineServer(plan, now=time.monotonic, tell=self.truths.append, speed=speed)
        self.line = self.server.line
        self.peer = Peer(self.server.links["bus"].path)

    def told(self, truth: str) -> list[Truth]:
        return [entry for entry in self.truths if entry["truth"] == truth]

    def close(self) -> None:
        self.peer.close()
        self.server.close()


def prompt(plan: LinePlan) -> LinePlan:
    """The same line with devices that answer at once."""
    return replace(plan, devices={name: replace(of, answer_delay_s=0.0) for name, of in plan.devices.items()})


@pytest.fixture
async def bench(plan: LinePlan) -> AsyncIterator[Bench]:
    made = Bench(prompt(plan))
    yield made
    made.close()
