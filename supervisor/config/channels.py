"""Channels that come with something else: a supply's own values, contacts, and signs of life."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from supervisor.config.model import LineDocument, SupplyTable
from supervisor.config.profile import HEARTBEAT, OPTIONAL_POINTS, DeviceProfile

SUPPLY_CHANNELS = {
    "current": "current",
    "voltage": "voltage",
    "output-state": "output",
    "mode": "mode",
    "set-current": "set_current",
    "set-voltage": "set_voltage",
    "uptime": "uptime",
    "restarted": "restarted",
    "counter": "charge",
}
"""End of a supply channel's name (after the supply's own and a hyphen), by the point it is read from."""

METERED = ("current", "voltage")
"""What is read of a supply with knobs."""


@dataclass(frozen=True, slots=True)
class Automatic:
    """A channel nobody writes down: the device and point it is read from, and what makes it, for people."""

    device: str
    point: str
    of: str


def automatic_channels(document: LineDocument, profiles: dict[str, DeviceProfile]) -> dict[str, Automatic]:
    """Every channel that comes with something else, by name. What is not known of that is left out."""
    found: dict[str, Automatic] = {}
    for supply, table in document.supplies.items():
        fitted = _points_read(table, profiles.get(table.device))
        for end, point in SUPPLY_CHANNELS.items():
            if point in fitted:
                found[f"{supply}-{end}"] = Automatic(table.device, point, f"supply {supply}")
    for contact, entry in document.contacts.items():
        found[contact] = Automatic(entry.device, entry.point, f"contact {contact}")
    for device, profile in profiles.items():
        if has_heartbeat(profile):
            found[f"{device}-{HEARTBEAT}"] = Automatic(device, HEARTBEAT, f"device {device}")
    return found


def _points_read(supply: SupplyTable, profile: DeviceProfile | None) -> Collection[str]:
    if supply.control != "remote":
        return METERED
    return set(SUPPLY_CHANNELS.values()) - (OPTIONAL_POINTS - (profile.points.keys() if profile else set()))


def has_heartbeat(profile: DeviceProfile) -> bool:
    """Whether a device of this kind shows a sign of life of its own."""
    return profile.role == "module" and HEARTBEAT in profile.points
