"""The simulated devices as Modbus servers: their register tables, and the answer to each request."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from simulators import modbus_frames as frames
from simulators.line import SimulatedLine
from simulators.plan import DevicePlan, RegisterPlan
from simulators.supply import Supply

_TABLE_OF = {
    frames.READ_COILS: "coil",
    frames.READ_DISCRETE_INPUTS: "discrete input",
    frames.READ_HOLDING_REGISTERS: "holding register",
    frames.READ_INPUT_REGISTERS: "input register",
    frames.WRITE_COIL: "coil",
    frames.WRITE_REGISTER: "holding register",
    frames.WRITE_COILS: "coil",
    frames.WRITE_REGISTERS: "holding register",
}
_MOST_READ = {
    frames.READ_COILS: 2000,
    frames.READ_DISCRETE_INPUTS: 2000,
    frames.READ_HOLDING_REGISTERS: 125,
    frames.READ_INPUT_REGISTERS: 125,
}
_MODES = {"off": 0, "current held": 0, "voltage held": 1}


class RefusalError(Exception):
    """The device refuses with an exception code of V1.1b3, section 7."""

    def __init__(self, code: int) -> None:
        super().__init__(code)
        self.code = code


@dataclass(frozen=True, slots=True)
class Register:
    """One register or contact: how to read it, and how to write it where that is allowed.

    `write` raises RefusalError for a value out of range and changes nothing then.
    """

    read: Callable[[], int]
    write: Callable[[int], None] | None = None
    highest: int = 0xFFFF


def _raw(value: float, plan: RegisterPlan) -> int:
    count = round(value / plan.step)
    low, high = (-0x8000, 0x7FFF) if plan.signed else (0, 0xFFFF)
    return min(max(count, low), high) & 0xFFFF


def _supply_register(supply: Supply, plan: RegisterPlan) -> Register:
    step = plan.step
    top_a = round(supply.rated_current_a / step)
    top_v = round(supply.rated_voltage_v / step)
    registers: dict[str, Register] = {
        "current_a": Register(lambda: _raw(supply.current_a * (1.0 + supply.meter_gain_error), plan)),
        "voltage_v": Register(lambda: _raw(supply.voltage_v * (1.0 + supply.meter_gain_error), plan)),
        "on": Register(lambda: int(supply.is_on)),
        "mode": Register(lambda: _MODES[supply.mode]),
        "set_current_a": Register(
            lambda: _raw(supply.set_current_a, plan), lambda raw: supply.set_current(raw * step), top_a
        ),
        "set_voltage_v": Register(
            lambda: _raw(supply.set_voltage_v, plan), lambda raw: supply.set_voltage(raw * step), top_v
        ),
        "switch": Register(lambda: int(supply.is_on), lambda raw: supply.switch(bool(raw)), 1),
        "time_out_s": Register(
            lambda: _raw(supply.time_out_s, plan), lambda raw: setattr(supply, "time_out_s", raw * step)
        ),
    }
    return registers[plan.value]


def _sensor_register(line: SimulatedLine, plan: RegisterPlan) -> Register:
    sensor = line.sensors.get(plan.sensor)

    def read() -> int:
        shown_c = None if sensor is None else sensor.read()
        return plan.no_value if shown_c is None else _raw(shown_c, plan)

    return Register(read)


class ModbusDevice:
    """One device on a bus.

    Attributes:
        name: as the line's file calls it. unit: its unit id.
        supply: the supply that it is, by name; empty for a thermometer.
        answer_delay_s: wire time from the request's end to the answer's beginning.
        registers: by table and address.
    """

    def __init__(self, name: str, plan: DevicePlan, line: SimulatedLine) -> None:
        self.name = name
        self.unit = plan.unit
        self.supply = plan.supply
        self.answer_delay_s = plan.answer_delay_s
        self.registers: dict[tuple[str, int], Register] = {}
        for entry in plan.registers:
            register = (
                _supply_register(line.supplies[plan.supply], entry) if plan.supply else _sensor_register(line, entry)
            )
            self.registers[entry.table, entry.address] = register

    def answer(self, request: bytes, refuse_code: int = 0) -> bytes:
        """The answer's body (function code and data) to a request's body; refuse_code, if not 0, refuses it."""
        function = request[0]
        if function not in _TABLE_OF:
            return bytes((function | 0x80, frames.ILLEGAL_FUNCTION))
        if refuse_code:
            return bytes((function | 0x80, refuse_code))
        try:
            return self._read(request) if function in frames.READS else self._write(request)
        except RefusalError as refusal:
            return bytes((function | 0x80, refusal.code))

    def _named(self, function: int, address: int, count: int) -> list[Register]:
        table = _TABLE_OF[function]
        found = [self.registers.get((table, address + offset)) for offset in range(count)]
        known = [register for register in found if register is not None]
        if len(known) < count:
            raise RefusalError(frames.ILLEGAL_DATA_ADDRESS)
        return known

    def _read(self, request: bytes) -> bytes:
        function, address, count = request[0], int.from_bytes(request[1:3]), int.from_bytes(request[3:5])
        if not 1 <= count <= _MOST_READ[function]:
            raise RefusalError(frames.ILLEGAL_DATA_VALUE)
        values = [register.read() for register in self._named(function, address, count)]
        if function in {frames.READ_COILS, frames.READ_DISCRETE_INPUTS}:
            packed = sum(bool(value) << place for place, value in enumerate(values))
            data = packed.to_bytes((count + 7) // 8, "little")
        else:
            data = b"".join(value.to_bytes(2) for value in values)
        return bytes((function, len(data))) + data

    def _write(self, request: bytes) -> bytes:
        function, address = request[0], int.from_bytes(request[1:3])
        values = _written_values(request)
        registers = self._named(function, address, len(values))
        for register, value in zip(registers, values, strict=True):
            if register.write is None:
                raise RefusalError(frames.ILLEGAL_DATA_ADDRESS)
            if value > register.highest:
                raise RefusalError(frames.ILLEGAL_DATA_VALUE)
        for register, value in zip(registers, values, strict=True):
            if register.write is not None:
                register.write(value)
        return request[:5]


def _written_values(request: bytes) -> list[int]:
    """The values that a write request carries; raises RefusalError where count and bytes do not fit."""
    function, word = request[0], int.from_bytes(request[3:5])
    if function == frames.WRITE_REGISTER:
        return [word]
    if function == frames.WRITE_COIL:
        if word not in {0x0000, 0xFF00}:
            raise RefusalError(frames.ILLEGAL_DATA_VALUE)
        return [int(word == 0xFF00)]
    byte_count, data = request[5], request[6:]
    if function == frames.WRITE_COILS:
        if not 1 <= word <= 1968 or byte_count != (word + 7) // 8:
            raise RefusalError(frames.ILLEGAL_DATA_VALUE)
        packed = int.from_bytes(data, "little")
        return [packed >> place & 1 for place in range(word)]
    if not 1 <= word <= 123 or byte_count != 2 * word:
        raise RefusalError(frames.ILLEGAL_DATA_VALUE)
    return [int.from_bytes(data[place : place + 2]) for place in range(0, byte_count, 2)]
