"""How a simulated line and the core that supervises it stand: the same questions to every harness that holds both."""

from __future__ import annotations

from abc import ABC, abstractmethod

from simulators.line import SimulatedLine
from simulators.supply import Supply
from supervisor.core.anodize import Operation, State
from supervisor.core.state import LineState, SupplyState


class Standing(ABC):
    """A line with one supply, `main`, and the one simulated supply it stands for.

    Attributes:
        simulated: the physics.
    """

    simulated: SimulatedLine

    @property
    @abstractmethod
    def state(self) -> LineState:
        """What the core knows."""

    @property
    def supply(self) -> SupplyState:
        """What the core knows of the one supply."""
        return self.state.supplies["main"]

    @property
    def operation(self) -> Operation:
        """What runs under the one supply."""
        operation = self.supply.operation
        assert operation is not None
        return operation

    @property
    def stands(self) -> State:
        """Where the operation stands."""
        operation = self.supply.operation
        return State.IDLE if operation is None else operation.state

    @property
    def alarms(self) -> set[str]:
        """The alarms that are not normal."""
        return {name for name, alarm in self.state.alarms.items() if alarm.state != "normal"}

    @property
    def simulated_supply(self) -> Supply:
        """The one supply as it truly is."""
        (supply,) = self.simulated.supplies.values()
        return supply

    @property
    def true_charge_c(self) -> float:
        """The charge that truly went through the part, C."""
        return self.simulated_supply.charge_c

    def truly_on(self) -> bool:
        """Whether the output is truly on."""
        return self.simulated_supply.is_on

    def switch_on_by_hand(self) -> None:
        """Let somebody set 1 A and 20 V at the supply's own knobs and switch it on."""
        rectifier = self.simulated_supply
        rectifier.set_current(1.0)
        rectifier.set_voltage(20.0)
        rectifier.switch(on=True)
