"""Reading a device by its register map: one group of points in one transaction, decoded to plain numbers."""

from __future__ import annotations

import math
import struct
from collections.abc import Collection

from drivers.modbus_link import ModbusLink
from drivers.ports import BadAnswer, Scan
from drivers.registers import Register, RegisterMap, WordOrder, groups_of


class RegisterDevice:
    """Anything on a Modbus link that can be read by its map."""

    streams = False

    def __init__(self, link: ModbusLink, device_map: RegisterMap) -> None:
        self.name = device_map.name
        self._link = link
        self._map = device_map
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
    counts = (value - point.offset) / point.scale
    if point.kind == "float32":
        return _split(point, int.from_bytes(struct.pack(">f", _float32_down(counts))))
    steps, bits = math.floor(counts + 1e-9), 16 * point.width
    signed = point.kind.startswith("int")
    least, most = (-(1 << (bits - 1)), (1 << (bits - 1)) - 1) if signed else (0, (1 << bits) - 1)
    if not least <= steps <= most:
        raise ValueError(f"{point.name}: {value} {point.unit} does not fit its register")
    return _split(point, steps & ((1 << bits) - 1))


def _split(point: Register, raw: int) -> tuple[int, ...]:
    if point.width == 1:
        return (raw,)
    data = in_order(raw.to_bytes(4), point.order)
    return int.from_bytes(data[:2]), int.from_bytes(data[2:])


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
