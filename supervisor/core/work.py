"""One step in the making: a draft of the next state with the actions it asks for. Dropped whole if anything fails."""

from __future__ import annotations

from dataclasses import replace

from supervisor.core import anodize, output, switches, telling
from supervisor.core.actions import Action, Answer, ArmTimeOut, Note, SetPoints, Switch, SwitchOff, SwitchOn
from supervisor.core.alarms import Alarm
from supervisor.core.events import Instant
from supervisor.core.setup import LineSetup, SupplySetup
from supervisor.core.state import LineState, SupplyState
from supervisor.core.switches import SwitchState


class Work:
    """Scratch for one step; `state` is replaced as the step goes and taken over by the line at its end."""

    def __init__(self, setup: LineSetup, state: LineState, at: Instant) -> None:
        self.setup = setup
        self.state = state
        self.at = at
        self.actions: list[Action] = []

    # -- supplies and their operations

    def supply(self, name: str) -> SupplyState:
        """Return the state of a supply."""
        return self.state.supplies[name]

    def put(self, name: str, supply: SupplyState) -> None:
        """Replace the state of a supply."""
        self.state = replace(self.state, supplies={**self.state.supplies, name: supply})

    def put_operation(self, name: str, operation: anodize.Operation | None) -> None:
        """Replace what runs under a supply."""
        self.put(name, replace(self.supply(name), operation=operation))

    def fault(self, name: str, cause: str) -> None:
        """Note a cause that an event showed; it stands until off is proven."""
        supply = self.supply(name)
        self.put(name, replace(supply, faults=supply.faults | {cause}))

    def move(self, name: str, trigger: anodize.Trigger, why: str = "") -> bool:
        """Move the operation under a supply; leaving the energised states commands off in this very step (R2).

        Returns whether the trigger meant anything in the operation's state.
        """
        before = self.supply(name).operation
        after = anodize.move(before, trigger, why) if before is not None else None
        if before is None or after is None:
            return False
        self.put_operation(name, after)
        self.note_move(name, after, why)
        if before.energised and not after.energised:
            self.switch_off(name)
        return True

    def note_move(self, name: str, after: anodize.Operation, why: str) -> None:
        """Tell that an operation changed its state."""
        reason = f" ({why})" if why else ""
        text = f"{name}: load {after.load} is {after.state}{reason}."
        self.actions.append(
            Note("operation", name, text, {"state": after.state, "load": after.load, "operation": after.id, "why": why})
        )

    # -- actions that reach a wire

    def number(self) -> int:
        """Count one more action that reaches a wire."""
        self.state = replace(self.state, actions=self.state.actions + 1)
        return self.state.actions

    def switch_off(self, name: str) -> None:
        """Command off, for the first time or again, and begin its proof.

        A supply with knobs is ended by its contactor; without one nothing but its person can, and readings tell.
        """
        supply, setup = self.supply(name), self.supply_setup(name)
        asked = output.ask_off(supply.output, self.at.wire_s)
        if setup.control == "none":
            asked = output.confirmed(asked, self.at.process_s)
        self.put(name, replace(supply, output=asked))
        if setup.control == "remote":
            self.actions.append(SwitchOff(name, self.number(), self.at.wire_s))
        elif setup.contactor is not None:
            switches.command(self, setup.contactor, on=False)

    def set_points(self, name: str, current_a: float, voltage_v: float) -> int:
        """Send set points; return the action's number."""
        number = self.number()
        self.actions.append(SetPoints(name, number, self.at.wire_s, current_a, voltage_v))
        return number

    def arm(self, name: str) -> None:
        """Have the device arm its own communication time-out, where it has one; nothing confirmed before counts."""
        self.put(name, replace(self.supply(name), armed=False))
        time_out_s = self.supply_setup(name).device_time_out_s
        if time_out_s is not None:
            self.actions.append(ArmTimeOut(name, self.number(), time_out_s))

    def switch_on(self, name: str) -> None:
        """Command on. Only `energise` calls this, after every permissive held a second time (R1)."""
        self.put(name, replace(self.supply(name), output=output.ask_on()))
        self.actions.append(SwitchOn(name, self.number(), self.at.wire_s))

    def wanted_on(self, name: str) -> None:
        """Note that current may flow by the core's will, where that takes no command to the supply itself."""
        self.put(name, replace(self.supply(name), output=output.ask_on()))

    def put_switch(self, name: str, state: SwitchState) -> None:
        """Replace the state of an output that is no supply's."""
        self.state = replace(self.state, outputs={**self.state.outputs, name: state})

    def send_switch(self, name: str, number: int, *, on: bool, safe: bool) -> None:
        """Send a switch command. Only `switches.command` calls this."""
        self.actions.append(Switch(name, number, self.at.wire_s, on, safe))

    # -- people

    def answer(self, request: str, reasons: tuple[str, ...] = (), **data: str) -> None:
        """Answer a request; refused if there is any reason."""
        self.actions.append(Answer(request, not reasons, reasons, dict(data)))

    # -- alarms

    def alarm(self, subject: str, cause: str, present: bool) -> None:
        """Let an alarm follow its cause."""
        telling.follow(self, subject, cause, present=present)

    def switched(self, output: str) -> None:
        """An output, a supply's under the supply's name, was switched just now, at the latest."""
        self.state = replace(self.state, switched={**self.state.switched, output: self.at.process_s})

    def current_over(self, subject: str) -> bool:
        """Whether current may flow in what a subject acts on: an operation's, not proven off, or nobody's at all."""
        return any(
            _may_flow(supply) for name, supply in self.state.supplies.items() if subject in self.setup.over_supply[name]
        )

    def groups(self, subject: str) -> frozenset[str]:
        """The supplies and tanks a subject acts on, and the device it hangs on: what shares one may share a cause."""
        setup = self.setup
        found = {name for over in (setup.over_supply, setup.over_tank) for name, of in over.items() if subject in of}
        if subject in setup.outputs:
            found.add(setup.outputs[subject].device)
        if subject in setup.contacts:
            found.add(setup.channels[setup.contacts[subject].channel].device)
        return frozenset(found | {subject})

    def suspect(self, alarm: Alarm) -> None:
        """Mark the loads under an alarm; the first reason stays."""
        for name, supply in self.state.supplies.items():
            operation = supply.operation
            mine = alarm.subject in self.setup.over_supply[name] and operation is not None and not operation.over
            load = self.state.loads.get(operation.load) if mine and operation is not None else None
            if load is not None and not load.suspect:
                load = replace(load, suspect=alarm.cause)
                self.state = replace(self.state, loads={**self.state.loads, load.id: load})

    # -- shorthand

    def supply_setup(self, name: str) -> SupplySetup:
        """Return the settings of a supply."""
        return self.setup.supplies[name]


def _may_flow(supply: SupplyState) -> bool:
    operation = supply.operation
    if "current-without-operation" in supply.faults:
        return True
    return operation is not None and not operation.over and (operation.energised or not supply.output.proven_off)
