"""The far end of a text wire for tests: keeps every line it hears, and says whatever a test wants."""

from __future__ import annotations

import asyncio
import os
import time
import tty
from collections import deque
from collections.abc import Callable, Sequence
from typing import Self

from drivers.points import DeviceMap, Field, SerialSettings
from drivers.text_link import Line, TextLink

TIME_OUT_S = 0.05
QUIET_S = 0.02

Pieces = list[tuple[float, bytes]]
"""What to say: seconds to wait first, then the bytes."""


class TextPeer:
    """Hands each line it hears to `reply`, or to the next answer of its script where there is one.

    Attributes:
        heard: every line, without its end. arrived_s: when each came.
        reply: makes of a line what is said at once; None says nothing.
        script: takes the next lines in turn; None in it lets a line pass unanswered.
    """

    def __init__(self, reply: Callable[[str], bytes | None] = lambda _: None) -> None:
        self.master, slave = os.openpty()
        tty.setraw(slave)
        self.port = os.ttyname(slave)
        os.close(slave)
        os.set_blocking(self.master, False)
        self.heard: list[str] = []
        self.arrived_s: list[float] = []
        self.asked = asyncio.Event()
        self.reply = reply
        self.script: deque[Pieces | None] = deque()
        self._buffer = b""
        self._tasks: set[asyncio.Task[None]] = set()

    def __enter__(self) -> Self:
        asyncio.get_running_loop().add_reader(self.master, self._readable)
        return self

    def __exit__(self, *_: object) -> None:
        self.unplug()
        for task in self._tasks:
            task.cancel()

    def answer(self, *texts: str | bytes) -> None:
        """Answer the next lines with these, one each; text gets a line end."""
        self.script.extend([(0.0, text if isinstance(text, bytes) else text.encode() + b"\n")] for text in texts)

    def unplug(self) -> None:
        """Take the far end of the wire away."""
        if self.master >= 0:
            asyncio.get_running_loop().remove_reader(self.master)
            os.close(self.master)
            self.master = -1

    def say(self, data: bytes) -> None:
        """Put bytes on the wire."""
        if self.master >= 0 and data:
            os.write(self.master, data)

    def _readable(self) -> None:
        try:
            self._buffer += os.read(self.master, 4096)
        except OSError:  # nobody holds the near end just now
            asyncio.get_running_loop().remove_reader(self.master)
            asyncio.get_running_loop().call_later(0.001, self._listen_again)
            return
        *lines, self._buffer = self._buffer.split(b"\n")
        for line in lines:
            self._hear(line.rstrip(b"\r").decode("ascii"))

    def _hear(self, line: str) -> None:
        self.heard.append(line)
        self.arrived_s.append(time.monotonic())
        self.asked.set()
        pieces = self.script.popleft() if self.script else [(0.0, self.reply(line) or b"")]
        task = asyncio.get_running_loop().create_task(self._say_all(pieces or []))
        self._tasks.add(task)

    def _listen_again(self) -> None:
        if self.master >= 0:
            asyncio.get_running_loop().add_reader(self.master, self._readable)

    async def _say_all(self, pieces: Pieces) -> None:
        for delay_s, data in pieces:
            if delay_s:
                await asyncio.sleep(delay_s)
            self.say(data)


def text_link(
    port: str,
    *,
    time_out_s: float = TIME_OUT_S,
    after_silence_s: float = QUIET_S,
    quiet_s: float = 0.0,
    settle_s: float = 0.0,
    anew: bool = False,
    trace: Callable[[bool, bytes], None] | None = None,
    now: Callable[[], float] = time.monotonic,
) -> TextLink:
    """A link to this port with time-outs of tens of milliseconds."""
    settings = SerialSettings(
        "wire", "serial text", time_out_s, after_silence_s, port=port, baud=115200, quiet_s=quiet_s, settle_s=settle_s,
        opens_each_scan=anew,
    )  # fmt: skip
    return TextLink(settings, now, trace)


def scpi_map(*, opening: Sequence[str] = (), **changes: Field) -> DeviceMap:
    """An invented SCPI supply as a profile would give it; named points may be changed or added."""
    points = [
        Field("current", scale=0.001, unit="A", low=0, high=10.5),
        Field("voltage", scale=0.001, unit="V", low=0, high=62),
        Field("output", states={0: "off", 1: "on"}),
        Field("mode", states={0: "current held", 1: "voltage held"}, bits={0: "voltage held", 1: "current held"}),
        Field("set_current", scale=0.001, unit="A", low=0, high=10),
        Field("set_voltage", scale=0.01, unit="V", low=0, high=60),
    ]
    return DeviceMap(
        "rectifier", "scpi supply", 0, {p.name: p for p in points} | changes, 0.005, opening=tuple(opening)
    )


def board_map(*, keep_s: float | None = 2.0, **changes: Field) -> DeviceMap:
    """An invented board with two thermocouples, one of them as a voltage, a level switch and a fan's relay."""
    points = [
        Field("t1", unit="degC", low=-20, high=150),
        Field("emf", label="e2", scale=1e-6, unit="V", low=-0.006, high=0.05),
        Field("cj", unit="degC", low=-20, high=80),
        Field("level", states={0: "open", 1: "closed"}),
        Field("fan", states={0: "off", 1: "on"}),
        Field("heartbeat", unit="s", low=0),
    ]
    return DeviceMap("board", "sentence board", 0, {p.name: p for p in points} | changes, 0.005, keep_s=keep_s)


async def heard_by(link: TextLink, within_s: float = 0.5) -> Line:
    """The next line, which must come."""
    await link.open()
    line = await link.next_line(link.now() + within_s)
    assert line is not None
    return line
