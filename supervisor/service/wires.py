"""The links and devices of a line file as drivers; no port is opened here."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import cast

from drivers.catalog import build_device, build_link
from drivers.ports import Device, Link, SupplyDevice
from supervisor.config.load import LineFile
from supervisor.config.setup import device_maps, link_settings
from supervisor.core.setup import LineSetup, SupplySetup
from supervisor.service.safe import SafeSupply

Devices = Mapping[str, Device]


def build_wires(
    line: LineFile, now: Callable[[], float], trace: Callable[[bool, bytes], None] | None = None
) -> tuple[dict[str, Link], Devices]:
    """Make every link and every device of a line, by name; `now` and `trace` as for `build_link`."""
    links = {name: build_link(settings, now, trace) for name, settings in link_settings(line).items()}
    tables = line.document.devices
    devices = {name: build_device(links[tables[name].link], of) for name, of in device_maps(line).items()}
    return links, devices


def supply_driver(devices: Devices, supply: SupplySetup) -> SupplyDevice:
    """Return a supply's driver. The line file's check sees to it that its device has a supply's."""
    return cast("SupplyDevice", devices[supply.device])


def safe_supplies(devices: Devices, setup: LineSetup) -> list[SafeSupply]:
    """Return every supply of a line as far as its safe state needs it."""
    return [
        SafeSupply(name, supply_driver(devices, supply), supply.off_threshold_a)
        for name, supply in setup.supplies.items()
    ]
