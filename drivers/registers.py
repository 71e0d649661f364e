"""Registers as a manual's table gives them, in plain numbers: what a device profile becomes."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal

Table = Literal["coil", "discrete input", "input register", "holding register"]
NumberKind = Literal["uint16", "int16"]

BIT_TABLES: frozenset[Table] = frozenset({"coil", "discrete input"})
"""Tables that hold single bits; the others hold registers."""


@dataclass(frozen=True, slots=True)
class Point:
    """One named value of a device.

    Attributes:
        name: as the profile calls it, such as `current`.
        table: which of the four Modbus tables it lives in.
        address: as sent on the wire, 0 to 65535.
        kind: how the register is read.
        scale: value = raw x scale + offset, in `unit`.
        offset: see scale.
        unit: the unit of the value after scaling; one of A, V, degC, or "" for a contact or a state.
        low: least value the device can mean, in `unit`.
        high: greatest value the device can mean, in `unit`.
        no_value: raw register values by which the device says that it has no value (open sensor).
        states: raw register value to plain word, for a point that is a state (such as 0: "off"); empty for numbers.
    """

    name: str
    table: Table
    address: int
    kind: NumberKind = "uint16"
    scale: float = 1.0
    offset: float = 0.0
    unit: str = ""
    low: float = -math.inf
    high: float = math.inf
    no_value: tuple[int, ...] = ()
    states: dict[int, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class DeviceMap:
    """All that a driver must know of one device on one link.

    Attributes:
        name: as the line file calls it.
        driver: the catalog's name for its driver: `modbus supply` or `modbus temperature`.
        unit: Modbus unit id, 1 to 247.
        points: by name. A supply has `current`, `voltage`, `output`, `mode`, `set_current`, `set_voltage`,
            and `time_out` where the device has a communication time-out (value in seconds after scaling).
        worst_answer_s: the longest the device may take to answer, s.
    """

    name: str
    driver: str
    unit: int
    points: dict[str, Point]
    worst_answer_s: float


@dataclass(frozen=True, slots=True)
class LinkSettings:
    """One serial bus.

    Attributes:
        name: as the line file calls it.
        port: path of the serial port.
        baud: bits per second.
        parity: N, E or O.
        stop_bits: 1 or 2.
        response_time_out_s: from the first byte of a request until its answer must be complete, s.
        quiet_after_silence_s: how long the bus stays quiet after a time-out or a bad answer, s: the longest
            worst answer time of the devices on it.
    """

    name: str
    port: str
    baud: int
    parity: Literal["N", "E", "O"]
    stop_bits: int
    response_time_out_s: float
    quiet_after_silence_s: float


MOST_IN_ONE_READ: dict[Table, int] = {
    "coil": 2000,
    "discrete input": 2000,
    "input register": 125,
    "holding register": 125,
}
"""How many one request may ask for. Source: Modbus application protocol V1.1b3, 6.1 to 6.4 (from memory)."""


def contiguous(points: Iterable[Point]) -> tuple[tuple[Point, ...], ...]:
    """Group points that one request can read: one table, adjacent addresses, no gap, no more than one request may ask.

    Returns the groups, and the points inside them, in rising order of table and address, so that what
    is read together does not depend on the order of the profile. Two points on one address share a group.
    """
    groups: list[list[Point]] = []
    for point in sorted(points, key=lambda p: (p.table, p.address, p.name)):
        if groups and _joins(groups[-1], point):
            groups[-1].append(point)
        else:
            groups.append([point])
    return tuple(tuple(group) for group in groups)


def _joins(group: list[Point], point: Point) -> bool:
    first, last = group[0], group[-1]
    fits = point.address - first.address < MOST_IN_ONE_READ[point.table]
    return point.table == last.table and point.address - last.address <= 1 and fits
