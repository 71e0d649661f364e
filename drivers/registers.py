"""Registers as a manual's table gives them, and which of them one request reads."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from drivers.points import DeviceMap, Point

Table = Literal["coil", "discrete input", "input register", "holding register"]
NumberKind = Literal["uint16", "int16", "uint32", "int32", "float32"]
WordOrder = Literal["ABCD", "CDAB", "BADC", "DCBA"]
"""The bytes of a 32-bit value in the order in which they pass, A the most significant, two to a register."""

BIT_TABLES: frozenset[Table] = frozenset({"coil", "discrete input"})
"""Tables that hold single bits; the others hold registers."""

WRITABLE: frozenset[Table] = frozenset({"coil", "holding register"})
"""Tables that can be written."""


@dataclass(frozen=True, slots=True)
class Register(Point):
    """A point that lies in a Modbus table.

    Attributes:
        table: which of the four it lives in. address: as sent on the wire, 0 to 65535; of two registers, the first.
        kind: how it is read. order: of the bytes of a 32-bit kind.
        write_many: whether it is written with function 15 or 16 even where it is one; 32 bits always are.
    """

    table: Table
    address: int
    kind: NumberKind = "uint16"
    order: WordOrder = "ABCD"
    write_many: bool = False

    @property
    def width(self) -> int:
        """How many registers it takes."""
        return 2 if self.kind in {"uint32", "int32", "float32"} else 1


@dataclass(frozen=True, slots=True)
class RegisterMap(DeviceMap):
    """The map of a device whose points are registers."""

    points: Mapping[str, Register]


MOST_IN_ONE_READ: dict[Table, int] = {
    "coil": 2000,
    "discrete input": 2000,
    "input register": 125,
    "holding register": 125,
}
"""How many one request may ask for. Source: Modbus application protocol V1.1b3, 6.1 to 6.4 (from memory)."""


def groups_of(device_map: RegisterMap) -> tuple[tuple[Register, ...], ...]:
    """Group the points of a device that one request can read.

    One table; no hole wider than the device allows between two of them; no request longer than device and protocol
    allow. Returns the groups, and the points inside them, in rising order of table and address, so that what is read
    together does not depend on the order of the profile. Two points on one address share a group.
    """
    groups: list[list[Register]] = []
    for point in sorted(device_map.points.values(), key=lambda p: (p.table, p.address, p.name)):
        if groups and _joins(groups[-1], point, device_map):
            groups[-1].append(point)
        else:
            groups.append([point])
    return tuple(tuple(group) for group in groups)


def _joins(group: list[Register], point: Register, device_map: RegisterMap) -> bool:
    most = MOST_IN_ONE_READ[point.table]
    longest = min(device_map.longest_read, most) if device_map.longest_read else most
    ends = max(one.address + one.width for one in group)
    return (
        point.table == group[0].table
        and point.address - ends <= device_map.widest_hole
        and max(ends, point.address + point.width) - group[0].address <= longest
    )
