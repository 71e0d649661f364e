"""Channels that come with something else: a supply's own values, contacts, and signs of life."""

from __future__ import annotations

from dataclasses import dataclass

from supervisor.config.model import LineDocument
from supervisor.config.profile import HEARTBEAT, DeviceProfile

SUPPLY_CHANNELS = {
    "current": "current",
    "voltage": "voltage",
    "output-state": "output",
    "mode": "mode",
    "set-current": "set_current",
    "set-voltage": "set_voltage",
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
        for end, point in SUPPLY_CHANNELS.items():
            if table.control == "remote" or point in METERED:
                found[f"{supply}-{end}"] = Automatic(table.device, point, f"supply {supply}")
    for contact, entry in document.contacts.items():
        found[contact] = Automatic(entry.device, entry.point, f"contact {contact}")
    for device, profile in profiles.items():
        if has_heartbeat(profile):
            found[f"{device}-{HEARTBEAT}"] = Automatic(device, HEARTBEAT, f"device {device}")
    return found


def has_heartbeat(profile: DeviceProfile) -> bool:
    """Whether a device of this kind shows a sign of life of its own."""
    return profile.role == "module" and HEARTBEAT in profile.points
