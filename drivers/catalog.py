"""Which driver a line file's word means, and how links and their devices are put together."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.metadata import entry_points
from typing import Any, Literal

from drivers.board_sentence import BoardSentence, board_times
from drivers.modbus_rtu import RtuLink
from drivers.modbus_tcp import TcpLink
from drivers.modbus_times import modbus_times
from drivers.module_modbus import ModuleModbus
from drivers.points import DeviceMap, Field, LinkKind, LinkSettings, Point
from drivers.ports import Device, Link, Times
from drivers.registers import Register
from drivers.supply_modbus import SupplyModbus
from drivers.supply_scpi import SupplyScpi, scpi_times
from drivers.text_link import TextLink

ENTRY_POINTS = "ampminder.drivers"
"""The group in which an installed package names drivers of its own; each entry is a `Driver`."""


@dataclass(frozen=True, slots=True)
class Driver:
    """What the catalog knows of a driver.

    Attributes:
        name: its word in a profile.
        role: `supply` for a programmable DC supply, which keeps SupplyDevice; `module` for whatever else is read or
            switched, which keeps Device, or SwitchDevice where it switches anything.
        links: the kinds of link it works on.
        points: how its points are told in a profile: Register by table and address, Field by words.
        build: makes one device on a link of those kinds. Raises ValueError for a map it cannot use.
        times: how long it may keep the link busy.
    """

    name: str
    role: Literal["supply", "module"]
    links: frozenset[LinkKind]
    points: type[Point]
    build: Callable[[Any, Any], Device]
    times: Callable[[Any, Any], Times]


Trace = Callable[[bool, bytes], None]
"""Called with (sending, bytes) for everything that passes."""

_MODBUS: frozenset[LinkKind] = frozenset({"modbus rtu", "modbus tcp"})
_TEXT: frozenset[LinkKind] = frozenset({"serial text"})

OURS = (
    Driver("modbus supply", "supply", _MODBUS, Register, SupplyModbus, modbus_times),
    Driver("modbus module", "module", _MODBUS, Register, ModuleModbus, modbus_times),
    Driver("scpi supply", "supply", _TEXT, Field, SupplyScpi, scpi_times),
    Driver("sentence board", "module", _TEXT, Field, BoardSentence, board_times),
)

LINKS: dict[LinkKind, Callable[[Any, Callable[[], float], Trace | None], Link]] = {
    "modbus rtu": RtuLink,
    "modbus tcp": TcpLink,
    "serial text": TextLink,
}


@cache
def drivers() -> Mapping[str, Driver]:
    """Every driver there is by name: ours, and those that installed packages name in the group `ampminder.drivers`.

    Raises TypeError where an entry is no Driver, ValueError where it takes a name that is taken.
    """
    known = {driver.name: driver for driver in OURS}
    for entry in entry_points(group=ENTRY_POINTS):
        found = entry.load()
        if not isinstance(found, Driver):
            raise TypeError(f"{entry.value} is no Driver; the package that names it must be mended")
        if found.name in known:
            raise ValueError(f"{entry.value} names the driver `{found.name}`, which there is already")
        known[found.name] = found
    return known


def build_link(settings: LinkSettings, now: Callable[[], float], trace: Trace | None = None) -> Link:
    """Make one link, not opened yet.

    Args:
        settings: where it is, and its time-outs.
        now: the clock of all stamps, s.
        trace: told of everything that passes.
    """
    return LINKS[settings.kind](settings, now, trace)


def build_device(link: Link, device_map: DeviceMap) -> Device:
    """Make one device on a link. Raises ValueError for a driver nobody knows or a map its driver cannot use."""
    driver = drivers().get(device_map.driver)
    if driver is None:
        known = ", ".join(f"`{name}`" for name in drivers())
        raise ValueError(f"{device_map.name}: there is no driver `{device_map.driver}`; known are {known}")
    if link.settings.kind not in driver.links:
        kinds = " or ".join(f"`{kind}`" for kind in sorted(driver.links))
        raise ValueError(f"{device_map.name}: `{driver.name}` needs a link of kind {kinds}")
    return driver.build(link, device_map)
