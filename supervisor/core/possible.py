"""Every alarm that a line can have, by name: a cause needs a subject of its kind."""

from __future__ import annotations

from supervisor.core.calibrated import instruments
from supervisor.core.contacts import causes_of
from supervisor.core.interlocks import CAUSES
from supervisor.core.setup import ContactSetup, LineSetup

_NEEDS = {
    "temperature-doubted": "believe", "second-sensor-lost": "second", "no-rise": "heating",
    "heating-unattended": "heating", "no-fall": "cooling",
}  # fmt: skip
"""Causes that only a tank with this can have."""

_UNDER_CURRENT = {"bath-will-overheat"}
"""Causes that only a tank with a supply can have."""


def possible_alarms(setup: LineSetup) -> frozenset[str]:
    """Names, SUBJECT/CAUSE, of all alarms that this line can have."""
    subjects: dict[str, tuple[str, ...]] = {
        "supply": tuple(setup.supplies),
        "tank": tuple(setup.tanks),
        "output": tuple(setup.outputs),
        "device": (*setup.heartbeats, *setup.watches),
        "channel": tuple(instruments(setup)),
    }
    names = {
        f"{subject}/{cause}"
        for cause, row in CAUSES.items()
        if row.about != "contact"
        for subject in subjects[row.about]
        if cause not in _NEEDS or getattr(setup.tanks[subject], _NEEDS[cause])
        if cause not in _UNDER_CURRENT or any(supply.tank == subject for supply in setup.supplies.values())
    }
    return frozenset(names | {f"{one.name}/{cause}" for one in setup.contacts.values() for cause in _of(setup, one)})


def _of(setup: LineSetup, contact: ContactSetup) -> tuple[str, ...]:
    return ("button-held",) if contact.role == "button" else causes_of(setup, contact)
