"""One step of a line as the rules look at it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from supervisor.core.actions import Action, SetPoints, Switch, SwitchOff, SwitchOn
from supervisor.core.anodize import Operation
from supervisor.core.events import Event, Quality, Reading, Request, Scanned, Wake, Woken
from supervisor.core.setup import LineSetup, SupplySetup
from supervisor.core.state import LineState, SupplyState

Told = SwitchOff | SwitchOn | SetPoints | Switch

RAISES = frozenset({"start", "restart", "heat", "confirm"})


@dataclass(frozen=True, slots=True)
class Seen:
    """What went into one step and what came out of it."""

    setup: LineSetup
    before: LineState
    event: Event
    actions: tuple[Action, ...]
    after: LineState
    wake: Wake

    @property
    def process_s(self) -> float:
        """Process time of the step."""
        return self.event.at.process_s

    @property
    def wire_s(self) -> float:
        """Wire time of the step."""
        return self.event.at.wire_s

    @property
    def asks_afresh(self) -> bool:
        """Whether the event is a request that must be looked at: not stored, expired, from the future or done before.

        One that raises energy must be newer than the newest that took some away.
        """
        event = self.event
        if not isinstance(event, Request) or event.retained or event.id in self.before.requests:
            return False
        lowered_s = self.before.lowered_wire_s
        if event.what in RAISES and lowered_s is not None and event.made_wire_s <= lowered_s:
            return False
        return event.at.wire_s < event.expires_wire_s and event.made_wire_s <= event.at.wire_s + 1.0

    def switches(self, output: str) -> list[Switch]:
        """What an output was told in this step."""
        return [action for action in self.actions if isinstance(action, Switch) and action.output == output]

    def is_safe(self, switch: Switch) -> bool:
        """Whether a command is one to an output's safe state; its own word for that says how it is sent."""
        return switch.on is self.setup.outputs[switch.output].safe_on

    def read(self, channel: str) -> Reading | None:
        """What a channel was read to be in this step, good or not."""
        readings = self.event.readings if isinstance(self.event, Scanned) else ()
        return next((reading for reading in readings if reading.channel == channel), None)

    def good(self, channel: str) -> float | None:
        """Return the value of a good reading of a channel in this step."""
        reading = self.read(channel)
        return reading.value if reading is not None and is_good(reading) else None

    def supplies(self) -> Iterator[Around]:
        """Return one view of the step for each supply."""
        return (around(self, name) for name in self.setup.supplies)


def by(wake_s: float | None, due_s: float) -> bool:
    """Whether the line asked to be woken in time."""
    return wake_s is not None and wake_s <= due_s + 1e-9


def is_good(reading: Reading) -> bool:
    """Whether a reading is evidence of anything."""
    return reading.quality is Quality.GOOD and reading.value is not None and math.isfinite(reading.value)


@dataclass(frozen=True, slots=True)
class Around:
    """One step around one supply; `told` is what went to the supply itself, in its order."""

    seen: Seen
    name: str
    setup: SupplySetup
    was: SupplyState
    now: SupplyState
    told: tuple[SwitchOff | SwitchOn | SetPoints, ...]
    was_energised: bool
    energised: bool

    @property
    def begins(self) -> bool:
        """Whether current may flow by the core's will from this step on."""
        return self.energised and not self.was_energised

    @property
    def ends(self) -> bool:
        """Whether it may no more."""
        return self.was_energised and not self.energised

    @property
    def settled(self) -> bool:
        """Whether the line looked at this supply in this step; what another's event brings may wait for the next."""
        return isinstance(self.seen.event, Woken) or self.now is not self.was

    def has(self, kind: type[Told]) -> bool:
        """Whether the supply was told anything of a kind."""
        return any(isinstance(action, kind) for action in self.told)

    @property
    def low_after_confirmation(self) -> bool:
        """Whether the step has a good low current that was asked for after a confirmed off."""
        event, current_a = self.seen.event, self.seen.good(self.setup.current)
        confirmed_s = self.was.output.confirmed_s
        if current_a is None or confirmed_s is None or not isinstance(event, Scanned):
            return False
        return abs(current_a) < self.setup.off_threshold_a and event.t_sent_s >= confirmed_s

    @property
    def proves_off(self) -> bool:
        """Whether it has the second of two such readings, whatever it does with that afterwards."""
        return self.was.output.low_readings >= 1 and self.low_after_confirmation

    @property
    def same(self) -> tuple[Operation, Operation] | None:
        """The operation before and after, where it is one and the same."""
        was, now = self.was.operation, self.now.operation
        return (was, now) if was is not None and now is not None and was.id == now.id else None


def around(seen: Seen, name: str) -> Around:
    """Look at a step from one supply."""
    was, now = seen.before.supplies[name], seen.after.supplies[name]
    told = tuple(
        action
        for action in seen.actions
        if isinstance(action, SwitchOff | SwitchOn | SetPoints) and action.supply == name
    )
    was_on = was.operation is not None and was.operation.energised
    return Around(
        seen, name, seen.setup.supplies[name], was, now, told, was_on,
        now.operation is not None and now.operation.energised,
    )  # fmt: skip
