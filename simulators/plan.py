"""The simulators' own line file: what the line is made of, and the wires, devices and register tables that show it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

from simulators.encoding import KINDS, ORDERS, Encoding
from simulators.plan_process import (
    LEAST_ACID_G_PER_L,
    ContactPlan,
    SensorPlan,
    SupplyPlan,
    SwitchPlan,
    TankPlan,
    read_contact,
    read_sensor,
    read_supply,
    read_switch,
    read_tank,
)
from simulators.plan_text import BoardDevicePlan, ScpiDevicePlan, read_board, read_scpi
from simulators.tables import FileError, Reader, read_toml

DEVICE_KINDS = ("modbus", "scpi supply", "microcontroller")
LINK_KINDS = ("modbus rtu", "modbus tcp", "serial text")
TABLES = ("coil", "discrete input", "input register", "holding register")
SUPPLY_VALUES = (
    "current_a", "voltage_v", "on", "mode", "set_current_a", "set_voltage_v", "switch", "time_out_s", "charge_ah",
    "uptime_s",
)  # fmt: skip
_SET_BY_WIRE = ("set_current_a", "set_voltage_v", "switch", "time_out_s")


@dataclass(frozen=True, slots=True)
class RegisterPlan:
    """One value in a device's tables: where it is, how it is coded and what it shows.

    `value` is one of SUPPLY_VALUES of `supply`; else a sensor's temperature, a switch or a contact; nothing at all is a
    socket with nothing in it, which shows `no_value` (a pattern of bits), as a broken sensor does.
    """

    table: str
    address: int
    encoding: Encoding = Encoding()  # noqa: RUF009 - frozen itself
    no_value: int = 0x7FFF
    supply: str = ""
    value: str = ""
    sensor: str = ""
    switch: str = ""
    contact: str = ""


@dataclass(frozen=True, slots=True)
class DevicePlan:
    """A Modbus device on a link; `supply` names the supply it is, empty for a module.

    `holes_read_zero`: addresses between its registers answer 0 instead of exception 2; `longest_read` in registers. It
    boots for `boot_s` of wire time after its power was lost; a module's relays rest after `rests_after_s` of wire time
    in which it has heard no request, 0 for never.
    """

    link: str
    unit: int
    supply: str
    answer_delay_s: float
    registers: tuple[RegisterPlan, ...]
    holes_read_zero: bool = False
    longest_read: int = 125
    boot_s: float = 0.0
    rests_after_s: float = 0.0


@dataclass(frozen=True, slots=True)
class LinkPlan:
    """A wire: a serial bus or line on a pty, or a TCP server.

    With baud_true a serial line's bytes take the time they would on a real wire. `port` 0 lets the system choose.
    """

    baud: int
    baud_true: bool
    kind: str = "modbus rtu"
    host: str = "127.0.0.1"
    port: int = 0


@dataclass(frozen=True, slots=True)
class LinePlan:
    """All that a simulated line is built from."""

    name: str
    room_c: float
    tanks: dict[str, TankPlan]
    supplies: dict[str, SupplyPlan]
    sensors: dict[str, SensorPlan]
    switches: dict[str, SwitchPlan]
    contacts: dict[str, ContactPlan]
    links: dict[str, LinkPlan]
    devices: dict[str, DevicePlan]
    scpi_supplies: dict[str, ScpiDevicePlan] = field(default_factory=dict)
    boards: dict[str, BoardDevicePlan] = field(default_factory=dict)

    @property
    def on_link(self) -> dict[str, str]:
        """Every device, of whatever kind, with the link it is on."""
        modbus = {name: device.link for name, device in self.devices.items()}
        return {**modbus, **self.text_links}

    @property
    def modules(self) -> tuple[str, ...]:
        """Every device that is no supply."""
        return (*(name for name, device in self.devices.items() if not device.supply), *self.boards)

    @property
    def supply_boots_s(self) -> dict[str, float]:
        """How long each supply boots, s of wire time; one that no wire reaches comes back at once."""
        devices: list[DevicePlan | ScpiDevicePlan] = [*self.devices.values(), *self.scpi_supplies.values()]
        return dict.fromkeys(self.supplies, 0.0) | {of.supply: of.boot_s for of in devices if of.supply}

    @property
    def module_boots_s(self) -> dict[str, float]:
        """How long each module boots, s of wire time; a board's own program counts that by itself."""
        return {name: self.devices[name].boot_s if name in self.devices else 0.0 for name in self.modules}

    @property
    def driven(self) -> dict[str, tuple[str, ...]]:
        """The switches that each module's relays drive."""
        modbus = {n: tuple(of.switch for of in d.registers if of.switch) for n, d in self.devices.items()}
        return modbus | {name: tuple(board.drives.values()) for name, board in self.boards.items()}

    @property
    def text_links(self) -> dict[str, str]:
        """Every device that speaks in text, with the link it has for itself."""
        scpi = {name: device.link for name, device in self.scpi_supplies.items()}
        return {**scpi, **{name: board.link for name, board in self.boards.items()}}


def _link(table: Reader) -> LinkPlan:
    kind = table.text("kind", "modbus rtu", LINK_KINDS)
    if kind == "modbus tcp":
        plan = LinkPlan(
            0, baud_true=False, kind=kind, host=table.text("host", "127.0.0.1"), port=table.whole("port", 0)
        )
    else:
        baud = table.whole("baud", 19200, 300, 4_000_000)
        plan = LinkPlan(baud, baud_true=table.flag("baud_true", default=False), kind=kind)
    table.finish()
    return plan


def _register(table: Reader, device_supply: str) -> RegisterPlan:
    supply = table.text("supply", device_supply) if table.has("value") or table.has("supply") else ""
    plan = RegisterPlan(
        table=table.text("table", choices=TABLES),
        address=table.whole("address"),
        encoding=Encoding(
            kind=table.text("kind", "uint16", KINDS),
            order=table.text("order", "ABCD", ORDERS),
            step=table.number("step", 1.0, 1e-9),
            offset=table.number("offset", 0.0),
        ),
        no_value=table.whole("no_value", 0x7FFF, high=0xFFFF_FFFF),
        supply=supply,
        value=table.text("value", choices=SUPPLY_VALUES) if supply else "",
        sensor="" if supply else table.text("sensor", ""),
        switch="" if supply else table.text("switch", ""),
        contact="" if supply else table.text("contact", ""),
    )
    table.finish()
    if sum(map(bool, (plan.supply, plan.sensor, plan.switch, plan.contact))) > 1:
        raise FileError(
            f"a {plan.table} at {plan.address} shows one of value, sensor, switch and contact, not several."
        )
    return plan


def _device(table: Reader) -> DevicePlan:
    supply = table.text("supply", "")
    plan = DevicePlan(
        link=table.text("link"),
        unit=table.whole("unit", low=1, high=247),
        supply=supply,
        answer_delay_s=table.number("answer_delay_ms", 2.0, 0.0) / 1000.0,
        registers=tuple(_register(entry, supply) for entry in table.listed_tables("registers")),
        holes_read_zero=table.text("holes", "refuse", ("refuse", "zero")) == "zero",
        longest_read=table.whole("longest_read", 125, 1, 125),
        boot_s=table.number("boot_ms", 500.0 if supply else 300.0, 0.0) / 1000.0,
        rests_after_s=0.0 if supply else table.number("rests_after_ms", 0.0, 0.0) / 1000.0,
    )
    table.finish()
    return plan


def _used_by_process(plan: LinePlan) -> Iterable[tuple[str, str, Iterable[str]]]:
    """Each name that a table of the process uses: where, the name, and what it may be."""
    for name, supply in plan.supplies.items():
        yield f"supplies.{name}.tank", supply.tank, plan.tanks
    for name, sensor in plan.sensors.items():
        yield f"sensors.{name}.tank", sensor.tank, plan.tanks
    for name, switch in plan.switches.items():
        yield f"switches.{name}.supply", switch.supply, plan.supplies
        yield f"switches.{name}.tank", switch.tank, plan.tanks
    for name, contact in plan.contacts.items():
        yield f"contacts.{name}.follows", contact.follows, plan.switches
        yield f"contacts.{name}.tank", contact.tank, plan.tanks


def _used_by_devices(plan: LinePlan) -> Iterable[tuple[str, str, Iterable[str]]]:
    """Each name that a device's table uses: where, the name, and what it may be."""
    for name, device in plan.devices.items():
        yield f"devices.{name}.link", device.link, plan.links
        yield f"devices.{name}.supply", device.supply, plan.supplies
        for register in device.registers:
            place = f"devices.{name}.registers"
            yield place, register.supply, plan.supplies
            yield place, register.sensor, plan.sensors
            yield place, register.switch, plan.switches
            yield place, register.contact, plan.contacts
    for name, supply in plan.scpi_supplies.items():
        yield f"devices.{name}.supply", supply.supply, plan.supplies
    for name, board in plan.boards.items():
        for shown in board.shows.values():
            yield f"devices.{name}.groups", shown.sensor, plan.sensors
            yield f"devices.{name}.groups", shown.contact, plan.contacts
        for switch in board.drives.values():
            yield f"devices.{name}.relays", switch, plan.switches


def _check_names(plan: LinePlan) -> None:
    for place, name, known in (*_used_by_process(plan), *_used_by_devices(plan)):
        if name and name not in known:
            raise FileError(f"{place}: there is no {name!r}. Known are: {', '.join(known) or 'none'}.")
    for name, supply in plan.supplies.items():
        if plan.tanks[supply.tank].acid_g_per_l < LEAST_ACID_G_PER_L:
            raise FileError(f"supplies.{name}.tank: there is no acid in {supply.tank}, and no cell without it.")
    for name, link in plan.on_link.items():
        if link not in plan.links:
            raise FileError(f"devices.{name}.link: there is no {link!r}. Known are: {', '.join(plan.links) or 'none'}.")
    places = [(device.link, device.unit) for device in plan.devices.values()]
    if len(set(places)) < len(places):
        raise FileError("devices: two devices on one link have the same unit. Give each its own.")


def _check_devices(plan: LinePlan) -> None:
    texts = list(plan.text_links.values())
    for link in texts:
        if plan.links[link].kind != "serial text" or texts.count(link) > 1:
            raise FileError(
                f"links.{link}: one device that speaks in text needs a link of kind serial text for itself."
            )
    for name, device in plan.devices.items():
        if plan.links[device.link].kind == "serial text":
            raise FileError(f"devices.{name}: a Modbus device needs a Modbus link, and {device.link} is none.")
        for register in device.registers:
            if register.value in _SET_BY_WIRE and plan.supplies[register.supply].knobs:
                raise FileError(
                    f"devices.{name}.registers: {register.supply} has knobs; no wire reaches {register.value}."
                )
        taken = [
            (register.table, register.address + place)
            for register in device.registers
            for place in range(register.encoding.words)
        ]
        if len(set(taken)) < len(taken):
            raise FileError(f"devices.{name}.registers: two registers share an address. A 32-bit value takes two.")


def read_plan(path: Path) -> LinePlan:
    """The line that the file describes. Raises FileError naming the first key that is wrong."""
    table = read_toml(path)
    table.whole("version", low=1, high=1)
    devices = table.named_tables("devices")
    kinds = {name: entry.text("kind", "modbus", DEVICE_KINDS) for name, entry in devices.items()}
    of_kind = {kind: {n: entry for n, entry in devices.items() if kinds[n] == kind} for kind in DEVICE_KINDS}
    plan = LinePlan(
        name=table.text("name"),
        room_c=table.number("room_c", 21.0, -10.0, 50.0),
        tanks={name: read_tank(entry) for name, entry in table.named_tables("tanks").items()},
        supplies={name: read_supply(entry) for name, entry in table.named_tables("supplies").items()},
        sensors={name: read_sensor(entry) for name, entry in table.named_tables("sensors").items()},
        switches={name: read_switch(entry) for name, entry in table.named_tables("switches").items()},
        contacts={name: read_contact(entry) for name, entry in table.named_tables("contacts").items()},
        links={name: _link(entry) for name, entry in table.named_tables("links").items()},
        devices={name: _device(entry) for name, entry in of_kind["modbus"].items()},
        scpi_supplies={name: read_scpi(entry) for name, entry in of_kind["scpi supply"].items()},
        boards={name: read_board(entry) for name, entry in of_kind["microcontroller"].items()},
    )
    table.finish()
    _check_names(plan)
    _check_devices(plan)
    return plan
