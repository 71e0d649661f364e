"""A slave for tests that answers with whatever bytes a test wants, on a pseudo-terminal of its own."""

from __future__ import annotations

import asyncio
import os
import time
import tty
from collections import deque
from collections.abc import Callable
from typing import Literal, Self

from drivers.modbus_frames import crc16
from drivers.modbus_link import Registers
from drivers.modbus_rtu import RtuLink
from drivers.points import SerialSettings
from drivers.registers import Register, RegisterMap

Pieces = list[tuple[float, bytes]]
"""What to send: seconds to wait first, then the bytes."""

TIME_OUT_S = 0.05
QUIET_S = 0.02


def _request_length(begun: bytes) -> int:
    """Bytes of the request that begins so: a write of many says how many bytes of values it has."""
    return 9 + begun[6] if len(begun) >= 8 and begun[1] in {15, 16} else 8


class Peer:
    """The far end of the wire: hands each request to the next answer of its script, and keeps all requests."""

    def __init__(self) -> None:
        self.master, slave = os.openpty()
        tty.setraw(slave)
        self.port = os.ttyname(slave)
        os.close(slave)
        os.set_blocking(self.master, False)
        self.script: deque[Callable[[bytes], Pieces]] = deque()
        self.requests: list[bytes] = []
        self.arrived_s: list[float] = []
        self.last_sent_s = 0.0
        self.bytes_received = 0
        self.bytes_sent = 0
        self.asked = asyncio.Event()
        self._buffer = b""
        self._tasks: set[asyncio.Task[None]] = set()

    def __enter__(self) -> Self:
        asyncio.get_running_loop().add_reader(self.master, self._readable)
        return self

    def __exit__(self, *_: object) -> None:
        self.unplug()
        for task in self._tasks:
            task.cancel()

    def answer(self, *frames: bytes) -> None:
        """Answer the next requests with these bytes, one each."""
        for frame in frames:
            self.script.append(lambda _request, frame=frame: [(0.0, frame)])  # type: ignore[misc]

    def unplug(self) -> None:
        """Take the far end of the wire away."""
        if self.master >= 0:
            asyncio.get_running_loop().remove_reader(self.master)
            os.close(self.master)
            self.master = -1

    def send(self, data: bytes) -> None:
        """Put bytes on the wire unasked."""
        if self.master >= 0 and data:
            self.last_sent_s = time.monotonic()
            self.bytes_sent += os.write(self.master, data)

    def _readable(self) -> None:
        try:
            data = os.read(self.master, 4096)
        except OSError:  # nobody holds the near end just now
            asyncio.get_running_loop().remove_reader(self.master)
            asyncio.get_running_loop().call_later(0.001, self._listen_again)
            return
        self._buffer += data
        self.bytes_received += len(data)
        while len(self._buffer) >= (length := _request_length(self._buffer)):
            request, self._buffer = self._buffer[:length], self._buffer[length:]
            self.requests.append(request)
            self.arrived_s.append(time.monotonic())
            self.asked.set()
            if self.script:
                task = asyncio.get_running_loop().create_task(self._reply(self.script.popleft()(request)))
                self._tasks.add(task)

    def _listen_again(self) -> None:
        if self.master >= 0:
            asyncio.get_running_loop().add_reader(self.master, self._readable)

    async def _reply(self, pieces: Pieces) -> None:
        for delay_s, data in pieces:
            await asyncio.sleep(delay_s)
            self.send(data)


def settings(
    port: str,
    *,
    baud: int = 115200,
    time_out_s: float = TIME_OUT_S,
    quiet_s: float = QUIET_S,
    parity: Literal["N", "E", "O"] = "N",
) -> SerialSettings:
    """Settings of a test bus."""
    return SerialSettings("bus", "modbus rtu", time_out_s, quiet_s, port=port, baud=baud, parity=parity)


def link_to(peer: Peer, *, baud: int = 115200, quiet_s: float = QUIET_S) -> RtuLink:
    """A link to this peer with time-outs of tens of milliseconds."""
    return RtuLink(settings(peer.port, baud=baud, quiet_s=quiet_s), time.monotonic)


def supply_map(**changes: Register) -> RegisterMap:
    """An invented supply as a profile would give it; named points may be changed."""
    off_on = {0: "off", 1: "on"}
    points = [
        Register("current", "input register", 0, scale=0.001, unit="A", low=0, high=10.5),
        Register("voltage", "input register", 1, scale=0.01, unit="V", low=0, high=62),
        Register("output", "input register", 2, states=off_on),
        Register("mode", "input register", 3, states={0: "current held", 1: "voltage held"}),
        Register("set_current", "holding register", 16, scale=0.001, unit="A", low=0, high=10),
        Register("set_voltage", "holding register", 17, scale=0.01, unit="V", low=0, high=60),
        Register("switch", "holding register", 18, states=off_on),
    ]
    return RegisterMap("rectifier", "modbus supply", 1, {p.name: p for p in points} | changes, 0.005)


def temperature_map() -> RegisterMap:
    """An invented module with two thermocouples."""
    points = [
        Register(
            f"t{n}", "input register", n - 1, "int16", scale=0.1, unit="degC", low=-20, high=150, no_value=(0x7FFF,)
        )
        for n in (1, 2)
    ]
    return RegisterMap("thermometer", "modbus module", 2, {p.name: p for p in points}, 0.005)


def framed(*body: int) -> bytes:
    """A frame with its check sum behind it."""
    return bytes(body) + crc16(bytes(body))


GOOD = framed(1, 3, 4, 0x01, 0x02, 0x03, 0x04)
"""The answer of unit 1 to a read of two holding registers: 0x0102 and 0x0304."""


async def read_two(link: RtuLink) -> Registers:
    """Ask for what GOOD answers."""
    return await link.read(1, "holding register", 0, 2)
