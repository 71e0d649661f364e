"""Links and devices of a line file as the drivers know them."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from drivers.catalog import drivers
from drivers.points import DeviceMap, LinkSettings, SerialSettings, TcpSettings
from supervisor.config.model import LineDocument, LinkTable
from supervisor.config.off_delay import OffDelay, off_delay
from supervisor.config.profile import DeviceProfile
from supervisor.config.shape import known
from supervisor.units import System

MODBUS_PORT = 502
"""The port assigned to Modbus over TCP (IANA service names; Messaging on TCP/IP Implementation Guide V1.0b)."""

URGENT_ROLES = frozenset({"supply output", "contactor", "heater"})
"""Outputs whose off, or opening, is waited for."""

PARITY: dict[str, Literal["N", "E", "O"]] = {"none": "N", "even": "E", "odd": "O"}


@dataclass(frozen=True)
class View:
    """All there is to a line file while it is checked; what was wrong in its form is None or left out.

    Attributes:
        folder: what relative paths start from.
        document: its tables.
        profiles: by device name; devices whose registers could not be understood are left out.
        given: the file as TOML gives it, for what a person wrote.
    """

    folder: Path
    document: LineDocument
    profiles: dict[str, DeviceProfile]
    given: dict[str, Any]

    @property
    def system(self) -> System:
        """The units people are shown; metric where the file does not say rightly."""
        return "us" if self.document.line.units == "us" else "metric"


def maps_of(document: LineDocument, profiles: dict[str, DeviceProfile]) -> dict[str, DeviceMap]:
    """The map of every device that is wholly known, by name."""
    return {
        name: profiles[name].device_map(name, table.unit or 0)
        for name, table in document.devices.items()
        if name in profiles and known(profiles[name].timing.worst_answer)
    }


def port_path(folder: Path, port: str) -> str:
    """The serial port's path, absolute."""
    return str((folder / port).absolute())


def host_and_port(host: str) -> tuple[str, int]:
    """The host of a `modbus tcp` link and its port, 502 where none is given. Raises ValueError."""
    name, colon, port = host.rpartition(":")
    if not colon or host.endswith("]"):
        return host.strip("[]"), MODBUS_PORT
    if not (port.isdecimal() and port.isascii() and 1 <= int(port) <= 65535 and name):
        raise ValueError(f"{port!r} is no port")
    return name.strip("[]"), int(port)


def settings_of(name: str, table: LinkTable, folder: Path, on_link: list[DeviceMap]) -> LinkSettings | None:
    """One link as the drivers know it, with the devices on it; None where something of it is not known."""
    if not known(table.kind, table.response_time_out):
        return None
    needs: dict[str, Any] = {
        "name": name,
        "kind": table.kind,
        "response_time_out_s": table.response_time_out,
        "quiet_after_silence_s": max((device.worst_answer_s for device in on_link), default=0.0),
        "quiet_s": max((device.quiet_s for device in on_link), default=0.0),
        "settle_s": max((device.settle_s for device in on_link), default=0.0),
        "opens_each_scan": any(device.opens_each_scan for device in on_link),
    }
    if table.kind == "modbus tcp":
        try:
            host, port = host_and_port(table.host or "")
        except ValueError:
            return None
        return TcpSettings(**needs, host=host, port=port) if host else None
    if table.port is None or table.speed is None or table.parity is None or table.stop_bits is None:
        return None
    return SerialSettings(
        **needs,
        port=port_path(folder, table.port),
        baud=round(table.speed),
        parity=PARITY[table.parity],
        stop_bits=table.stop_bits,
    )


def links_of(view: View) -> dict[str, tuple[LinkSettings, list[DeviceMap]]]:
    """Every link that is wholly known, by name, and all of whose devices are and can work on it."""
    maps = maps_of(view.document, view.profiles)
    links = {}
    for name, table in view.document.links.items():
        on_link = [device for device, entry in view.document.devices.items() if entry.link == name]
        if all(device in maps and table.kind in drivers()[maps[device].driver].links for device in on_link):
            devices = [maps[device] for device in on_link]
            settings = settings_of(name, table, view.folder, devices)
            if settings is not None:
                links[name] = settings, devices
    return links


def fitting_links(view: View) -> dict[str, tuple[LinkSettings, list[DeviceMap]]]:
    """Every link that is wholly known and on which the driver of each of its devices works, by name."""
    return {
        name: (settings, devices)
        for name, (settings, devices) in links_of(view).items()
        if all(settings.kind in drivers()[device.driver].links for device in devices)
    }


def off_delays_of(view: View) -> dict[str, OffDelay]:
    """The worst off delay of every output for which all that matters is known, by output.

    Of outputs that are no supply's, those whose safe state ends something: contactors and heaters.
    """
    on_link = {device.name: link for link in fitting_links(view).values() for device in link[1]}
    urgent = {name: table.device for name, table in view.document.outputs.items() if table.role in URGENT_ROLES}
    delays = {}
    for name, of in urgent.items():
        if of in on_link:
            settings, devices = on_link[of]
            device = next(device for device in devices if device.name == of)
            delays[name] = off_delay(settings, device, devices, Counter(urgent.values()))
    return delays
