"""A temperature module on Modbus: read only."""

from __future__ import annotations

from drivers.registers_read import RegisterDevice


class TemperatureModbus(RegisterDevice):
    """Temperatures, degrees Celsius; None where the module marks a sensor as open."""
