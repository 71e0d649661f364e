"""A serial port that carries lines of text, asked or unasked, driven by its file descriptor. pyserial ends here."""

from __future__ import annotations

import asyncio
import contextlib
import os
import termios
from collections import deque
from collections.abc import Callable, Coroutine
from dataclasses import dataclass
from typing import Protocol, TypeVar

from serial import Serial

from drivers import serial_link
from drivers.points import SerialSettings
from drivers.ports import BadAnswer, LinkDown, NoAnswer, Sent
from drivers.uncut import to_its_end

LONGEST_LINE = 1024
"""Bytes of a line, its end included; of a longer one only the beginning is handed on."""

NEWEST_KEPT = 64
"""Lines that wait for whoever wants them; of more, the oldest are dropped."""

LOOKS_EVERY_S = 0.1
"""A link that waits for lines looks this often whether one came, so that a process that stood still is found out."""

READS_AT_ONCE = 16
"""A flood is taken in so many pieces of 4096 bytes at most before others get their turn."""

_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class Line:
    """One line as it came.

    Attributes:
        data: its bytes, the line feed included; without one it broke off or went on for longer than a line may be.
        t_sent_s: the latest moment at which nothing of it had come yet: it is no older than this. Link's clock, s.
        t_received_s: when its last byte was read.
        first: whether the port was opened in the middle of it, for all one knows.
    """

    data: bytes
    t_sent_s: float
    t_received_s: float
    first: bool


@dataclass(frozen=True, slots=True)
class Answer:
    """What came back: text without its line end ("" where no answer was due), and the stamps of its exchange."""

    text: str
    t_sent_s: float
    t_received_s: float

    @property
    def sent(self) -> Sent:
        """The stamps alone."""
        return Sent(self.t_sent_s, self.t_received_s)


class Ask(Protocol):
    """One exchange inside a transaction."""

    async def __call__(self, text: str, *, answers: bool = True) -> Answer:
        """Send a line; wait for the one line that answers it, if it is to be answered. Raises WireError."""


class TextLink:
    """One port. Transactions on it run strictly one after another; the caller sees to that.

    Either it is asked, by `ask` and `transact`, or what it says unasked is read by `next_line`, and `send` sends.

    Attributes:
        settings: where it is and how it is spoken on. now: the clock of all stamps, s.
        openings: how often it was opened; a device that must be greeted looks whether that has changed.
    """

    def __init__(
        self,
        settings: SerialSettings,
        now: Callable[[], float],
        trace: Callable[[bool, bytes], None] | None = None,
    ) -> None:
        self.settings = settings
        self.now = now
        self.openings = 0
        self._trace = trace
        self._port: Serial | None = None
        self._lines: deque[Line] = deque(maxlen=NEWEST_KEPT)
        self._begun = bytearray()
        self._begun_s = self._empty_s = float("-inf")
        self._first = self._skipping = self._in_use = False
        self._stirred = asyncio.Event()
        self._settled_s = self._quiet_until_s = float("-inf")

    # -- opening and closing

    async def open(self) -> None:
        """Open the port exclusively and leave it alone for its settling time. Raises LinkDown."""
        if self._port is None:
            self._connect()
            self._settled_s = asyncio.get_running_loop().time() + self.settings.settle_s
        await _moment(self._settled_s)

    async def close(self) -> None:
        """Close the port; harmless when it is closed."""
        self._drop()

    def _connect(self) -> None:
        settings = self.settings
        parity = "N" if serial_link.is_pty(settings.port) else settings.parity
        port = None
        try:
            # The inter-byte time-out makes an empty port and a lost one two different answers to a read.
            port = Serial(
                settings.port, settings.baud, parity=parity, stopbits=settings.stop_bits, timeout=0,
                inter_byte_timeout=0, exclusive=True,
            )  # fmt: skip
            serial_link.take(port.fileno())
        except (OSError, ValueError, OverflowError, termios.error) as exc:
            if port is not None:
                port.close()
            raise LinkDown(serial_link.why_not(settings.port, _detail(exc))) from exc
        self._port = port
        self.openings += 1
        self._first = True
        self._stirred = asyncio.Event()
        self._empty_s = self.now()
        asyncio.get_running_loop().add_reader(port.fileno(), self._readable)

    def _drop(self) -> None:
        """Forget the port, and end what waits for it at once."""
        port, self._port = self._port, None
        if port is None:
            return
        loop = asyncio.get_running_loop()
        loop.remove_reader(port.fileno())
        loop.remove_writer(port.fileno())
        port.close()
        self._forget()
        self._stirred.set()

    def _lost(self) -> LinkDown:
        port = self.settings.port
        return LinkDown(f"port {port} was lost; plug the adapter in again, the next request opens it afresh")

    # -- receiving

    def flush(self) -> None:
        """Throw away whatever came and was not read, here and in the computer's own buffers."""
        self._readable()
        if self._port is not None:
            with contextlib.suppress(termios.error):  # a port that is gone shows at its next use
                self._port.reset_input_buffer()
        self._forget()

    def _forget(self) -> None:
        self._lines.clear()
        self._begun.clear()
        self._skipping = False

    def _readable(self) -> None:
        """Take what is there; afterwards nothing is, and the clock tells since when."""
        for _ in range(READS_AT_ONCE):
            if self._port is None:
                return
            try:
                data = os.read(self._port.fileno(), 4096)
            except BlockingIOError:
                self._empty_s = self.now()
                return
            except OSError:
                data = b""
            if not data:
                self._drop()
                return
            if self._trace is not None:
                self._trace(False, data)
            self._take(data)

    def _take(self, data: bytes) -> None:
        for piece in _pieces(data):
            if not self._begun:
                self._begun_s = self._empty_s
            self._begun += piece[: LONGEST_LINE - len(self._begun)]
            whole = piece.endswith(b"\n")
            if whole or len(self._begun) == LONGEST_LINE:
                self._end_line(whole)

    def _end_line(self, whole: bool) -> None:
        if not self._skipping:
            self._lines.append(Line(bytes(self._begun), self._begun_s, self.now(), self._first))
            self._stirred.set()
        self._skipping = not whole
        self._first = False
        self._begun.clear()

    async def next_line(self, until_s: float) -> Line | None:
        """Wait for the next line, however it came; a wait may be given up at any moment and loses nothing.

        Args:
            until_s: moment of the link's clock at which to return None instead.

        Raises LinkDown at once if the port is lost; the port must have been opened.
        """
        while True:
            await asyncio.sleep(0)  # a flood must not keep the rest of the program from its turn
            self._stirred.clear()
            self._readable()
            if self._port is None:
                raise self._lost()
            if self._lines:
                return self._lines.popleft()
            left_s = until_s - self.now()
            if left_s <= 0:
                return None
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(min(left_s, LOOKS_EVERY_S)):
                    await self._stirred.wait()

    # -- sending

    async def send(self, data: bytes) -> Sent:
        """Send bytes among what comes unasked; the stamps tell when they began and had left. Raises WireError."""
        await self.open()
        await _moment(self._quiet_until_s)
        return await to_its_end(self._send(data))

    async def _send(self, data: bytes) -> Sent:
        sent_s = self.now()
        until_s = sent_s + self.settings.response_time_out_s
        if self._port is None:
            raise self._lost()
        try:
            await self._write(data, until_s)
        except OSError as exc:
            self._drop()
            raise self._lost() from exc
        self._stay_quiet(self.settings.quiet_s)
        return Sent(sent_s, self.now())

    async def _write(self, data: bytes, until_s: float) -> None:
        while data:
            if self._port is None:
                raise self._lost()
            with contextlib.suppress(BlockingIOError):
                count = os.write(self._port.fileno(), data)
                if self._trace is not None:
                    self._trace(True, data[:count])
                data = data[count:]
            if data:
                await self._room(until_s)

    async def _room(self, until_s: float) -> None:
        """Wait until the port takes bytes again. Raises NoAnswer when it does not in time."""
        assert self._port is not None
        loop, fd = asyncio.get_running_loop(), self._port.fileno()
        self._stirred.clear()
        loop.add_writer(fd, self._stirred.set)
        try:
            async with asyncio.timeout(max(until_s - self.now(), 0.0)):
                await self._stirred.wait()
        except TimeoutError:
            self._unsay()
            raise NoAnswer(f"port {self.settings.port} took no bytes; look at its cable and at its device") from None
        finally:
            if self._port is not None:
                loop.remove_writer(fd)

    def _unsay(self) -> None:
        """Take back what could not leave: it may be an order to switch on, and must not leave later."""
        if self._port is not None:
            with contextlib.suppress(termios.error):
                self._port.reset_output_buffer()
        self._stay_quiet(self.settings.quiet_after_silence_s)

    def _stay_quiet(self, quiet_s: float) -> None:
        until_s = asyncio.get_running_loop().time() + quiet_s
        self._quiet_until_s = max(self._quiet_until_s, until_s)

    # -- asking

    async def ask(self, text: str, *, answers: bool = True) -> Answer:
        """Make one exchange that is a transaction by itself; see `Ask` and `transact`."""
        return await self.transact(lambda ask: ask(text, answers=answers))

    async def transact(self, work: Callable[[Ask], Coroutine[object, object, _T]]) -> _T:
        """Let a device make its exchanges with nothing in between, opening the port first where need be.

        A cancel before the first byte sends nothing; a later one is raised when the work has ended.

        Args:
            work: is given what makes one exchange.
        """
        assert not self._in_use, "transactions on one link run one after another"
        self._in_use = True
        try:
            if self.settings.opens_each_scan:
                await self.close()
            await self.open()
            await _moment(self._quiet_until_s)
            return await to_its_end(work(self._exchange))
        finally:
            self._in_use = False

    async def _exchange(self, text: str, *, answers: bool = True) -> Answer:
        await _moment(self._quiet_until_s)
        self.flush()
        sent = await self._send(text.encode("ascii") + b"\n")
        if not answers:
            return Answer("", sent.t_sent_s, sent.t_received_s)
        line = await self.next_line(sent.t_sent_s + self.settings.response_time_out_s)
        fault = self._fault(line)
        self._stay_quiet(self.settings.quiet_after_silence_s if line is None or fault else self.settings.quiet_s)
        where = f"port {self.settings.port}: `{text}` was not answered"
        if fault:
            raise BadAnswer(f"{where} properly: {fault}")
        if line is None:
            raise NoAnswer(f"{where} within {self.settings.response_time_out_s * 1000:.0f} ms")
        return Answer(line.data.decode("ascii").strip(), sent.t_sent_s, line.t_received_s)

    def _fault(self, line: Line | None) -> str:
        """What is wrong with what came as the one answer; empty when nothing is or nothing came."""
        if line is None:
            return f"it breaks off after {len(self._begun)} bytes" if self._begun else ""
        text = line.data.removesuffix(b"\n").removesuffix(b"\r")
        if len(text) == len(line.data):
            return f"it goes on after {len(text)} bytes"
        if not text.strip():
            return "it is empty"
        if any(not 0x20 <= byte < 0x7F for byte in text):
            return "it is no plain text"
        return "more came than one line" if self._lines or self._begun else ""


async def _moment(loop_s: float) -> None:
    """Wait for a moment of the loop's time; one that has passed is not waited for."""
    left_s = loop_s - asyncio.get_running_loop().time()
    if left_s > 0:
        await asyncio.sleep(left_s)


def _pieces(data: bytes) -> list[bytes]:
    """Cut behind every line feed; the last piece may have none."""
    *whole, rest = data.split(b"\n")
    return [piece + b"\n" for piece in whole] + ([rest] if rest else [])


def _detail(exc: Exception) -> str:
    """What an attempt said that could open a port but not set it up; empty if it could not be opened."""
    return "" if isinstance(exc, OSError) and exc.errno is not None else str(exc)
