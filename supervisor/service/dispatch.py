"""What waits to be written on one link: off ahead of everything, and of the rest only what still holds."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass
from typing import Literal, TypeGuard

from supervisor.core.actions import ArmTimeOut, SetPoints, Switch, SwitchOff, SwitchOn
from supervisor.core.events import Command

Setting = Literal["current", "voltage"]


@dataclass(frozen=True, slots=True)
class Frame:
    """One transaction of a supply's command.

    Attributes:
        supply: whose. command: of which it is part. number: of the action. last: whether the command ends with it.
        what: which of the supply's calls. value: A or V for set points, s for a time-out, else 0.
        decided_s: wire time of the step that decided an on, s; 0 for what may wait.
    """

    supply: str
    command: Command
    number: int
    what: Setting | Literal["off", "on", "time-out"]
    value: float = 0.0
    last: bool = True
    decided_s: float = 0.0


class Outbox:
    """Frames waiting for one link, one at a time, so that an off never waits for more than the one in flight.

    An off withdraws whatever of the same supply raises energy; a newer set point replaces an older one, and a newer
    word for a switch an older one. Ways to a safe state go after the supplies' offs and ahead of all else. An off that
    is sent again to a supply that does not answer lets one of them pass: its contactor may be the only way to off.
    """

    def __init__(self) -> None:
        self.arrived = asyncio.Event()
        self._offs: dict[str, Frame] = {}
        self._off_given: set[str] = set()
        self._gave_safe = False
        self._safe: dict[str, Switch] = {}
        self._frames: list[Frame | Switch] = []
        self._given: dict[tuple[str, str], float] = {}

    def put(self, action: SwitchOff | SwitchOn | SetPoints | ArmTimeOut | Switch) -> None:
        """Take an action in."""
        if isinstance(action, SwitchOff):
            self.drop(action.supply)
            self._forget(action.supply)
            self._offs[action.supply] = Frame(action.supply, "off", action.number, "off")
        elif isinstance(action, SwitchOn):
            self._frames.append(Frame(action.supply, "on", action.number, "on", decided_s=action.decided_wire_s))
        elif isinstance(action, ArmTimeOut):
            self._frames.append(Frame(action.supply, "time-out", action.number, "time-out", action.time_out_s))
        elif isinstance(action, Switch):
            self._switch(action)
        else:
            self._set_points(action)
        self.arrived.set()

    def take(self, *, only_safe: bool = False) -> Frame | Switch | None:
        """Give out the next frame, or the next that leads to a safe state; None when there is none."""
        if self._offs and (self.urgent or not self._safe or self._gave_safe):
            off = min(self._offs, key=self._off_given.__contains__)
            self._off_given.add(off)
            self._gave_safe = False
            return self._offs.pop(off)
        if self._safe:
            self._gave_safe = True
            return self._safe.pop(next(iter(self._safe)))
        self._off_given.clear()
        self._gave_safe = False
        if self._frames and not only_safe:
            return self._frames.pop(0)
        self.arrived.clear()
        return None

    @property
    def urgent(self) -> bool:
        """Whether a supply's off waits that was not sent since last nothing of its kind waited."""
        return any(supply not in self._off_given for supply in self._offs)

    @property
    def safe_waits(self) -> bool:
        """Whether a way to a safe state waits that is no supply's."""
        return bool(self._safe)

    def done(self, frame: Frame) -> None:
        """Note a set point as given, so that it is not sent again until it changes or the output was off."""
        if frame.command == "set points" and frame.supply not in self._offs:
            self._given[frame.supply, frame.what] = frame.value

    def drop(self, supply: str) -> list[Frame]:
        """Withdraw what would raise a supply's energy; return it."""
        dropped = [frame for frame in self._frames if _is_of(frame, supply) and frame.command != "time-out"]
        self._frames = [frame for frame in self._frames if frame not in dropped]
        return dropped

    def _switch(self, action: Switch) -> None:
        self._frames = [f for f in self._frames if not (isinstance(f, Switch) and f.output == action.output)]
        if action.safe:
            self._safe[action.output] = action  # in its old place, or it would fall back each time it is asked for
        else:
            self._safe.pop(action.output, None)
            self._frames.append(action)

    def _set_points(self, action: SetPoints) -> None:
        wanted: dict[Setting, float] = {"voltage": action.voltage_v, "current": action.current_a}
        changed = [what for what, value in wanted.items() if self._given.get((action.supply, what)) != value]
        changed = changed or ["current"]
        frames = [
            Frame(action.supply, "set points", action.number, what, wanted[what], last=what == changed[-1])
            for what in changed
        ]
        kept = [f for f in self._frames if not (_is_of(f, action.supply) and f.command == "set points")]
        # In place of the older set points: before an on that waits, so that it never comes on at something else.
        before = any(_is_of(frame, action.supply) for frame in kept)
        self._frames = [*frames, *kept] if before else [*kept, *frames]

    def _forget(self, supply: str) -> None:
        for key in [key for key in self._given if key[0] == supply]:
            del self._given[key]


def _is_of(frame: Frame | Switch, supply: str) -> TypeGuard[Frame]:
    return isinstance(frame, Frame) and frame.supply == supply
