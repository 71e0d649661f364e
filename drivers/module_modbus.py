"""Anything on Modbus that is no supply: numbers, contacts and relays in any mix."""

from __future__ import annotations

from drivers.ports import Sent
from drivers.registers import WRITABLE
from drivers.registers_read import RegisterDevice, state_registers


class ModuleModbus(RegisterDevice):
    """Reads like any device by its map; a point with the states `off` and `on` that can be written is a switch."""

    keep_every_s: float | None = None

    async def set_switch(self, point: str, *, on: bool) -> Sent:
        """Switch the output at a point and have it confirmed. Raises WireError; ValueError if it is no switch."""
        register = self._map.points.get(point)
        raw = None if register is None else state_registers(register, "on" if on else "off")
        if register is None or raw is None or register.table not in WRITABLE:
            raise ValueError(f"{self.name}: {point} is no switch: it needs a coil or holding register and off and on")
        return await self._link.write(self._map.unit, register.table, register.address, raw, many=register.write_many)

    async def keep(self) -> Sent:
        """Raise ValueError: nothing here is dropped by itself."""
        raise ValueError(f"{self.name} keeps its outputs by itself")
