"""Which devices must go on answering, and which operations are held when one does not."""

from __future__ import annotations

from supervisor.config.channels import has_heartbeat
from supervisor.config.load import LineFile
from supervisor.config.model import ContactTable, OutputTable, SupplyTable
from supervisor.config.profile import HEARTBEAT
from supervisor.core.setup import ChannelSetup, HeartbeatSetup, WatchSetup

MOVING = frozenset({"heater", "cooling", "fan", "agitation"})
"""Roles of outputs that a bath or its fumes hang on; lamps and horns only tell."""


AGE_PERIODS = 4.0
"""A reading this many periods old no longer counts: with one answer in 200 lost, two in a row are lost several times a
day on a line that is well, and nobody is to be called for that; three in a row once in weeks."""

_SILENT_SHARE = 3.5 / AGE_PERIODS
"""A device counts as lost sooner than any reading of the same pace grows too old, so that it is named first."""


def heartbeats(line: LineFile, channels: dict[str, ChannelSetup]) -> dict[str, HeartbeatSetup]:
    """The sign of life of every device that has one, by device."""
    beats = {}
    for device, profile in line.profiles.items():
        if has_heartbeat(profile):
            channel = channels[f"{device}-{HEARTBEAT}"]
            beats[device] = HeartbeatSetup(device, channel.name, _silent_after_s(channel), _hanging_on(device, line))
    return beats


def watches(line: LineFile, channels: dict[str, ChannelSetup]) -> dict[str, WatchSetup]:
    """Every device without a sign of life of its own that is read and no supply's, by device.

    A supply's silence is its own cause. What is read for nothing cannot be watched: nothing ever comes from it.
    """
    document = line.document
    of_supplies = {supply.device for supply in document.supplies.values()}
    found = {}
    for device, profile in line.profiles.items():
        read = [channel for channel in channels.values() if channel.device == device]
        if read and device not in of_supplies and not has_heartbeat(profile):
            # The slowest decides: while the others are bad it alone shows that the device is there.
            silent_s = max(_silent_after_s(channel) for channel in read)
            names = tuple(channel.name for channel in read)
            found[device] = WatchSetup(device, names, silent_s, _hanging_on(device, line))
    return found


def _silent_after_s(channel: ChannelSetup) -> float:
    return _SILENT_SHARE * channel.age_limit_s


def _hanging_on(device: str, line: LineFile) -> tuple[str, ...]:
    supplies = line.document.supplies.items()
    return tuple(name for name, supply in supplies if device in _hangs_on(supply, line))


def _hangs_on(supply: SupplyTable, line: LineFile) -> set[str]:
    """The devices without which an operation of this supply could not be watched or ended as the line file has it."""
    document = line.document
    devices = {supply.device, document.channels[document.tanks[supply.tank].temperature].device}
    for name, output in document.outputs.items():
        if name == supply.contactor or (output.role in MOVING and _of(output, supply)):
            devices.add(output.device)
            if output.auxiliary is not None:
                devices.add(document.contacts[output.auxiliary].device)
    for contact in document.contacts.values():
        if contact.role not in {"button", "auxiliary contact"} and _of(contact, supply):
            devices.add(contact.device)
    return devices


def _of(what: OutputTable | ContactTable, supply: SupplyTable) -> bool:
    """Whether it belongs to a supply's tank, or to the whole line."""
    return what.tank is None or what.tank == supply.tank
