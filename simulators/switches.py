"""Relays and contacts: what is commanded, what truly is, and what a contact shows of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from simulators.plan_process import ContactPlan, SwitchPlan


@dataclass(slots=True)
class Stuck:
    """What is wrong with a switch: it does not open, does not move at all, or stands still though it has current.

    A heater that is burnt out is on and gives nothing.
    """

    welded: bool = False
    held: bool = False
    stopped: bool = False
    burnt_out: bool = False


class Switch:
    """A relay with what it drives.

    Attributes:
        plan: what it drives.
        commanded: what its coil was told last.
        is_on: what it truly does.
        wrong: what faults make of it; call `follow` after a change.
        told: called after every command or change with the cause and whether the true state changed.
    """

    __slots__ = ("commanded", "is_on", "plan", "told", "wrong")

    def __init__(self, plan: SwitchPlan) -> None:
        self.plan = plan
        self.commanded = plan.rests_on
        self.is_on = plan.rests_on
        self.wrong = Stuck()
        self.told: Callable[[str, bool], None] | None = None

    @property
    def power_w(self) -> float:
        """What the heater or cooling that it drives gives or takes now, W."""
        return self.plan.power_w if self.is_on and not self.wrong.burnt_out else 0.0

    def command(self, on: bool, cause: str = "command") -> None:
        """Tell the coil to be on or off; it moves at once, if it can."""
        self.commanded = on
        changed = self._move()
        if self.told is not None:
            self.told(cause, changed)

    def rest(self, cause: str) -> None:
        """Let go of the coil, if it is not at rest already."""
        if self.commanded is not self.plan.rests_on:
            self.command(self.plan.rests_on, cause)

    def follow(self) -> None:
        """Move to where the command and the faults agree on now."""
        if self._move() and self.told is not None:
            self.told("fault", True)

    def _move(self) -> bool:
        before = self.is_on
        if not self.wrong.held and not (self.wrong.welded and self.is_on):
            self.is_on = self.commanded and not self.wrong.stopped
        return self.is_on != before


class Contact:
    """A contact in a loop of current: closed when healthy, so that a broken wire shows as open.

    A button's is closed while a hand holds it down.

    Attributes:
        is_broken: a fault has opened it, or its wire.
        is_pressed: a hand holds the button down.
        bounces: since when a button that bounces does so and how long each half of it takes, s of process time.
    """

    __slots__ = ("_is_button", "_is_well", "_now", "bounces", "is_broken", "is_pressed")

    def __init__(self, plan: ContactPlan, is_well: Callable[[], bool], now: Callable[[], float]) -> None:
        """Begin as healthy.

        Args:
            plan: what it is.
            is_well: whether what it watches is as it should be.
            now: process time, s.
        """
        self.is_broken = False
        self.is_pressed = False
        self.bounces: tuple[float, float] | None = None
        self._is_button = plan.kind == "button"
        self._is_well = is_well
        self._now = now

    @property
    def is_closed(self) -> bool:
        """What an input sees."""
        return not self.is_broken and (self._is_touched() if self._is_button else self._is_well())

    def _is_touched(self) -> bool:
        if self.bounces is None:
            return self.is_pressed
        began_s, half_s = self.bounces
        return int((self._now() - began_s) / half_s) % 2 == 0
