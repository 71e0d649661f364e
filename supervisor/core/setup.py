"""The line as the core sees it: names, ratings and limits in SI, fixed at start. The line file becomes one of these."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from supervisor.core.effects import Interlock
from supervisor.core.interlocks import standard_interlocks
from supervisor.core.tank_setup import TankSetup
from supervisor.core.words import Units
from supervisor.trade.charge import Bound
from supervisor.trade.metering import STEADY, Meter

Mode = Literal["current", "voltage"]
"""What an operation holds: a current under a voltage ceiling, or a voltage under a current cap."""

TargetMeans = Literal["mean", "least local"]
"""Which thickness a target is: the load's mean, or that of its thinnest place."""


ThermocoupleKind = Literal["K", "J", "T", "E", "N"]

Control = Literal["remote", "contactor", "none"]
"""How a supply is driven: over a wire; by knobs, with a contactor that can break its circuit; by knobs alone."""

OutputRole = Literal["supply output", "contactor", "heater", "cooling", "fan", "agitation", "lamp", "horn"]
ContactRole = Literal[
    "level", "air flow", "air pressure", "lid", "guard", "emergency stop", "button", "auxiliary contact"
]

Proof = Literal["", "ventilation", "agitation"]
"""What a contact of moving air proves: that fumes are drawn off, or that the bath is stirred."""

ButtonUse = Literal["", "silence", "acknowledge", "test"]

Colour = Literal["", "red", "yellow", "green", "blue", "white"]

Breaks = Literal["", "mains", "direct current"]
"""What a contactor breaks: the supply's mains, or the bath's circuit, for which it must be rated."""


@dataclass(frozen=True, slots=True)
class Accuracy:
    """Limit of error of a reading: of_reading x |value| + absolute (in the channel's unit)."""

    of_reading: float
    absolute: float


@dataclass(frozen=True, slots=True)
class ThermocoupleSetup:
    """A channel that reads a thermocouple's voltage: its type, and the point of its cold junction's temperature."""

    kind: ThermocoupleKind
    junction: str


@dataclass(frozen=True, slots=True)
class ChannelSetup:
    """One measured value.

    Attributes:
        name: unique in the line, such as `acid-temperature` or `main-current`.
        device: the device it is read from.
        point: the device's own name for it.
        unit: A, V, degC or "" (state or contact).
        low: least believable value of the device, in `unit`.
        high: greatest, in `unit`.
        accuracy: limit of error.
        period_s: process time between readings.
        age_limit_s: process time after which the newest good reading no longer counts; floored by the wire.
        thermocouple: where the point is a voltage, V, that is turned into the channel's degC; None elsewhere.
    """

    name: str
    device: str
    point: str
    unit: str
    low: float
    high: float
    accuracy: Accuracy
    period_s: float
    age_limit_s: float
    thermocouple: ThermocoupleSetup | None = None


@dataclass(frozen=True, slots=True)
class SupplySetup:
    """One DC supply over one tank.

    Attributes:
        name: as the line file calls it.
        device: the device that is this supply, or that meters it where it has knobs only.
        output: name of its output in the line file; "" where it has none.
        tank: name of the tank it feeds.
        current: channel name of its current meter, A. voltage: of its volt meter, V.
        output_state: channel of the output state read back (1 on, 0 off).
        mode: channel of the regulation mode (0 current held, 1 voltage held).
        set_current: channel of the current set point read back, A. set_voltage: of the voltage set point, V.
            These four, and the three that follow, are "" where nothing is read back.
        uptime: seconds since its power came on. restarted: 1 once after its power came on.
        counter: the charge it counted by itself, C.
        rated_current_a: what the supply can give at most, A. rated_voltage_v: likewise, V.
        cap_current_a: the line's own cap, A; at most the rating.
        current_step_a: the device's least step of the current set point, A; of the meter where nothing is set.
            voltage_step_v: likewise, V.
        off_threshold_a: a good reading below this counts toward the proof of off, A.
        proof_deadline_s: wire time within which off must be proven, s.
        resend_s: wire time between off commands while off is not proven, s.
        silent_after_s: process time without one good current reading that means the supply is silent.
        contactor: name of the output that can break the circuit: the second means of a remote supply, the only one
            of a supply with knobs; None where not fitted.
        device_time_out_s: wire time after which the device switches itself off without traffic; None where it does not.
        control: how it is driven.
        meter: what its current meter makes of a rippled current.
        counts: limit of error of its own counter, C; None where its manual does not say.
    """

    name: str
    device: str
    output: str
    tank: str
    current: str
    voltage: str
    output_state: str
    mode: str
    set_current: str
    set_voltage: str
    rated_current_a: float
    rated_voltage_v: float
    cap_current_a: float
    current_step_a: float
    voltage_step_v: float
    off_threshold_a: float
    proof_deadline_s: float
    resend_s: float
    silent_after_s: float
    contactor: str | None
    device_time_out_s: float | None
    control: Control = "remote"
    uptime: str = ""
    restarted: str = ""
    counter: str = ""
    meter: Meter = STEADY
    counts: Accuracy | None = None


@dataclass(frozen=True, slots=True)
class OutputSetup:
    """One output.

    Attributes:
        role: what it drives. safe_on: its state at start, at exit and on doubt (a contactor's on is closed).
        device: what switches it. point: the device's name for it; "" for a supply output.
        tank: the tank it belongs to; "" where it is none's.
        auxiliary: channel of the contact that shows whether a contactor is closed; None where not fitted.
        resend_s: wire time between two sendings of its safe state while that is not confirmed, s.
        colour: of a lamp. breaks: of a contactor; "" where the line file does not say.
    """

    name: str
    role: OutputRole
    safe_on: bool
    device: str
    point: str = ""
    tank: str = ""
    auxiliary: str | None = None
    resend_s: float = 0.25
    colour: Colour = ""
    breaks: Breaks = ""


@dataclass(frozen=True, slots=True)
class ContactSetup:
    """A contact, closed when healthy; a button's is closed while it is pressed.

    Attributes:
        role: what it tells. channel: where it is read (1 closed). tank: its tank, "" where it is the whole line's.
        proves: of moving air: what for. does: of a button: what it asks for.
    """

    name: str
    role: ContactRole
    channel: str
    tank: str = ""
    proves: Proof = ""
    does: ButtonUse = ""


@dataclass(frozen=True, slots=True)
class WatchSetup:
    """A device without a heartbeat that must go on answering.

    Attributes:
        device: whose. channels: all it is read for, any of which shows that it is there.
        silent_after_s: process time without an answer, be it that there is no value, after which it counts as lost.
        supplies: those over which operations are held then.
    """

    device: str
    channels: tuple[str, ...]
    silent_after_s: float
    supplies: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class VentilationSetup:
    """Process times, s, for which fumes must have been drawn off before current, and are drawn off after it."""

    before_s: float = 30.0
    after_s: float = 300.0


@dataclass(frozen=True, slots=True)
class AlarmSetup:
    """How alarms are told.

    Attributes:
        longest_shelving_s: process time for which an alarm may be shelved at most.
        again_high_s, again_medium_s: process time after which an acknowledged one whose cause stands is told again.
    """

    longest_shelving_s: float = 8 * 3600.0
    again_high_s: float = 600.0
    again_medium_s: float = 1800.0


@dataclass(frozen=True, slots=True)
class HeartbeatSetup:
    """A device's sign of life.

    Attributes:
        device: whose. channel: seconds since that device began; smaller than before, it has begun anew.
        silent_after_s: process time without one after which it counts as stopped.
        supplies: those over which operations are held then, because something they hang on is that device's.
    """

    device: str
    channel: str
    silent_after_s: float
    supplies: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class GrowthSetup:
    """Thickness per charge per area, um per (C/m2): low, best, high bound of what this line's parts do.

    area_limit: limit of error, a share, of the areas told at this line, as far as it is the same from load to load.
    area_by_load_limit: as far as it differs.
    """

    low_um_m2_per_c: float
    best_um_m2_per_c: float
    high_um_m2_per_c: float
    area_limit: float = 0.05
    area_by_load_limit: float = 0.02


@dataclass(frozen=True, slots=True)
class AnodizeSetup:
    """What an operation takes unless its request says otherwise.

    Attributes:
        mode: `current` (area x density under a voltage ceiling) or `voltage` (ramp to a final one under a current cap).
        density_a_per_m2: current density. highest_density_a_per_m2: never exceeded, A/m2 (R6).
        voltage_v: the ceiling in current mode, the final value in voltage mode, V.
        ramp_s: soft start, process time, s (0: none).
        ramp_step_s: process time between set points of the ramp, s.
        margin: longest time and largest charge are margin x plan (R8); above 1.
        thickest_um: a target above this is refused. target_um: taken where a start names none; None: it must.
        reached_fraction: share of the set current below which the current counts as lost (0.1).
        lost_after_s: for how long, process time, s (1).
        stops_on: which bound of the charge must reach the target.
        alloy: of loads that name none, as trade/alloys.py knows it, several behind commas; "" where nobody says.
        rack_spread: share by which thickness is expected to differ from the mean, either way, across a rack.
        target_means: which thickness a target is.
        restart_plain_s: process time off the current in acid up to which a held load goes on as if nothing had been.
            restart_within_s: up to which it may go on, its coat to be gauged.
    """

    mode: Mode
    density_a_per_m2: float
    highest_density_a_per_m2: float
    voltage_v: float
    ramp_s: float
    ramp_step_s: float
    margin: float
    thickest_um: float
    reached_fraction: float
    lost_after_s: float
    target_um: float | None = None
    stops_on: Bound = "best"
    alloy: str = ""
    rack_spread: float = 0.15
    target_means: TargetMeans = "mean"
    restart_plain_s: float = 120.0
    restart_within_s: float = 600.0


@dataclass(frozen=True, slots=True)
class CalibrationSetup:
    """Largest corrections: of a thermometer, K; of a supply's meters, share of its rating (both common practice)."""

    largest_c: float = 2.0
    largest_of_rating: float = 0.02


@dataclass(frozen=True, slots=True)
class LineSetup:
    """A whole line. Every name used anywhere in it is a key of the mapping of its kind; `units` is what people read.

    Attributes:
        interlocks: the effects of every cause on this line.
        over_supply: by supply, the subjects whose causes act on its operation. over_tank: by tank, on its heater: what
            acts on its supplies as well. Both follow from the rest.
    """

    name: str
    channels: dict[str, ChannelSetup]
    tanks: dict[str, TankSetup]
    supplies: dict[str, SupplySetup]
    outputs: dict[str, OutputSetup]
    growth: GrowthSetup
    anodize: AnodizeSetup
    units: Units = "metric"
    contacts: dict[str, ContactSetup] = field(default_factory=dict)
    heartbeats: dict[str, HeartbeatSetup] = field(default_factory=dict)
    watches: dict[str, WatchSetup] = field(default_factory=dict)
    interlocks: dict[str, Interlock] = field(default_factory=standard_interlocks)
    ventilation: VentilationSetup = VentilationSetup()
    alarms: AlarmSetup = AlarmSetup()
    calibration: CalibrationSetup = CalibrationSetup()
    over_supply: dict[str, frozenset[str]] = field(init=False, repr=False, compare=False)
    over_tank: dict[str, frozenset[str]] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Work out once who acts on whom."""
        supplies = {name: self._over_supply(supply) for name, supply in self.supplies.items()}
        object.__setattr__(self, "over_supply", supplies)  # over_tank asks for it
        object.__setattr__(self, "over_tank", {name: self._over_tank(name) for name in self.tanks})

    def second_means(self, subject: str) -> bool:
        """Whether a supply's circuit can be broken by something else too; True for what is no supply."""
        supply = self.supplies.get(subject)
        return supply is None or (supply.control == "remote" and supply.contactor is not None)

    def _over_supply(self, supply: SupplySetup) -> frozenset[str]:
        """What an operation stands and falls with: its supply, tank and contactor, its contacts and devices."""
        devices = {beat.device for beat in self.heartbeats.values() if supply.name in beat.supplies}
        devices |= {watch.device for watch in self.watches.values() if supply.name in watch.supplies}
        own = {supply.name, supply.tank} | ({supply.contactor} if supply.contactor else set())
        return frozenset(own | devices | self._contacts_of(supply.tank))

    def _over_tank(self, tank: str) -> frozenset[str]:
        """What a heater stands and falls with: its tank and itself, its contacts, devices and supplies."""
        heating, contacts = self.tanks[tank].heating, self._contacts_of(tank)
        channels = {self.tanks[tank].temperature, *(self.contacts[contact].channel for contact in contacts)}
        devices = {self.channels[channel].device for channel in channels}
        own = {tank} if heating is None else {tank, heating.output, self.outputs[heating.output].device}
        supplies = (self.over_supply[name] for name, supply in self.supplies.items() if supply.tank == tank)
        return frozenset(own | contacts | devices).union(*supplies)

    def _contacts_of(self, tank: str) -> set[str]:
        return {contact.name for contact in self.contacts.values() if contact.tank in {tank, ""}}
