"""One state of the line in the explorer's hands, and the timers in it moved to their end.

Time hardly passes there: a millisecond with every event, so that its order is kept. A timer that is to be over has its
beginning moved back instead, alone, so that each can end while any other runs.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from supervisor.core.alarms import Alarm
from supervisor.core.anodize import Operation, State
from supervisor.core.dose import Dose
from supervisor.core.events import Instant
from supervisor.core.setup import LineSetup, SupplySetup
from supervisor.core.state import Latest, LineState, SupplyState
from supervisor.core.switches import SwitchState
from supervisor.trade.charge import Interval
from tests.exploration.rules import NoDate

NAME = "main"
STEP_S = 1e-3
WIRE_AHEAD_S = 400.0
"""Wire time is far from process time, so that one taken for the other shows."""

TODAY = NoDate(1.79e9)
BARELY_C = 1e-6
"""How much less than its target an operation has that is all but there, C."""

BARELY_S = 1e-6
"""How much longer than it may a timer has run that is over, s: more than rounding takes away."""


@dataclass(frozen=True, slots=True)
class Moment:
    """A line of one supply at the moment of its next event; `count` makes ids that were never used."""

    setup: LineSetup
    state: LineState
    at: Instant
    count: int

    @property
    def supply(self) -> SupplyState:
        return self.state.supplies[NAME]

    @property
    def of(self) -> SupplySetup:
        return self.setup.supplies[NAME]

    @property
    def operation(self) -> Operation | None:
        """What runs, or ran, under the supply; None too where it is over and nothing more comes of it."""
        operation = self.supply.operation
        return None if operation is None or operation.over else operation

    @property
    def switch(self) -> SwitchState | None:
        """The contactor."""
        return self.state.outputs.get(self.of.contactor) if self.of.contactor is not None else None

    @property
    def may_reach_its_target(self) -> bool:
        """Whether reaching it would still end the operation by it."""
        return self.operation is not None and self.operation.state not in {State.STOPPING, State.ABORTING}

    def with_supply(self, **changes: object) -> LineState:
        supply = replace(self.supply, **changes)  # type: ignore[arg-type]
        return replace(self.state, supplies={**self.state.supplies, NAME: supply})

    def with_output(self, **changes: object) -> LineState:
        return self.with_supply(output=replace(self.supply.output, **changes))  # type: ignore[arg-type]

    def with_operation(self, **changes: object) -> LineState:
        assert self.operation is not None
        return self.with_supply(operation=replace(self.operation, **changes))  # type: ignore[arg-type]

    def with_switch(self, **changes: object) -> LineState:
        name, switch = self.of.contactor, self.switch
        assert name is not None
        assert switch is not None
        return replace(self.state, outputs={**self.state.outputs, name: replace(switch, **changes)})  # type: ignore[arg-type]

    def nearly_there(self) -> LineState:
        """The operation all but at its target, with its full current flowing."""
        operation = self.operation
        assert operation is not None
        plan = operation.plan
        charge = Interval(0.9 * plan.target_c, plan.target_c - BARELY_C, 1.1 * plan.target_c)
        flows = Interval(0.9 * plan.current_a, plan.current_a, 1.1 * plan.current_a)
        return self.with_operation(dose=replace(operation.dose, charge=charge, last=flows, steps_s=()))

    def after_a_gap(self, seconds: float) -> LineState:
        """The newest reading that was counted lies so much further back."""
        operation = self.operation
        assert operation is not None
        dose: Dose = operation.dose
        assert dose.last_s is not None
        return self.with_operation(dose=replace(dose, last_s=dose.last_s - seconds, steps_s=()))

    def silent(self, channel: str, longest_s: float) -> LineState:
        """No good reading of a channel for as long as is borne; what was never heard since the start is silent too."""
        old_s = self.at.process_s - longest_s - STEP_S
        state = replace(self.state, heard_from_s=min(self.state.heard_from_s, old_s))
        latest = state.channels.get(channel)
        if latest is None or latest.good_s is None:
            return state
        aged: Latest = replace(latest, at_s=min(latest.at_s, old_s), good_s=old_s)
        return replace(state, channels={**state.channels, channel: aged})

    def with_alarms(self, change: Callable[[Alarm], Alarm]) -> LineState:
        return replace(self.state, alarms={name: change(alarm) for name, alarm in self.state.alarms.items()})


def moment(setup: LineSetup, state: LineState, process_s: float, count: int) -> Moment:
    return Moment(setup, state, Instant(process_s, process_s + WIRE_AHEAD_S, TODAY), count)
