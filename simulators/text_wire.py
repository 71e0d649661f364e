"""A serial line of text as a pty: gathers bytes into lines for a device and lets what it says appear."""

from __future__ import annotations

from collections.abc import Callable

from simulators.plan import LinkPlan
from simulators.pty import Pty

# Start bit, eight data bits, no parity, stop bit: 8N1.
BITS_PER_CHARACTER = 10
# A device's input buffer: of a longer line nothing is heard.
LONGEST_LINE = 1024

Hear = Callable[[bytes, float], None]
"""Takes a line without its end and the wire time at which its end has come, s."""


class TextPtyLink(Pty):
    """One text device behind a pty. Either side speaks when it likes; what one says never mixes with itself."""

    def __init__(self, plan: LinkPlan, hear: Hear, now: Callable[[], float], ends: bytes = b"\r\n") -> None:
        """Open the pty and listen on it in the running loop. Raises OSError.

        Args:
            plan: speed of the wire and whether to keep it.
            hear: takes each line that has come; empty ones are left out, as the second half of CR LF is one.
            now: wire time, s, of the same clock that the loop's timers follow.
            ends: the bytes of which each one ends a line.
        """
        super().__init__(now, BITS_PER_CHARACTER / plan.baud if plan.baud_true else 0.0)
        self._hear = hear
        self._ends = ends
        self._line = bytearray()

    def _received(self, data: bytes, silence_s: float) -> None:
        del silence_s
        for place, byte in enumerate(data):
            if byte not in self._ends:
                self._line.append(byte)
                continue
            line = bytes(self._line)
            self._line.clear()
            if 0 < len(line) <= LONGEST_LINE:
                arrived_s = self._last_byte_s - (len(data) - 1 - place) * self._character_s
                self._at(arrived_s, lambda line=line, arrived_s=arrived_s: self._hear(line, arrived_s))  # type: ignore[misc]
        del self._line[LONGEST_LINE + 1 :]
