"""A served line on a clock that jumps: requests go straight to its devices, with no wire in between."""

from __future__ import annotations

import asyncio
from typing import cast

from simulators.line import Truth
from simulators.modbus_frames import with_crc
from simulators.plan import LinePlan
from simulators.pty import Piece
from simulators.server import LineServer
from simulators.text_devices import BoardWire
from simulators.text_wire import TextPtyLink
from tests.harness.virtual_loop import VirtualLoop


class _Recorder:
    """Takes what a text device says in place of its pty."""

    def __init__(self) -> None:
        self.said: list[str] = []

    def say(self, piece: Piece) -> None:
        self.said.append(piece.data.decode().strip())


class Served:
    """A line server, what it told, and the way to its devices. `close` it in the end."""

    def __init__(self, plan: LinePlan, speed: float = 1.0) -> None:
        self.loop = VirtualLoop()
        self.truths: list[Truth] = []
        self.server = self.loop.run_until_complete(self._server(plan, speed))
        self.line = self.server.line
        self.texts: dict[str, _Recorder] = {}
        for name, wire in self.server._texts.items():
            self.texts[name] = _Recorder()
            wire.link = cast("TextPtyLink", self.texts[name])

    async def _server(self, plan: LinePlan, speed: float) -> LineServer:
        return LineServer(plan, now=self.loop.time, tell=self.truths.append, speed=speed, state_every_s=1000.0)

    def fault(self, what: str, **keys: object) -> None:
        assert self.server.order({"fault": {"what": what, **keys}}) == ""

    def rest(self, wire_s: float) -> None:
        """Let so much wire time pass, s."""
        self.loop.run_until_complete(asyncio.sleep(wire_s))

    def ask(self, body: str, link: str = "bus") -> str:
        """The answer's body, unit first, to a body in hexadecimal; empty where none comes."""
        pieces = self.server._buses[link].transact(with_crc(bytes.fromhex(body)), self.loop.time())
        return "".join(piece.data[:-2].hex(" ").upper() for piece in pieces)

    def value(self, address: int, words: int = 1, unit: int = 1) -> int:
        """The whole number in these input registers of a device on the bus."""
        return int("".join(self.ask(f"{unit:02X} 04 {address:04X} {words:04X}").split()[3:]), 16)

    def say(self, link: str, text: str) -> list[str]:
        """What a text device says within 20 ms of this line."""
        self.texts[link].said.clear()
        self.server._texts[link]._hear(text.encode(), self.loop.time())
        self.rest(0.02)
        return self.texts[link].said

    def board(self, link: str = "board") -> BoardWire:
        return cast("BoardWire", self.server._texts[link])

    def switched(self) -> list[tuple[object, ...]]:
        """Every change of a switch: its name, its state and the cause."""
        return [(t["switch"], t["on"], t["cause"]) for t in self.truths if t["truth"] == "switch" and t["changed"]]

    def close(self) -> None:
        async def close() -> None:
            self.server.close()

        self.loop.run_until_complete(close())
        self.loop.close()
