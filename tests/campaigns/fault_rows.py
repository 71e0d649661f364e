"""The fault matrix's rows: every driver on every wire, each thing it does, and how the simulated truth bears it out."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

from drivers.board_sentence import BoardSentence
from drivers.points import DeviceMap, Field, LinkKind, LinkSettings, Point, SerialSettings, TcpSettings
from drivers.ports import Device, Scan, Sent, SupplyDevice, SwitchDevice
from drivers.registers import Register, RegisterMap
from simulators.line import SimulatedLine
from simulators.microcontroller import Microcontroller
from simulators.server import LineServer
from simulators.text_devices import BoardWire

Protocol = Literal["RTU", "TCP", "SCPI", "board"]
Kind = Literal["read", "off", "on", "set", "relay", "keep"]

TIME_OUT_S: dict[Protocol, float] = {"RTU": 0.15, "TCP": 0.15, "SCPI": 0.2, "board": 1.0}
QUIET_S = 0.05
LINKS: dict[Protocol, tuple[str, LinkKind]] = {
    "RTU": ("bus", "modbus rtu"),
    "TCP": ("net", "modbus tcp"),
    "SCPI": ("scpi", "serial text"),
    "board": ("board", "serial text"),
}

PLAN = """
version = 1
name = "matrix"
[tanks.acid]
volume_l = 800.0
acid_g_per_l = 165.0
start_c = 20.5
loss_w_per_c = 0.0
{supplies}
[sensors.acid]
tank = "acid"
lag_s = 0.0
noise_c = 0.0
[sensors.room]
lag_s = 0.0
noise_c = 0.0
[switches.fan]
kind = "fan"
[switches.horn]
kind = "horn"
[switches.lamp]
kind = "lamp"
[contacts.level]
kind = "level"
[contacts.lid]
kind = "lid"
[links.bus]
[links.net]
kind = "modbus tcp"
[links.scpi]
kind = "serial text"
[links.board]
kind = "serial text"
[devices.rtu-supply]
link = "bus"
unit = 1
supply = "rtu"
registers = [{supply_registers}]
[devices.rtu-module]
link = "bus"
unit = 2
registers = [{module_registers}, {{ table = "coil", address = 0, switch = "fan" }}]
[devices.tcp-supply]
link = "net"
unit = 1
supply = "tcp"
registers = [{supply_registers}]
[devices.tcp-module]
link = "net"
unit = 2
registers = [{module_registers}, {{ table = "coil", address = 0, switch = "horn" }}]
[devices.scpi-supply]
kind = "scpi supply"
link = "scpi"
supply = "scpi"
condition_bits = {{ "current held" = 0, "voltage held" = 1 }}
[devices.board]
kind = "microcontroller"
link = "board"
beat_period_ms = 400.0
groups = [ {{ period_ms = 400.0, fields = [
    {{ name = "t1", sensor = "acid" }}, {{ name = "t2", sensor = "room" }}, {{ name = "level", contact = "level" }},
] }} ]
relays = [ {{ name = "lamp", switch = "lamp" }} ]
"""
_SUPPLY = """
[supplies.{name}]
tank = "acid"
rated_current_a = 10.0
rated_voltage_v = 60.0
leads_ohm = 0.05
load = {{ area_dm2 = 1.3, alloy = "6061" }}
"""
_SUPPLY_REGISTERS = """
    { table = "input register", address = 0, value = "current_a", step = 0.001 },
    { table = "input register", address = 1, value = "voltage_v", step = 0.01 },
    { table = "input register", address = 2, value = "on" },
    { table = "holding register", address = 16, value = "set_current_a", step = 0.001 },
    { table = "holding register", address = 17, value = "set_voltage_v", step = 0.01 },
    { table = "holding register", address = 18, value = "switch" },
"""
_MODULE_REGISTERS = """
    { table = "input register", address = 0, sensor = "acid", kind = "float32", order = "CDAB" },
    { table = "input register", address = 2, sensor = "room", kind = "int16", step = 0.1 },
    { table = "discrete input", address = 0, contact = "level" },
    { table = "discrete input", address = 1, contact = "lid" }
"""


def plan_text() -> str:
    """The simulators' file of the line on which the matrix runs."""
    supplies = "".join(_SUPPLY.format(name=name) for name in ("rtu", "tcp", "scpi"))
    return PLAN.format(
        supplies=supplies,
        supply_registers=_SUPPLY_REGISTERS.strip().rstrip(","),
        module_registers=_MODULE_REGISTERS.strip(),
    )


@dataclass(frozen=True, slots=True)
class Row:
    """One thing that one driver does on one wire.

    Attributes:
        driver: the catalog's name. protocol: what is spoken. what: the thing, for people. kind: of thing.
        device: the simulated device. build: makes its map.
        do: does it. before: brings what is simulated to where it makes a difference.
        true: what a read must give now, by point; empty for commands. done: whether a command was carried out.
        transactions: answers that may be waited for one after another: each may take the time-out and the quiet.
    """

    driver: str
    protocol: Protocol
    what: str
    kind: Kind
    device: str
    build: Callable[[], DeviceMap]
    do: Callable[[Any], Awaitable[Scan | Sent]]
    before: Callable[[LineServer], None]
    true: Callable[[SimulatedLine], dict[str, float]]
    done: Callable[[LineServer], bool]
    transactions: int = 1

    @property
    def name(self) -> str:
        """How it is called in tables."""
        return (
            f"{self.driver}, {self.protocol}: {self.what}"
            if self.protocol in {"RTU", "TCP"}
            else f"{self.driver}: {self.what}"
        )

    def settings(self, places: dict[str, str], folder: Path) -> LinkSettings:
        """The link it is on; ptys are reached by their symbolic links in `folder`."""
        name, kind = LINKS[self.protocol]
        if kind == "modbus tcp":
            host, _, port = places[name].rpartition(":")
            return TcpSettings(name, kind, TIME_OUT_S["TCP"], QUIET_S, host=host, port=int(port))
        return SerialSettings(
            name, kind, TIME_OUT_S[self.protocol], QUIET_S, port=str(folder / name), baud=115200
        )  # fmt: skip


_OFF_ON = {0: "off", 1: "on"}


def _supply_registers(device: str) -> DeviceMap:
    points = [
        Register("current", "input register", 0, scale=0.001, unit="A", low=0, high=10.5),
        Register("voltage", "input register", 1, scale=0.01, unit="V", low=0, high=62),
        Register("output", "input register", 2, states=_OFF_ON),
        Register("set_current", "holding register", 16, scale=0.001, unit="A", low=0, high=10),
        Register("set_voltage", "holding register", 17, scale=0.01, unit="V", low=0, high=60),
        Register("switch", "holding register", 18, states=_OFF_ON),
    ]
    return RegisterMap(device, "modbus supply", 1, {point.name: point for point in points}, 0.05)


def _module_registers(device: str) -> DeviceMap:
    contact = {0: "open", 1: "closed"}
    points = [
        Register("t1", "input register", 0, "float32", "CDAB", unit="degC", low=-20, high=150),
        Register("t2", "input register", 2, "int16", scale=0.1, unit="degC", low=-20, high=150),
        Register("level", "discrete input", 0, states=contact),
        Register("lid", "discrete input", 1, states=contact),
        Register("k1", "coil", 0, states=_OFF_ON),
    ]
    return RegisterMap(device, "modbus module", 2, {point.name: point for point in points}, 0.05)


def _scpi_fields() -> DeviceMap:
    points: list[Point] = [
        Field("current", unit="A", low=0, high=10.5, scale=0.001),
        Field("voltage", unit="V", low=0, high=62, scale=0.001),
        Field("output", states=_OFF_ON),
        Field("mode", bits={0: "current held", 1: "voltage held"}),
        Field("set_current", unit="A", low=0, high=10, scale=0.001),
        Field("set_voltage", unit="V", low=0, high=60, scale=0.001),
    ]
    return DeviceMap("scpi-supply", "scpi supply", 0, {point.name: point for point in points}, 0.05)


def _board_fields() -> DeviceMap:
    points: list[Point] = [
        Field("t1", unit="degC", low=-20, high=150),
        Field("t2", unit="degC", low=-20, high=150),
        Field("level", states={0: "open", 1: "closed"}),
        Field("heartbeat", unit="s", low=0, high=1e9),
        Field("lamp", states=_OFF_ON),
    ]
    return DeviceMap("board", "sentence board", 0, {point.name: point for point in points}, 0.05, keep_s=5.0)


def beyond(known: DeviceMap) -> DeviceMap:
    """The same points where the device has none: other addresses, names and headers, and a time too long to keep."""

    def moved(point: Point) -> Point:
        if isinstance(point, Register):
            return replace(point, address=point.address + 1000)
        assert isinstance(point, Field)
        if known.driver == "sentence board":
            return replace(point, label=f"no-{point.name}")
        measured = point.name in {"current", "voltage"}
        return replace(point, query="NONE?") if measured else replace(point, command="NONE")

    points = {name: moved(point) for name, point in known.points.items()}
    return replace(known, points=points, keep_s=None if known.keep_s is None else 120.0)


def _running(supply: str, *, on: bool) -> Callable[[LineServer], None]:
    def before(server: LineServer) -> None:
        of = server.line.supplies[supply]
        of.set_current(1.5)
        of.set_voltage(30.0)
        of.switch(on=on)

    return before


def _rests(switch: str) -> Callable[[LineServer], None]:
    return lambda server: server.line.switches[switch].command(on=False)


def _nothing(_server: LineServer) -> None:
    """All is where it is wanted."""


def _no_values(_line: SimulatedLine) -> dict[str, float]:
    return {}


def _never(_server: LineServer) -> bool:
    return False


def _reads(*points: str) -> Callable[[Device], Awaitable[Scan]]:
    return lambda device: device.read(points)


def _supply_rows(
    driver: str, protocol: Protocol, supply: str, build: Callable[[], DeviceMap], answers: int
) -> list[Row]:
    device = f"{supply}-supply"
    both = protocol != "SCPI"

    def true(line: SimulatedLine) -> dict[str, float]:
        of = line.supplies[supply]
        return {"current": of.current_a, **({"voltage": of.voltage_v} if both else {})}

    def row(
        what: str, kind: Kind, do: Callable[[SupplyDevice], Awaitable[Scan | Sent]], done: Callable[[LineServer], bool],
        *, on: bool, count: int = answers,
    ) -> Row:  # fmt: skip
        values = true if kind == "read" else _no_values
        return Row(driver, protocol, what, kind, device, build, do, _running(supply, on=on), values, done, count)

    return [
        row("read", "read", _reads("current", "voltage") if both else _reads("current"), _never, on=True, count=1),
        row("off", "off", lambda d: d.switch_off(), lambda s: not s.line.supplies[supply].is_on, on=True),
        row("on", "on", lambda d: d.switch_on(), lambda s: s.line.supplies[supply].is_on, on=False),
        row(
            "set current", "set", lambda d: d.set_current(2.5),
            lambda s: abs(s.line.supplies[supply].set_current_a - 2.5) < 1e-6, on=False,
        ),
    ]  # fmt: skip


def _module_rows(protocol: Protocol, device: str, switch: str) -> list[Row]:
    def temperatures(line: SimulatedLine) -> dict[str, float]:
        return {"t1": line.sensors["acid"].sheath_c, "t2": line.sensors["room"].sheath_c}

    def contacts(line: SimulatedLine) -> dict[str, float]:
        return {name: float(line.contacts[name].is_closed) for name in ("level", "lid")}

    def relay(driver: SwitchDevice) -> Awaitable[Sent]:
        return driver.set_switch("k1", on=True)

    def row(what: str, kind: Kind, do: Any, before: Any, true: Any, done: Any) -> Row:
        return Row(
            "modbus module", protocol, what, kind, device, lambda: _module_registers(device), do, before, true, done
        )  # fmt: skip

    return [
        row("numbers", "read", _reads("t1", "t2"), _nothing, temperatures, _never),
        row("contacts", "read", _reads("level", "lid"), _nothing, contacts, _never),
        row("relay", "relay", relay, _rests(switch), _no_values, lambda s: s.line.switches[switch].is_on),
    ]


def _board_rows() -> list[Row]:
    async def next_values(driver: Device) -> Scan:
        """The next sentence with values: a heartbeat has none of them."""
        while "t1" not in (scan := await driver.read({"t1", "t2", "level"})).values and "t2" not in scan.values:
            pass
        return scan

    def true(line: SimulatedLine) -> dict[str, float]:
        return {
            "t1": line.sensors["acid"].sheath_c,
            "t2": line.sensors["room"].sheath_c,
            "level": float(line.contacts["level"].is_closed),
        }

    def board(server: LineServer) -> Microcontroller:
        wire = server._texts["board"]
        assert isinstance(wire, BoardWire)
        return wire.board

    def let_go(server: LineServer) -> None:
        board(server).keep_s = 0.0

    def row(what: str, kind: Kind, do: Any, before: Any, true: Any, done: Any) -> Row:
        return Row("sentence board", "board", what, kind, "board", _board_fields, do, before, true, done)

    def relay(driver: BoardSentence) -> Awaitable[Sent]:
        return driver.set_switch("lamp", on=True)

    return [
        row("read", "read", next_values, _nothing, true, _never),
        row("relay", "relay", relay, _rests("lamp"), _no_values, lambda s: s.line.switches["lamp"].is_on),
        row("keep", "keep", lambda d: d.keep(), let_go, _no_values, lambda s: board(s).keep_s == 5.0),
    ]


ROWS: tuple[Row, ...] = (
    *_supply_rows("modbus supply", "RTU", "rtu", lambda: _supply_registers("rtu-supply"), 1),
    *_supply_rows("modbus supply", "TCP", "tcp", lambda: _supply_registers("tcp-supply"), 1),
    *_module_rows("RTU", "rtu-module", "fan"),
    *_module_rows("TCP", "tcp-module", "horn"),
    *_supply_rows("scpi supply", "SCPI", "scpi", _scpi_fields, 4),
    *_board_rows(),
)
