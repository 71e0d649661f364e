"""Links and devices of a line file as the drivers know them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from drivers.points import DeviceMap, SerialSettings
from supervisor.config.model import LineDocument, LinkTable
from supervisor.config.off_delay import OffDelay, off_delay
from supervisor.config.profile import DeviceProfile
from supervisor.config.shape import known
from supervisor.units import System

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
        name: profiles[name].device_map(name, table.unit)
        for name, table in document.devices.items()
        if name in profiles and known(table.unit, profiles[name].worst_answer_s)
    }


def port_path(folder: Path, port: str) -> str:
    """The serial port's path, absolute."""
    return str((folder / port).absolute())


def settings_of(name: str, table: LinkTable, folder: Path, on_link: list[DeviceMap]) -> SerialSettings:
    """One link as the drivers know it, with the devices on it."""
    return SerialSettings(
        name=name,
        kind=table.kind,
        port=port_path(folder, table.port),
        baud=round(table.speed),
        parity=PARITY[table.parity],
        stop_bits=table.stop_bits,
        response_time_out_s=table.response_time_out,
        quiet_after_silence_s=max((device.worst_answer_s for device in on_link), default=0.0),
    )


def links_of(view: View) -> dict[str, tuple[SerialSettings, list[DeviceMap]]]:
    """Every link that is wholly known, devices included, by name."""
    maps = maps_of(view.document, view.profiles)
    links = {}
    for name, table in view.document.links.items():
        on_link = [device for device, entry in view.document.devices.items() if entry.link == name]
        whole = known(table.port, table.speed, table.parity, table.stop_bits, table.response_time_out)
        if whole and all(device in maps for device in on_link):
            devices = [maps[device] for device in on_link]
            links[name] = settings_of(name, table, view.folder, devices), devices
    return links


def off_delays_of(view: View) -> dict[str, OffDelay]:
    """The worst off delay of every output for which all that matters is known, by output."""
    links = links_of(view)
    delays = {}
    for name, table in view.document.outputs.items():
        for settings, devices in links.values():
            for device in devices:
                if device.name == table.device and device.driver == "modbus supply":
                    delays[name] = off_delay(settings, device, devices)
    return delays
