"""Where the reading of each channel goes: the table built once, so that a step costs the same on a line of any size."""

from __future__ import annotations

from dataclasses import dataclass

from supervisor.core.setup import LineSetup, SupplySetup

OF_SUPPLY = (
    "current", "voltage", "output_state", "mode", "set_current", "set_voltage", "uptime", "restarted", "counter",
)  # fmt: skip
"""What is read of a supply, as its settings name it."""


@dataclass(frozen=True, slots=True)
class Route:
    """Where a channel's reading goes: `tank`, `supply`, `contact` or `device` by name; of a supply which reading it is.

    A supply's auxiliary contact, and a reading of a device that is only watched, say no more than that supply or device
    must be looked at; another device's is its heartbeat.
    """

    tank: str = ""
    supply: str = ""
    what: str = ""
    device: str = ""
    contact: str = ""

    @property
    def name(self) -> str:
        """What must be looked at."""
        return self.tank or self.supply or self.device or self.contact


def routes(setup: LineSetup) -> dict[str, tuple[Route, ...]]:
    """Build the subscription table once, so that a step costs the same on a line of any size."""
    table: dict[str, list[Route]] = {name: [] for name in setup.channels}
    for tank in setup.tanks.values():
        for channel, what in ((tank.temperature, ""), (tank.second, "second")):
            if channel:
                table[channel].append(Route(tank=tank.name, what=what))
    for supply in setup.supplies.values():
        for channel, what in _of_supply(setup, supply):
            table[channel].append(Route(supply=supply.name, what=what))
    for beat in setup.heartbeats.values():
        table[beat.channel].append(Route(device=beat.device, what="heartbeat"))
    for watch in setup.watches.values():
        for channel in watch.channels:
            table[channel].append(Route(device=watch.device))
    for contact in setup.contacts.values():
        table[contact.channel].append(Route(contact=contact.name))
    return {name: tuple(found) for name, found in table.items()}


def _of_supply(setup: LineSetup, supply: SupplySetup) -> list[tuple[str, str]]:
    """Every channel that tells of a supply, with what it tells."""
    found = [(getattr(supply, what), what) for what in OF_SUPPLY if getattr(supply, what)]
    auxiliary = setup.outputs[supply.contactor].auxiliary if supply.contactor is not None else None
    return found if auxiliary is None else [*found, (auxiliary, "auxiliary")]
