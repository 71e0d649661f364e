"""Reading a device by its register map: one group of points in one transaction, decoded to plain numbers."""

from __future__ import annotations

import math
import struct
from collections.abc import Collection

from drivers.modbus_link import ModbusLink
from drivers.ports import BadAnswer, Scan
from drivers.registers import BIT_TABLES, Register, RegisterMap, WordOrder, groups_of

MOST_FLOAT32 = (2 - 2**-23) * 2.0**127
"""The greatest float32 (IEEE 754 single precision)."""

FORGIVEN = 1e-9
"""So much of a step counts as a float's noise."""


class RegisterDevice:
    """Anything on a Modbus link that can be read by its map.

    Raises ValueError at once for a map whose states do not fit where they lie.
    """

    streams = False

    def __init__(self, link: ModbusLink, device_map: RegisterMap) -> None:
        self.name = device_map.name
        self._link = link
        self._map = device_map
        _check_states(device_map)
        self.groups = tuple(frozenset(point.name for point in group) for group in groups_of(device_map))

    async def read(self, due: Collection[str]) -> Scan:
        """Read points of one group in one transaction. Raises WireError; ValueError if they are not of one group."""
        points = self._of_one_group(due)
        first = min(point.address for point in points)
        count = max(point.address + point.width for point in points) - first
        device = self._map
        answer = await self._link.read(device.unit, points[0].table, first, count)
        raw = {p.name: answer.raw[p.address - first : p.address - first + p.width] for p in points}
        values = {point.name: decode(point, raw[point.name]) for point in points}
        return Scan(values, raw, answer.t_sent_s, answer.t_received_s)

    def _of_one_group(self, due: Collection[str]) -> list[Register]:
        names = frozenset(due)
        if not names or not any(names <= group for group in self.groups):
            raise ValueError(f"{self.name}: {sorted(names)} are not points of one group: {self.groups}")
        return [self._map.points[name] for name in sorted(names)]


def decode(point: Register, registers: tuple[int, ...]) -> float | None:
    """Turn a point's registers, as on the wire (0 to 65535 each), into its value in its unit.

    None where the device marks that it has no value; of a state, the raw number. Not range-checked, and of a float32
    perhaps not finite. Raises BadAnswer for a state the profile does not know.
    """
    raw = raw_number(point, registers)
    if raw in point.no_value:
        return None
    if point.states:
        if raw not in point.states:
            known = ", ".join(f"{number} = {word}" for number, word in point.states.items())
            raise BadAnswer(f"{point.name} answered {raw}, which is no state of it ({known})")
        return float(raw)
    if point.kind == "float32":
        number: float = struct.unpack(">f", raw.to_bytes(4))[0]
    else:
        bits = 16 * point.width
        number = raw - (1 << bits) if point.kind.startswith("int") and raw >> (bits - 1) else raw
    return number * point.scale + point.offset


def raw_number(point: Register, registers: tuple[int, ...]) -> int:
    """The bits of a point as one whole number, most significant first, 0 to 2^32 - 1."""
    if point.width == 1:
        return registers[0]
    return int.from_bytes(in_order(b"".join(register.to_bytes(2) for register in registers), point.order))


def in_order(data: bytes, order: WordOrder) -> bytes:
    """Bring four bytes from the order they have on the wire into A B C D, or back: each order undoes itself."""
    return bytes(data["ABCD".index(letter)] for letter in order)


def encode_down(point: Register, value: float) -> tuple[int, ...]:
    """Turn a value in the point's unit into its registers, rounded down to the device's step.

    A billionth of a step is forgiven, which is more than a float's noise: 1.95 A at 1 mA is 1950. A float32 is never
    above the value. Raises ValueError for a value that is not finite or outside the point's range.
    """
    if not math.isfinite(value) or not point.low <= value <= point.high:
        raise ValueError(f"{point.name}: {value} {point.unit} is outside {point.low} to {point.high} {point.unit}")
    raw = _raw_down(point, (value - point.offset) / point.scale)
    if raw is None:
        raise ValueError(f"{point.name}: {value} {point.unit} does not fit its register")
    return registers_of(point, raw)


def _raw_down(point: Register, counts: float) -> int | None:
    """The bits of the greatest number of the point's kind that is not above; None where there is none."""
    if point.kind == "float32":
        fits = abs(counts) <= MOST_FLOAT32
        return int.from_bytes(struct.pack(">f", _float32_down(counts))) if fits else None
    bits, counts = 16 * point.width, counts + FORGIVEN
    least = -(1 << (bits - 1)) if point.kind.startswith("int") else 0
    return math.floor(counts) & ((1 << bits) - 1) if least <= counts < least + (1 << bits) else None


def registers_of(point: Register, raw: int) -> tuple[int, ...]:
    """Split the bits of a point, one whole number, into its registers as they are on the wire; see `raw_number`."""
    if point.width == 1:
        return (raw,)
    data = in_order(raw.to_bytes(4), point.order)
    return int.from_bytes(data[:2]), int.from_bytes(data[2:])


def state_registers(point: Register, word: str) -> tuple[int, ...] | None:
    """The registers, or the bit, that a state of this name is written as; None where the point has no such state."""
    return next((registers_of(point, raw) for raw, name in point.states.items() if name == word), None)


def _check_states(device_map: RegisterMap) -> None:
    """Refuse a state that would be written as another: a bit knows no 2, a register no 65536."""
    for point in device_map.points.values():
        most = 1 if point.table in BIT_TABLES else (1 << (16 * point.width)) - 1
        wrong = [raw for raw in point.states if not 0 <= raw <= most]
        if wrong:
            raise ValueError(f"{device_map.name}: `{point.name}` has the state {wrong[0]}, and its most is {most}")


def _float32_down(number: float) -> float:
    """The greatest float32 that is not above a number (IEEE 754 single precision)."""
    nearest: float = struct.unpack(">f", struct.pack(">f", number))[0]
    if nearest <= number:
        return nearest
    bits = int.from_bytes(struct.pack(">f", nearest))
    # The next below: the pattern counts up away from nought on either side; below +0 lies the least negative.
    below = 0x80000001 if nearest == 0 else bits + 1 if bits >> 31 else bits - 1
    lower: float = struct.unpack(">f", below.to_bytes(4))[0]
    return lower
