"""Anything on Modbus that is no supply: numbers, contacts and relays in any mix."""

from __future__ import annotations

from drivers.ports import Sent
from drivers.registers_read import RegisterDevice


class ModuleModbus(RegisterDevice):
    """Reads like any device by its map; a point with the states `off` and `on` that can be written is a switch."""

    keep_every_s: float | None = None

    async def set_switch(self, point: str, *, on: bool) -> Sent:
        """Switch the output at a point and have it confirmed. Raises WireError; ValueError if it is no switch."""
        wanted = "on" if on else "off"
        register = self._map.points.get(point)
        raw = None if register is None else next((r for r, word in register.states.items() if word == wanted), None)
        if register is None or raw is None or register.table not in {"coil", "holding register"}:
            raise ValueError(f"{self.name}: {point} is no switch: it needs a coil or holding register and off and on")
        many = register.write_many
        return await self._link.write(self._map.unit, register.table, register.address, (raw,), many=many)

    async def keep(self) -> Sent:
        """Raise ValueError: nothing here is dropped by itself."""
        raise ValueError(f"{self.name} keeps its outputs by itself")
