"""A serial bus as a pty: takes requests apart, lets the devices answer, and keeps the wire's own times."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from simulators import modbus_frames as frames
from simulators.plan import LinkPlan
from simulators.pty import Piece, Pty

# Without true byte timing a frame comes in one piece; what follows later than this is another one.
_LOOSE_SILENCE_S = 0.005


class Bus(Protocol):
    """What happens with a request that has come over the wire whole and with a good check sum."""

    def transact(self, frame: bytes, arrived_s: float, head: bytes = b"") -> list[Piece]:
        """Execute the request, an RTU frame; what follows on the wire, each delay counted from the request's end.

        `head`, transaction and protocol of a TCP request, asks for TCP frames.
        """


class PtyLink(Pty):
    """One Modbus bus behind a pty."""

    def __init__(self, plan: LinkPlan, bus: Bus, now: Callable[[], float]) -> None:
        """Open the pty and listen on it in the running loop. Raises OSError."""
        super().__init__(now, frames.character_s(plan.baud) if plan.baud_true else 0.0)
        self._bus = bus
        self._turn_s = frames.silence_s(plan.baud) if plan.baud_true else 0.0
        self._silence_s = frames.silence_s(plan.baud) if plan.baud_true else _LOOSE_SILENCE_S
        self._buffer = bytearray()

    def _received(self, data: bytes, silence_s: float) -> None:
        if silence_s > self._silence_s:
            self._buffer.clear()
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
        for piece in self._bus.transact(frame, arrived_s):
            begin_s = arrived_s + self._turn_s + piece.delay_s
            self._send(piece.data, begin_s, max(piece.character_s, self._character_s))
