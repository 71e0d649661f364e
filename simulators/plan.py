"""The simulators' own line file: tanks, supplies with their loads, sensors, links and register tables."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from simulators.cell import ALLOYS
from simulators.tables import FileError, Reader, read_toml

TABLES = ("coil", "discrete input", "input register", "holding register")
SUPPLY_VALUES = ("current_a", "voltage_v", "on", "mode", "set_current_a", "set_voltage_v", "switch", "time_out_s")


@dataclass(frozen=True, slots=True)
class CoolingPlan:
    """A cooling coil with a thermostat: `power_w` from hold_c + hysteresis_c / 2 down to hold_c - hysteresis_c / 2."""

    hold_c: float
    hysteresis_c: float
    power_w: float


@dataclass(frozen=True, slots=True)
class TankPlan:
    """A tank of acid: litres, g/L, degC at the start, W/degC lost to the room; cooling where fitted."""

    volume_l: float
    acid_g_per_l: float
    start_c: float
    loss_w_per_c: float
    cooling: CoolingPlan | None


@dataclass(frozen=True, slots=True)
class LoadPlan:
    """What hangs in the tank: wetted area, alloy, and how far its surface is above the bath at 24 W/dm2."""

    area_dm2: float
    alloy: str
    surface_over_bath_c: float


@dataclass(frozen=True, slots=True)
class SupplyPlan:
    """A DC supply over a tank, its leads and its load. `after_dip`: `off` or `last state`."""

    tank: str
    rated_current_a: float
    rated_voltage_v: float
    cap_current_a: float
    meter_gain_error: float
    after_dip: str
    leads_ohm: float
    load: LoadPlan


@dataclass(frozen=True, slots=True)
class SensorPlan:
    """A thermocouple in a sheath; `tank` empty means that it hangs in the room's air."""

    tank: str
    lag_s: float
    noise_c: float


@dataclass(frozen=True, slots=True)
class RegisterPlan:
    """One register or contact: where it is, what it shows and the value of one count.

    `value` is one of SUPPLY_VALUES for a supply; `sensor` names a sensor, empty for a socket with nothing in it.
    """

    table: str
    address: int
    value: str
    sensor: str
    step: float
    signed: bool
    no_value: int


@dataclass(frozen=True, slots=True)
class DevicePlan:
    """A Modbus device on a link; `supply` names the supply it is, empty for a thermometer."""

    link: str
    unit: int
    supply: str
    answer_delay_s: float
    registers: tuple[RegisterPlan, ...]


@dataclass(frozen=True, slots=True)
class LinkPlan:
    """A serial bus; with baud_true its bytes take the time they would on a real wire."""

    baud: int
    baud_true: bool


@dataclass(frozen=True, slots=True)
class LinePlan:
    """All that a simulated line is built from."""

    name: str
    room_c: float
    tanks: dict[str, TankPlan]
    supplies: dict[str, SupplyPlan]
    sensors: dict[str, SensorPlan]
    links: dict[str, LinkPlan]
    devices: dict[str, DevicePlan]


def _cooling(table: Reader) -> CoolingPlan:
    plan = CoolingPlan(
        hold_c=table.number("hold_c"),
        hysteresis_c=table.number("hysteresis_c", 0.2, 0.0),
        power_w=table.number("power_w", low=0.0),
    )
    table.finish()
    return plan


def _tank(table: Reader) -> TankPlan:
    plan = TankPlan(
        volume_l=table.number("volume_l", low=0.1),
        acid_g_per_l=table.number("acid_g_per_l", low=20.0, high=400.0),
        start_c=table.number("start_c", low=-5.0, high=60.0),
        loss_w_per_c=table.number("loss_w_per_c", low=0.0),
        cooling=_cooling(table.table("cooling")) if table.has("cooling") else None,
    )
    table.finish()
    return plan


def _load(table: Reader) -> LoadPlan:
    plan = LoadPlan(
        area_dm2=table.number("area_dm2", low=0.001),
        alloy=table.text("alloy", choices=tuple(ALLOYS)),
        surface_over_bath_c=table.number("surface_over_bath_c", 1.5, 0.0, 12.0),
    )
    table.finish()
    return plan


def _supply(table: Reader) -> SupplyPlan:
    rated_current_a = table.number("rated_current_a", low=0.0)
    plan = SupplyPlan(
        tank=table.text("tank"),
        rated_current_a=rated_current_a,
        rated_voltage_v=table.number("rated_voltage_v", low=0.0),
        cap_current_a=table.number("cap_current_a", rated_current_a, 0.0, rated_current_a),
        meter_gain_error=table.number("meter_gain_error", 0.0, -0.5, 0.5),
        after_dip=table.text("after_dip", "off", ("off", "last state")),
        leads_ohm=table.number("leads_ohm", 0.05, 0.0),
        load=_load(table.table("load")),
    )
    table.finish()
    return plan


def _sensor(table: Reader) -> SensorPlan:
    plan = SensorPlan(
        tank=table.text("tank", ""), lag_s=table.number("lag_s", 40.0, 0.0), noise_c=table.number("noise_c", 0.05, 0.0)
    )
    table.finish()
    return plan


def _link(table: Reader) -> LinkPlan:
    plan = LinkPlan(baud=table.whole("baud", 19200, 300, 4_000_000), baud_true=table.flag("baud_true", default=False))
    table.finish()
    return plan


def _register(table: Reader, is_supply: bool) -> RegisterPlan:
    plan = RegisterPlan(
        table=table.text("table", choices=TABLES),
        address=table.whole("address"),
        value=table.text("value", choices=SUPPLY_VALUES) if is_supply else "",
        sensor="" if is_supply else table.text("sensor", ""),
        step=table.number("step", 1.0, 1e-9),
        signed=table.flag("signed", default=False),
        no_value=table.whole("no_value", 0x7FFF),
    )
    table.finish()
    return plan


def _device(table: Reader) -> DevicePlan:
    supply = table.text("supply", "")
    plan = DevicePlan(
        link=table.text("link"),
        unit=table.whole("unit", low=1, high=247),
        supply=supply,
        answer_delay_s=table.number("answer_delay_ms", 2.0, 0.0) / 1000.0,
        registers=tuple(_register(entry, bool(supply)) for entry in table.listed_tables("registers")),
    )
    table.finish()
    return plan


def _check_names(plan: LinePlan) -> None:
    used: list[tuple[str, str, Iterable[str]]] = [
        (f"supplies.{name}.tank", supply.tank, plan.tanks) for name, supply in plan.supplies.items()
    ]
    used += [(f"sensors.{name}.tank", sensor.tank, plan.tanks) for name, sensor in plan.sensors.items() if sensor.tank]
    for name, device in plan.devices.items():
        used.append((f"devices.{name}.link", device.link, plan.links))
        used += [(f"devices.{name}.supply", device.supply, plan.supplies)] if device.supply else []
        used += [(f"devices.{name}.registers", reg.sensor, plan.sensors) for reg in device.registers if reg.sensor]
    for place, name, known in used:
        if name not in known:
            raise FileError(f"{place}: there is no {name!r}. Known are: {', '.join(known) or 'none'}.")
    places = [(device.link, device.unit) for device in plan.devices.values()]
    if len(set(places)) < len(places):
        raise FileError("devices: two devices on one link have the same unit. Give each its own.")


def read_plan(path: Path) -> LinePlan:
    """The line that the file describes. Raises FileError naming the first key that is wrong."""
    table = read_toml(path)
    table.whole("version", low=1, high=1)
    plan = LinePlan(
        name=table.text("name"),
        room_c=table.number("room_c", 21.0, -10.0, 50.0),
        tanks={name: _tank(entry) for name, entry in table.named_tables("tanks").items()},
        supplies={name: _supply(entry) for name, entry in table.named_tables("supplies").items()},
        sensors={name: _sensor(entry) for name, entry in table.named_tables("sensors").items()},
        links={name: _link(entry) for name, entry in table.named_tables("links").items()},
        devices={name: _device(entry) for name, entry in table.named_tables("devices").items()},
    )
    table.finish()
    _check_names(plan)
    return plan
