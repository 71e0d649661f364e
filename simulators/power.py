"""The mains of a supply, a module or a board: there, gone, or back with the device still booting."""

from __future__ import annotations

import math
from collections.abc import Callable


class Power:
    """What feeds one device. Times are process time.

    Attributes:
        is_up: whether it has power and has booted.
    """

    __slots__ = ("_boot_s", "_goes", "_ready_s", "_returns", "is_up")

    def __init__(self, boot_s: float, goes: Callable[[], None], returns: Callable[[], None]) -> None:
        """Begin as one that has booted.

        Args:
            boot_s: how long it boots, s.
            goes: called when its power goes.
            returns: called when it has booted again.
        """
        self.is_up = True
        self._boot_s = boot_s
        self._goes = goes
        self._returns = returns
        self._ready_s = math.inf

    def cut(self) -> None:
        """Take the power away; a boot that was under way begins anew after it."""
        self._ready_s = math.inf
        if self.is_up:
            self.is_up = False
            self._goes()

    def give(self, now_s: float) -> None:
        """Give the power back at this time, s; it boots first."""
        self._ready_s = now_s + self._boot_s
        self.go_on(now_s)

    @property
    def is_booting(self) -> bool:
        """Whether its power is back and it is not up yet."""
        return self._ready_s < math.inf

    def ready_in_s(self, now_s: float) -> float:
        """How long it still boots, s; infinite where it does not."""
        return self._ready_s - now_s

    def go_on(self, now_s: float) -> None:
        """Let it be ready if its time has come, s."""
        if self._ready_s <= now_s + 1e-9:
            self._ready_s = math.inf
            self.is_up = True
            self._returns()
