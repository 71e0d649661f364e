"""The simulated devices as Modbus servers: their register tables, and the answer to each request."""

from __future__ import annotations

from collections.abc import Callable, Collection
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


@dataclass(slots=True)
class Entry:
    """One value of a device's tables, over one register or two.

    Attributes:
        plan: where it is and how it is coded.
        read: the pattern of bits that it shows now.
        write: takes a value, None where nothing can be written. highest: the greatest value it takes; the least is 0.
        shown: its registers as they were read last.
    """

    plan: RegisterPlan
    read: Callable[[], int]
    write: Callable[[float], None] | None = None
    highest: float = 1.0
    shown: list[int] | None = None

    def words(self, *, stuck: bool, beyond: bool) -> list[int]:
        """Its registers as they lie on the wire: new, as they were, or the last that such a number can be."""
        encoding = self.plan.encoding
        if stuck and self.shown is not None:
            return self.shown
        if beyond and self.plan.table.endswith("register"):
            return encoding.on_wire(encoding.full_scale)
        self.shown = encoding.on_wire(self.read())
        return self.shown


@dataclass(frozen=True, slots=True)
class Register:
    """One register or contact: the entry that it is of, and which of its words."""

    entry: Entry
    place: int = 0

    def read(self) -> int:
        """Its word now."""
        return self.entry.words(stuck=False, beyond=False)[self.place]

    @property
    def write(self) -> Callable[[int], None] | None:
        """How to write its word where it stands alone and that is allowed."""
        set_to = self.entry.write
        return None if set_to is None else lambda raw: set_to(self.entry.plan.encoding.value(raw))


def _supply_entry(supply: Supply, plan: RegisterPlan) -> Entry:
    raw = plan.encoding.raw

    entries: dict[str, Entry] = {
        "current_a": Entry(plan, lambda: raw(supply.shown_current_a())),
        "voltage_v": Entry(plan, lambda: raw(supply.shown_voltage_v())),
        "on": Entry(plan, lambda: int(supply.is_on)),
        "mode": Entry(plan, lambda: _MODES[supply.mode]),
        "set_current_a": Entry(plan, lambda: raw(supply.set_current_a), supply.set_current, supply.rated_current_a),
        "set_voltage_v": Entry(plan, lambda: raw(supply.set_voltage_v), supply.set_voltage, supply.rated_voltage_v),
        "switch": Entry(plan, lambda: int(supply.is_on), lambda wanted: supply.switch(bool(wanted))),
        "charge_ah": Entry(plan, lambda: raw(supply.counted_ah)),
        "uptime_s": Entry(plan, lambda: raw(supply.uptime_s)),
        "time_out_s": Entry(plan, lambda: raw(supply.time_out_s), lambda s: setattr(supply, "time_out_s", s), 1e9),
    }
    return entries[plan.value]


def _module_entry(line: SimulatedLine, plan: RegisterPlan) -> Entry:
    """A sensor, a relay or a contact; nothing at all shows that there is no value."""
    if plan.switch:
        switch = line.switches[plan.switch]

        return Entry(plan, lambda: int(switch.commanded), lambda wanted: switch.command(bool(wanted)))
    if plan.contact:
        contact = line.contacts[plan.contact]
        return Entry(plan, lambda: int(contact.is_closed))
    sensor = line.sensors.get(plan.sensor)

    def read() -> int:
        shown_c = None if sensor is None else sensor.read()
        return plan.no_value if shown_c is None else plan.encoding.raw(shown_c)

    return Entry(plan, read)


class ModbusDevice:
    """One device on a bus.

    Attributes:
        name: as the line's file calls it. unit: its unit id.
        supply: the supply that it is, by name; empty for a thermometer.
        answer_delay_s: wire time from the request's end to the answer's beginning.
        rests_after_s: wire time without a request after which a module's relays rest, s; 0 for never.
        registers: by table and address.
    """

    def __init__(self, name: str, plan: DevicePlan, line: SimulatedLine) -> None:
        self.name = name
        self.unit = plan.unit
        self.supply = plan.supply
        self.answer_delay_s = plan.answer_delay_s
        self.rests_after_s = plan.rests_after_s
        self._longest_read = plan.longest_read
        self._holes_read_zero = plan.holes_read_zero
        self.registers: dict[tuple[str, int], Register] = {}
        for of in plan.registers:
            entry = _supply_entry(line.supplies[of.supply], of) if of.supply else _module_entry(line, of)
            for place in range(of.encoding.words):
                self.registers[of.table, of.address + place] = Register(entry, place)

    def answer(self, request: bytes, refuse_code: int = 0, wrong: Collection[str] = ()) -> bytes:
        """The answer's body (function code and data) to a request's body.

        `refuse_code`, if not 0, refuses it; `wrong` names the faults that strike the values.
        """
        function = request[0]
        if function not in _TABLE_OF:
            return bytes((function | 0x80, frames.ILLEGAL_FUNCTION))
        if refuse_code:
            return bytes((function | 0x80, refuse_code))
        try:
            return self._read(request, wrong) if function in frames.READS else self._write(request)
        except RefusalError as refusal:
            return bytes((function | 0x80, refusal.code))

    def _named(self, function: int, address: int, count: int) -> list[Register | None]:
        """The registers of a range; between them a hole reads as nought where the device allows it."""
        table = _TABLE_OF[function]
        found = [self.registers.get((table, address + offset)) for offset in range(count)]
        if None in found and not (self._holes_read_zero and function in frames.READS and any(found)):
            raise RefusalError(frames.ILLEGAL_DATA_ADDRESS)
        return found

    def _read(self, request: bytes, wrong: Collection[str]) -> bytes:
        function, address, count = request[0], int.from_bytes(request[1:3]), int.from_bytes(request[3:5])
        bits = function in {frames.READ_COILS, frames.READ_DISCRETE_INPUTS}
        if not 1 <= count <= (_MOST_READ[function] if bits else min(_MOST_READ[function], self._longest_read)):
            raise RefusalError(frames.ILLEGAL_DATA_VALUE)
        registers = self._named(function, address, count)
        # A value is read once for both of its words, or noise would tear it.
        read = {
            id(one.entry): one.entry.words(stuck="values stuck" in wrong, beyond="value out of range" in wrong)
            for one in registers
            if one is not None
        }
        values = [0 if one is None else read[id(one.entry)][one.place] for one in registers]
        if bits:
            packed = sum(bool(value) << place for place, value in enumerate(values))
            data = packed.to_bytes((count + 7) // 8, "little")
        else:
            data = b"".join(value.to_bytes(2) for value in values)
        return bytes((function, len(data))) + data

    def _write(self, request: bytes) -> bytes:
        """Write whole values or nothing: half of a 32-bit one is refused."""
        function, address = request[0], int.from_bytes(request[1:3])
        values = _written_values(request)
        wanted: dict[int, tuple[Entry, dict[int, int]]] = {}
        for register, value in zip(self._named(function, address, len(values)), values, strict=True):
            if register is None or register.entry.write is None:
                raise RefusalError(frames.ILLEGAL_DATA_ADDRESS)
            wanted.setdefault(id(register.entry), (register.entry, {}))[1][register.place] = value
        whole = []
        for entry, words in wanted.values():
            encoding = entry.plan.encoding
            if len(words) < encoding.words or entry.write is None:
                raise RefusalError(frames.ILLEGAL_DATA_ADDRESS)
            wanted_value = encoding.value(encoding.from_wire([words[place] for place in sorted(words)]))
            if not 0.0 <= wanted_value <= entry.highest * (1.0 + 1e-9):
                raise RefusalError(frames.ILLEGAL_DATA_VALUE)
            whole.append((entry.write, wanted_value))
        for write, wanted_value in whole:
            write(wanted_value)
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
