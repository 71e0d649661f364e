"""The links and devices of a line file as drivers; no port is opened here."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import cast

from drivers.catalog import build_device, build_link
from drivers.ports import Device, Link, SupplyDevice, SwitchDevice
from supervisor.config.load import LineFile
from supervisor.config.setup import device_maps, link_settings
from supervisor.config.wire import URGENT_ROLES
from supervisor.core.setup import LineSetup, OutputSetup, SupplySetup
from supervisor.service.safe import SafeOutput, SafeSupply

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


def switch_driver(devices: Devices, output: OutputSetup) -> SwitchDevice:
    """Return what switches an output that is no supply's. The line file's check sees to it that its device can."""
    return cast("SwitchDevice", devices[output.device])


def switched_outputs(setup: LineSetup) -> dict[str, OutputSetup]:
    """Every output that is no supply's, by name, what ends something first."""
    outputs = [output for output in setup.outputs.values() if output.role != "supply output"]
    return {output.name: output for output in sorted(outputs, key=lambda output: output.role not in URGENT_ROLES)}


def safe_state(line: LineFile, devices: Devices, setup: LineSetup) -> tuple[list[SafeSupply], list[SafeOutput]]:
    """Return every supply and every output of a line as far as its safe state needs it."""
    link_of = {name: table.link for name, table in line.document.devices.items()}
    outputs = {
        name: SafeOutput(
            name, switch_driver(devices, output), output.point, output.safe_on, link_of[output.device],
            vital=output.role in URGENT_ROLES,
        )
        for name, output in switched_outputs(setup).items()
    }  # fmt: skip
    supplies = [
        SafeSupply(
            name, supply_driver(devices, supply) if supply.control == "remote" else None, devices[supply.device],
            supply.off_threshold_a, link_of[supply.device], outputs.get(supply.contactor or ""),
        )
        for name, supply in setup.supplies.items()
    ]  # fmt: skip
    return supplies, list(outputs.values())
