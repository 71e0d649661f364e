"""A pty as one end of a serial wire: what every simulated link shares, whatever is spoken over it."""

from __future__ import annotations

import asyncio
import heapq
import itertools
import os
import tty
from abc import ABC, abstractmethod
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Piece:
    """Bytes that appear on the wire.

    Attributes:
        data: the bytes, with their line end if they have one.
        delay_s: wire time until they begin, s.
        character_s: time that each of them takes at least, s.
    """

    data: bytes
    delay_s: float = 0.0
    character_s: float = 0.0


class Pty(ABC):
    """The device's end of a serial wire. Everything here is wire time and runs in the loop that opened it.

    Attributes:
        path: of the pty's slave, which a program opens as its serial port.
        bytes_received: bytes read from the other side so far. bytes_sent: bytes written to it.
    """

    def __init__(self, now: Callable[[], float], character_s: float) -> None:
        """Open the pty and listen on it in the running loop. Raises OSError.

        Args:
            now: wire time, s, of the same clock that the loop's timers follow.
            character_s: time that one character takes on the wire, s; 0 lets all bytes appear at once.
        """
        self.bytes_received = 0
        self.bytes_sent = 0
        self._now = now
        self._character_s = character_s
        self._last_byte_s = now()
        self._free_s = 0.0
        self._waiting: deque[tuple[bytes, float, float]] = deque()
        self._coming: list[tuple[float, int, Piece]] = []
        self._numbers = itertools.count()
        self._is_open = True
        self._timers: set[asyncio.TimerHandle] = set()
        self._loop = asyncio.get_running_loop()
        # The slave stays open here, so that the other side can close and open it without hanging up the line.
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.path = os.ttyname(self._slave)
        self._loop.add_reader(self._master, self._readable)

    def close(self) -> None:
        """Stop listening and close the pty; what is said from now on goes nowhere."""
        self._is_open = False
        self._loop.remove_reader(self._master)
        for timer in self._timers:
            timer.cancel()
        self._timers.clear()
        self._coming.clear()
        self._waiting.clear()
        os.close(self._master)
        os.close(self._slave)

    def say(self, piece: Piece) -> None:
        """Let a piece appear, after its delay and when what is being said has been said."""
        begin_s = self._now() + piece.delay_s
        # The wire is taken only when the time has come: what is said sooner does not wait behind what is said late.
        # A loop keeps no order among timers of one moment; a wire does.
        heapq.heappush(self._coming, (begin_s, next(self._numbers), piece))
        self._at(begin_s, self._send_next)

    def _send_next(self) -> None:
        begin_s, _, piece = heapq.heappop(self._coming)
        self._send(piece.data, begin_s, max(piece.character_s, self._character_s))

    @abstractmethod
    def _received(self, data: bytes, silence_s: float) -> None:
        """Take bytes that have come after this much silence; `_last_byte_s` is when the last one has passed."""

    def _at(self, due_s: float, call: Callable[[], None]) -> None:
        """Call at this wire time, at once if it has come."""
        wait_s = due_s - self._now()
        if wait_s <= 0.0:
            call()
        else:
            self._later(wait_s, call)

    def _later(self, wait_s: float, call: Callable[[], None]) -> None:
        def fire() -> None:
            self._timers.discard(timer)
            call()

        timer = self._loop.call_later(wait_s, fire)
        self._timers.add(timer)

    def _readable(self) -> None:
        try:
            data = os.read(self._master, 4096)
        except BlockingIOError:
            return
        now_s = self._now()
        silence_s = now_s - self._last_byte_s
        self.bytes_received += len(data)
        self._last_byte_s = max(now_s, self._last_byte_s) + len(data) * self._character_s
        self._received(data, silence_s)

    def _send(self, data: bytes, begin_s: float, character_s: float) -> None:
        """Send from this wire time on, or when the wire is free; each byte appears when its last bit has passed."""
        self._waiting.append((data, begin_s, character_s))
        if len(self._waiting) == 1:
            self._send_first()

    def _send_first(self) -> None:
        data, begin_s, character_s = self._waiting[0]
        begin_s = max(begin_s, self._free_s)
        self._free_s = begin_s + len(data) * character_s
        self._send_on(data, 0, begin_s, character_s)

    def _send_on(self, data: bytes, done: int, begin_s: float, character_s: float) -> None:
        if done >= len(data):
            self._waiting.popleft()
            if self._waiting:
                # Not at once: what waits may be much, and each would stand on the one before.
                self._later(0.0, self._send_first)
            return

        def write() -> None:
            passed = len(data)
            if character_s > 0.0:
                passed = min(int((self._now() - begin_s) / character_s + 1e-6), len(data))
            passed = max(passed, done + 1)
            self._write(data[done:passed])
            self._send_on(data, passed, begin_s, character_s)

        self._at(begin_s + (done + 1) * character_s, write)

    def _write(self, data: bytes) -> None:
        # A board talks on with its plug out, and the descriptor's number may long be some other file's.
        if not self._is_open:
            return
        try:
            self.bytes_sent += os.write(self._master, data)
        except BlockingIOError:
            # Nobody has read for long and the pty is full: as on a wire, the bytes are lost.
            return
