"""Relays and contacts: what is commanded, what truly is, and what a contact shows of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from simulators.plan_process import ContactPlan, SwitchPlan


@dataclass(slots=True)
class Stuck:
    """What is wrong with a switch: it does not open, does not move at all, or stands still though it has current."""

    welded: bool = False
    held: bool = False
    stopped: bool = False


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

    def command(self, on: bool, cause: str = "command") -> None:
        """Tell the coil to be on or off; it moves at once, if it can."""
        self.commanded = on
        changed = self._move()
        if self.told is not None:
            self.told(cause, changed)

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

    Attributes:
        is_broken: a fault has opened it, or its wire.
    """

    __slots__ = ("_followed", "is_broken")

    def __init__(self, plan: ContactPlan, switches: dict[str, Switch]) -> None:
        self.is_broken = False
        self._followed = switches[plan.follows] if plan.follows else None

    @property
    def is_closed(self) -> bool:
        """What an input sees."""
        return not self.is_broken and (self._followed is None or self._followed.is_on)
