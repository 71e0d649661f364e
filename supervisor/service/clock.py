"""The only place that asks what time it is: wire time as it is, process time scaled, wall time for people."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from supervisor.core.events import Instant, Wake

BOOT_ID = Path("/proc/sys/kernel/random/boot_id")


def boot_clock_s() -> float:
    """Seconds since boot, suspend included: current flows while a computer sleeps."""
    return time.clock_gettime(time.CLOCK_BOOTTIME)


def boot_id() -> str:
    """Return the kernel's id of this boot; "" where it has none."""
    try:
        return BOOT_ID.read_text(encoding="ascii").strip()
    except OSError:
        return ""


@dataclass(frozen=True)
class Clock:
    """Three clocks in one.

    Attributes:
        now: wire time, s since boot. wall: UTC seconds since 1970.
        speed: process seconds per wire second; 1 but in the demo and in campaigns.
    """

    now: Callable[[], float] = field(default=boot_clock_s)
    wall: Callable[[], float] = field(default=time.time)
    speed: float = 1.0

    def instant(self) -> Instant:
        """Return this moment on all three."""
        wire_s = self.now()
        return Instant(wire_s * self.speed, wire_s, self.wall())

    def process_s(self, wire_s: float) -> float:
        """Return the process time of a moment in wire time."""
        return wire_s * self.speed

    def until_s(self, wake: Wake) -> float | None:
        """Return the wire time left until a wake, s, never below 0; None where there is none."""
        moments = [] if wake.process_s is None else [wake.process_s / self.speed]
        moments += [] if wake.wire_s is None else [wake.wire_s]
        return max(0.0, min(moments) - self.now()) if moments else None
