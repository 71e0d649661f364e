"""A programmable DC supply on Modbus: reads like any device, and takes set points, on and off."""

from __future__ import annotations

from drivers.modbus_link import ModbusLink
from drivers.ports import Sent
from drivers.registers import WRITABLE, Register, RegisterMap
from drivers.registers_read import RegisterDevice, encode_down, state_registers

SET_POINTS = ("set_current", "set_voltage", "time_out")


class SupplyModbus(RegisterDevice):
    """Every call is one transaction; each raises WireError and never retries.

    Raises ValueError at once for a map by which the supply could not be driven.
    """

    def __init__(self, link: ModbusLink, device_map: RegisterMap) -> None:
        super().__init__(link, device_map)
        for name in SET_POINTS:
            if name != "time_out" or name in device_map.points:
                _check_settable(device_map, name)
        self._switch = _writable(device_map, "switch")
        self._on, self._off = (_raw_state(device_map, self._switch, word) for word in ("on", "off"))

    async def set_current(self, current_a: float) -> Sent:
        """Set the current limit, A, rounded down to the device's step. Raises ValueError outside its range."""
        return await self._set("set_current", current_a)

    async def set_voltage(self, voltage_v: float) -> Sent:
        """Set the voltage limit, V, rounded down to the device's step. Raises ValueError outside its range."""
        return await self._set("set_voltage", voltage_v)

    async def switch_on(self) -> Sent:
        """Switch the output on."""
        return await self._write(self._switch, self._on)

    async def switch_off(self) -> Sent:
        """Switch the output off."""
        return await self._write(self._switch, self._off)

    async def arm_time_out(self, time_out_s: float) -> Sent | None:
        """Arm the device's own communication time-out, s, rounded down; None where the profile names none.

        Raises ValueError outside its range, and for less than one step: nought would disarm it.
        """
        point = self._map.points.get("time_out")
        if point is None:
            return None
        raw = encode_down(point, time_out_s)
        if not any(raw):
            raise ValueError(f"{self.name}: a time-out of {time_out_s} s is below its step and would switch it off")
        return await self._write(point, raw)

    async def _set(self, name: str, value: float) -> Sent:
        point = self._map.points[name]
        return await self._write(point, encode_down(point, value))

    async def _write(self, point: Register, raw: tuple[int, ...]) -> Sent:
        return await self._link.write(self._map.unit, point.table, point.address, raw, many=point.write_many)


def _writable(device_map: RegisterMap, name: str) -> Register:
    point = device_map.points.get(name)
    if point is None:
        raise ValueError(f"{device_map.name}: a supply needs a point `{name}`; add it to its profile")
    if point.table not in WRITABLE:
        raise ValueError(f"{device_map.name}: `{name}` lies in the table `{point.table}`, which cannot be written")
    return point


def _check_settable(device_map: RegisterMap, name: str) -> None:
    point = _writable(device_map, name)
    if point.table == "coil" or point.scale <= 0:
        raise ValueError(f"{device_map.name}: `{name}` needs a holding register with a scale above nought")


def _raw_state(device_map: RegisterMap, switch: Register, word: str) -> tuple[int, ...]:
    raw = state_registers(switch, word)
    if raw is None:
        raise ValueError(f"{device_map.name}: `switch` needs a state called `{word}`")
    return raw
