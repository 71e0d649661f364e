"""Which driver a line file's word means, and how a link and its devices are put together."""

from __future__ import annotations

from collections.abc import Callable

from drivers.modbus_link import ModbusLink
from drivers.ports import Device, SupplyDevice
from drivers.registers import DeviceMap, LinkSettings
from drivers.supply_modbus import SupplyModbus
from drivers.temperature_modbus import TemperatureModbus

DRIVERS: dict[str, Callable[[ModbusLink, DeviceMap], Device | SupplyDevice]] = {
    "modbus supply": SupplyModbus,
    "modbus temperature": TemperatureModbus,
}


def build_link(
    settings: LinkSettings,
    now: Callable[[], float],
    trace: Callable[[bool, bytes], None] | None = None,
) -> ModbusLink:
    """Make one bus, not opened yet.

    Args:
        settings: port, speed and time-outs.
        now: the clock of all stamps, s.
        trace: called with (sending, bytes) for everything that passes.
    """
    return ModbusLink(settings, now, trace)


def build_device(link: ModbusLink, device_map: DeviceMap) -> Device | SupplyDevice:
    """Make one device on a link. Raises ValueError for a driver nobody knows or a map its driver cannot use."""
    driver = DRIVERS.get(device_map.driver)
    if driver is None:
        known = ", ".join(f"`{name}`" for name in DRIVERS)
        raise ValueError(f"{device_map.name}: there is no driver `{device_map.driver}`; known are {known}")
    return driver(link, device_map)
