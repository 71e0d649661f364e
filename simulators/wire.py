"""A serial bus as a pty: takes requests apart, lets the devices answer, and keeps the wire's own times."""

from __future__ import annotations

import asyncio
import os
import tty
from collections.abc import Callable
from typing import Protocol

from simulators import modbus_frames as frames
from simulators.plan import LinkPlan

# Without true byte timing a frame comes in one piece; what follows later than this is another one.
_LOOSE_SILENCE_S = 0.005


class Bus(Protocol):
    """What happens with a request that has come over the wire whole and with a good check sum."""

    def transact(self, frame: bytes, arrived_s: float) -> list[tuple[float, bytes]]:
        """Execute the request; what follows on the wire as (wire seconds after the request's end, bytes)."""


class PtyLink:
    """One bus behind a pty. Everything here is wire time and runs in the loop that opened it.

    Attributes:
        path: of the pty's slave, which a program opens as its serial port.
        bytes_received: bytes read from the other side so far. bytes_sent: bytes written to it.
    """

    def __init__(self, plan: LinkPlan, bus: Bus, now: Callable[[], float]) -> None:
        """Open the pty and listen on it in the running loop. Raises OSError."""
        self.bytes_received = 0
        self.bytes_sent = 0
        self._bus = bus
        self._now = now
        self._baud_true = plan.baud_true
        self._character_s = frames.character_s(plan.baud) if plan.baud_true else 0.0
        self._turn_s = frames.silence_s(plan.baud) if plan.baud_true else 0.0
        self._silence_s = frames.silence_s(plan.baud) if plan.baud_true else _LOOSE_SILENCE_S
        self._buffer = bytearray()
        self._last_byte_s = now()
        self._free_s = 0.0
        self._timers: set[asyncio.TimerHandle] = set()
        self._loop = asyncio.get_running_loop()
        # The slave stays open here, so that the other side can close and open it without hanging up the line.
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.path = os.ttyname(self._slave)
        self._loop.add_reader(self._master, self._readable)

    def close(self) -> None:
        """Stop listening and close the pty."""
        self._loop.remove_reader(self._master)
        for timer in self._timers:
            timer.cancel()
        self._timers.clear()
        os.close(self._master)
        os.close(self._slave)

    def _at(self, due_s: float, call: Callable[[], None]) -> None:
        """Call at this wire time, at once if it has come."""
        wait_s = due_s - self._now()
        if wait_s <= 0.0:
            call()
            return

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
        self.bytes_received += len(data)
        if now_s > self._last_byte_s + self._silence_s:
            self._buffer.clear()
        self._last_byte_s = max(now_s, self._last_byte_s) + len(data) * self._character_s
        self._buffer += data
        if len(self._buffer) > frames.LONGEST_FRAME:
            self._buffer.clear()
        self._take_frames()

    def _take_frames(self) -> None:
        """Take whole requests off the buffer; what is not one is dropped, as a device would up to the next silence."""
        while self._buffer:
            length = frames.request_length(bytes(self._buffer))
            if length is None or length > len(self._buffer):
                return
            if length == 0:
                self._at(self._last_byte_s + self._silence_s, self._end_by_silence)
                return
            frame = bytes(self._buffer[:length])
            if not frames.crc_fits(frame):
                self._buffer.clear()
                return
            del self._buffer[:length]
            end_s = self._last_byte_s - len(self._buffer) * self._character_s
            self._at(end_s, lambda frame=frame, end_s=end_s: self._take(frame, end_s))  # type: ignore[misc]

    def _end_by_silence(self) -> None:
        """An unknown function code: the frame ends where the bytes do."""
        if self._now() + 1e-6 < self._last_byte_s + self._silence_s:
            return
        frame = bytes(self._buffer)
        self._buffer.clear()
        if frames.crc_fits(frame):
            self._take(frame, self._last_byte_s)

    def _take(self, frame: bytes, arrived_s: float) -> None:
        for delay_s, answer in self._bus.transact(frame, arrived_s):
            begin_s = max(arrived_s + self._turn_s + delay_s, self._free_s)
            self._free_s = begin_s + len(answer) * self._character_s
            self._send(answer, 0, begin_s)

    def _send(self, answer: bytes, done: int, begin_s: float) -> None:
        """Let the bytes appear when their last bit would have passed; all at once without true byte timing."""
        if done >= len(answer):
            return
        due_s = begin_s + (done + 1) * self._character_s

        def write() -> None:
            passed = len(answer)
            if self._baud_true:
                passed = min(int((self._now() - begin_s) / self._character_s + 1e-6), len(answer))
            passed = max(passed, done + 1)
            self._write(answer[done:passed])
            self._send(answer, passed, begin_s)

        self._at(due_s, write)

    def _write(self, data: bytes) -> None:
        try:
            self.bytes_sent += os.write(self._master, data)
        except BlockingIOError:
            # Nobody has read for long and the pty is full: as on a wire, the bytes are lost.
            return
