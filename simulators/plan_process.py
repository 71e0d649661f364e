"""What a line is made of: tanks, supplies with their loads, sensors, switches and contacts, as its file tells."""

from __future__ import annotations

from dataclasses import dataclass

from simulators.cell import ALLOYS
from simulators.meter import AVERAGINGS, SHOWS, MeterPlan
from simulators.tables import FileError, Reader

SWITCH_KINDS = ("contactor", "heater", "cooling", "fan", "agitation", "lamp", "horn")
CONTACT_KINDS = ("level", "air flow", "air pressure", "lid", "guard", "emergency stop", "button", "auxiliary")
SPOT = MeterPlan()
# No cell works in less.
LEAST_ACID_G_PER_L = 20.0


@dataclass(frozen=True, slots=True)
class CoolingPlan:
    """A cooling coil with a thermostat: `power_w` from hold_c + hysteresis_c / 2 down to hold_c - hysteresis_c / 2."""

    hold_c: float
    hysteresis_c: float
    power_w: float


@dataclass(frozen=True, slots=True)
class TankPlan:
    """A tank of acid, or of water (seal, dye) at 0 g/L: litres, g/L, degC at the start; a coil where fitted.

    `loss_w_per_c` goes to the room through its walls, or altogether where no surface is given; `open_surface_m2` loses
    by the table of `bath.open_loss_w_per_m2`, times `open_loss_factor`: sources differ by 30 %, and a lid saves most.
    """

    volume_l: float
    acid_g_per_l: float
    start_c: float
    loss_w_per_c: float
    cooling: CoolingPlan | None
    open_surface_m2: float = 0.0
    open_loss_factor: float = 1.0


@dataclass(frozen=True, slots=True)
class LoadPlan:
    """What hangs in the tank: wetted area, alloy, and how far its surface is above the bath at 24 W/dm2.

    `still_over_bath_c` counts while the tank's agitation is off. `growth_um_per_a_min_dm2` is how its coat grows; None
    leaves that to chance within what its alloy does.
    """

    area_dm2: float
    alloy: str
    surface_over_bath_c: float
    still_over_bath_c: float = 9.0
    growth_um_per_a_min_dm2: float | None = None


@dataclass(frozen=True, slots=True)
class SupplyPlan:
    """A DC supply over a tank, its leads and its load. `after_dip`: `off` or `last state`.

    `counter_gain_error` is the share by which its own counter of ampere-hours counts too much. With `knobs` nothing
    but a hand sets and switches it. `meter` is how its meter or shunt reads, and how the current ripples.
    """

    tank: str
    rated_current_a: float
    rated_voltage_v: float
    cap_current_a: float
    meter_gain_error: float
    after_dip: str
    leads_ohm: float
    load: LoadPlan
    knobs: bool = False
    meter: MeterPlan = SPOT
    counter_gain_error: float = 0.0


@dataclass(frozen=True, slots=True)
class SensorPlan:
    """A thermocouple in a sheath; `tank` empty means that it hangs in the room's air."""

    tank: str
    lag_s: float
    noise_c: float


@dataclass(frozen=True, slots=True)
class SwitchPlan:
    """A relay and what it drives. `rests_on` is its state at the start and whenever its board lets go of it.

    A contactor lies between a supply's output and its load; a heater warms its tank with `power_w` and a cooling takes
    as much from it; agitation moves the liquid of its tank.
    """

    kind: str
    supply: str = ""
    tank: str = ""
    power_w: float = 0.0
    rests_on: bool = False


@dataclass(frozen=True, slots=True)
class ContactPlan:
    """A contact, closed when healthy; it `follows` a switch's true state where it names one.

    A level's opens as the liquid of its `tank` falls; a button's is closed while a hand holds it down.
    """

    kind: str
    follows: str = ""
    tank: str = ""


def _cooling(table: Reader) -> CoolingPlan:
    plan = CoolingPlan(
        hold_c=table.number("hold_c"),
        hysteresis_c=table.number("hysteresis_c", 0.2, 0.0),
        power_w=table.number("power_w", low=0.0),
    )
    table.finish()
    return plan


def read_tank(table: Reader) -> TankPlan:
    """A tank as its table tells. Raises FileError."""
    open_surface_m2 = table.number("open_surface_m2", 0.0, 0.0)
    plan = TankPlan(
        volume_l=table.number("volume_l", low=0.1),
        acid_g_per_l=table.number("acid_g_per_l", low=0.0, high=400.0),
        start_c=table.number("start_c", low=-5.0, high=100.0),
        loss_w_per_c=table.number("loss_w_per_c", 0.0 if open_surface_m2 > 0.0 else None, 0.0),
        cooling=_cooling(table.table("cooling")) if table.has("cooling") else None,
        open_surface_m2=open_surface_m2,
        open_loss_factor=table.number("open_loss_factor", 1.0, 0.0, 2.0) if open_surface_m2 > 0.0 else 1.0,
    )
    table.finish()
    if 0.0 < plan.acid_g_per_l < LEAST_ACID_G_PER_L:
        raise FileError(f"acid_g_per_l: 0 for a tank without acid, or at least {LEAST_ACID_G_PER_L:g}.")
    return plan


def _load(table: Reader) -> LoadPlan:
    plan = LoadPlan(
        area_dm2=table.number("area_dm2", low=0.001),
        alloy=table.text("alloy", choices=tuple(ALLOYS)),
        surface_over_bath_c=table.number("surface_over_bath_c", 1.5, 0.0, 12.0),
        still_over_bath_c=table.number("still_over_bath_c", 9.0, 0.0, 40.0),
        growth_um_per_a_min_dm2=table.optional_number("growth_um_per_a_min_dm2", 0.0),
    )
    table.finish()
    return plan


def _meter(table: Reader) -> MeterPlan:
    averaging = table.text("meter_averaging", "spot", AVERAGINGS)
    return MeterPlan(
        averaging=averaging,
        over_s=0.0 if averaging == "spot" else table.number("meter_averaging_s", low=0.001),
        shows="mean" if averaging == "spot" else table.text("meter_shows", "mean", SHOWS),
        zero_a=table.number("meter_zero_a", 0.0),
        ripple_share=table.number("ripple_share", 0.0, 0.0, 0.7),
        ripple_hz=table.number("ripple_hz", 100.0, 1.0),
    )


def read_supply(table: Reader) -> SupplyPlan:
    """A supply as its table tells. Raises FileError."""
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
        knobs=table.flag("knobs", default=False),
        meter=_meter(table),
        counter_gain_error=table.number("counter_gain_error", 0.0, -0.5, 0.5),
    )
    table.finish()
    return plan


def read_sensor(table: Reader) -> SensorPlan:
    """A sensor as its table tells. Raises FileError."""
    plan = SensorPlan(
        tank=table.text("tank", ""), lag_s=table.number("lag_s", 40.0, 0.0), noise_c=table.number("noise_c", 0.05, 0.0)
    )
    table.finish()
    return plan


def read_switch(table: Reader) -> SwitchPlan:
    """A switch as its table tells. Raises FileError."""
    kind = table.text("kind", choices=SWITCH_KINDS)
    in_tank = kind in {"heater", "cooling", "agitation"}
    plan = SwitchPlan(
        kind=kind,
        supply=table.text("supply") if kind == "contactor" else "",
        tank=table.text("tank") if in_tank else "",
        power_w=table.number("power_w", low=0.0) if kind in {"heater", "cooling"} else 0.0,
        rests_on=table.flag("rests_on", default=False),
    )
    table.finish()
    return plan


def read_contact(table: Reader) -> ContactPlan:
    """A contact as its table tells. Raises FileError."""
    kind = table.text("kind", choices=CONTACT_KINDS)
    plan = ContactPlan(
        kind,
        table.text("follows") if kind == "auxiliary" else table.text("follows", ""),
        table.text("tank", "") if kind == "level" else "",
    )
    table.finish()
    return plan
