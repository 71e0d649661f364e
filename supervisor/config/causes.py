"""The causes that a line can have: what could never be there for want of its sensor or output is left out."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from supervisor.core.effects import Also
from supervisor.core.interlocks import CAUSES
from supervisor.core.possible import possible_alarms
from supervisor.core.setup import LineSetup

URGENT = frozenset({"contactor", "heater"})

_Fitted = Callable[[LineSetup, str], bool]


def causes_of_line(setup: LineSetup) -> dict[str, tuple[str, ...]]:
    """Every cause the line can have with the subjects that can have it, in the order of the table."""
    alarms = [name.split("/") for name in sorted(possible_alarms(setup))]
    found = {}
    for cause in CAUSES:
        fitted = _NEEDS.get(cause)
        subjects = (subject for subject, other in alarms if other == cause)
        able = tuple(subject for subject in subjects if fitted is None or fitted(setup, subject))
        if able:
            found[cause] = able
    return found


def fitted_also(setup: LineSetup, subjects: Iterable[str]) -> frozenset[Also]:
    """What a cause of one of these subjects can do here beside its effect."""
    found: set[Also] = set()
    for subject in subjects:
        supplies = (setup.supplies[name] for name, over in setup.over_supply.items() if subject in over)
        tanks = (setup.tanks[name] for name, over in setup.over_tank.items() if subject in over)
        if any(supply.contactor is not None for supply in supplies):
            found.add("contactor open")
        if any(tank.heating is not None for tank in tanks):
            found.add("heater off")
    return frozenset(found)


def _remote(setup: LineSetup, supply: str) -> bool:
    return setup.supplies[supply].control == "remote"


def _by_hand(setup: LineSetup, supply: str) -> bool:
    return setup.supplies[supply].control != "remote"


def _contactor(setup: LineSetup, supply: str) -> bool:
    return setup.supplies[supply].contactor is not None


def _shown_auxiliary(setup: LineSetup, output: str) -> bool:
    return setup.outputs[output].role == "contactor" and setup.outputs[output].auxiliary is not None


def _urgent(setup: LineSetup, output: str) -> bool:
    return setup.outputs[output].role in URGENT


def _unhurried(setup: LineSetup, output: str) -> bool:
    return setup.outputs[output].role not in {"supply output", *URGENT}


def _attended(setup: LineSetup, tank: str) -> bool:
    heating = setup.tanks[tank].heating
    return heating is not None and heating.attended_s is not None


_NEEDS: dict[str, _Fitted] = {
    "contactor-dropped": _contactor,
    "contactor-failed": _contactor,
    "not-ready": _contactor,
    "contactor-stuck": _shown_auxiliary,
    "output-dropped": _remote,
    "settings-differ": _remote,
    "command-failed": _remote,
    "voltage-ceiling": _remote,
    "ramp-not-confirmed": _by_hand,
    "current-off-plan": _by_hand,
    "switch-off-by-hand": lambda setup, supply: setup.supplies[supply].control == "none",
    "supply-restarted": lambda setup, supply: bool(setup.supplies[supply].uptime or setup.supplies[supply].restarted),
    "heartbeat-lost": lambda setup, device: device in setup.heartbeats,
    "communication-lost": lambda setup, device: device in setup.watches,
    "urgent-switch-failed": _urgent,
    "switch-failed": _unhurried,
    "no-rise": lambda setup, tank: setup.tanks[tank].heating is not None,
    "no-fall": lambda setup, tank: setup.tanks[tank].cooling is not None,
    "heating-unattended": _attended,
}
"""What must be fitted for a cause to be there at all."""
