"""Reading a device by its register map: one group of points in one transaction, decoded to plain numbers."""

from __future__ import annotations

import math
from collections.abc import Collection

from drivers.modbus_link import ModbusLink
from drivers.ports import BadAnswer, Scan
from drivers.registers import Register, RegisterMap, groups_of


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
        count = max(point.address for point in points) - first + 1
        device = self._map
        answer = await self._link.read(device.unit, points[0].table, first, count)
        raw = {point.name: answer.raw[point.address - first] for point in points}
        values = {point.name: decode(point, raw[point.name]) for point in points}
        registers = {name: (register,) for name, register in raw.items()}
        return Scan(values, registers, answer.t_sent_s, answer.t_received_s)

    def _of_one_group(self, due: Collection[str]) -> list[Register]:
        names = frozenset(due)
        if not names or not any(names <= group for group in self.groups):
            raise ValueError(f"{self.name}: {sorted(names)} are not points of one group: {self.groups}")
        return [self._map.points[name] for name in sorted(names)]


def decode(point: Register, register: int) -> float | None:
    """Turn one register, as on the wire (0 to 65535), into the point's value in its unit.

    None where the device marks that it has no value; of a state, the raw number. Not range-checked.
    Raises BadAnswer for a state the profile does not know.
    """
    if register in point.no_value:
        return None
    if point.states:
        if register not in point.states:
            known = ", ".join(f"{raw} = {word}" for raw, word in point.states.items())
            raise BadAnswer(f"{point.name} answered {register}, which is no state of it ({known})")
        return float(register)
    signed = register - 0x10000 if point.kind == "int16" and register >= 0x8000 else register
    return signed * point.scale + point.offset


def encode_down(point: Register, value: float) -> int:
    """Turn a value in the point's unit into its register, rounded down to the device's step.

    A billionth of a step is forgiven, which is more than a float's noise: 1.95 A at 1 mA is 1950.
    Raises ValueError for a value that is not finite or outside the point's range.
    """
    if not math.isfinite(value) or not point.low <= value <= point.high:
        raise ValueError(f"{point.name}: {value} {point.unit} is outside {point.low} to {point.high} {point.unit}")
    steps = math.floor((value - point.offset) / point.scale + 1e-9)
    least, most = (-0x8000, 0x7FFF) if point.kind == "int16" else (0, 0xFFFF)
    if not least <= steps <= most:
        raise ValueError(f"{point.name}: {value} {point.unit} does not fit its register")
    return steps & 0xFFFF
