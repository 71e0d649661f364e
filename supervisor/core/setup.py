"""The line as the core sees it: names, ratings and limits in SI, fixed at start. The line file becomes one of these."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from supervisor.core.words import Units

Mode = Literal["current", "voltage"]
"""What an operation holds: a current under a voltage ceiling, or a voltage under a current cap."""


ThermocoupleKind = Literal["K", "J", "T", "E", "N"]

Control = Literal["remote", "contactor", "none"]
"""How a supply is driven: over a wire; by knobs, with a contactor that can break its circuit; by knobs alone."""

OutputRole = Literal["supply output", "contactor", "heater", "cooling", "fan", "agitation", "lamp", "horn"]
ContactRole = Literal["level", "air flow", "air pressure", "lid", "emergency stop", "button", "auxiliary contact"]


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
class BandSetup:
    """Limits of a tank's temperature, degC, in rising order, with the deadband by which an alarm clears."""

    trip_low_c: float
    warn_low_c: float
    warn_high_c: float
    trip_high_c: float
    deadband_c: float
    delay_s: float


@dataclass(frozen=True, slots=True)
class TankSetup:
    """One tank. `temperature` names its channel; volume in litres, acid in g/L (0 where there is none)."""

    name: str
    role: Literal["anodize"]
    volume_l: float
    acid_g_per_l: float
    temperature: str
    band: BandSetup


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
            These four are "" where nothing is read back.
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


@dataclass(frozen=True, slots=True)
class OutputSetup:
    """One output.

    Attributes:
        role: what it drives. safe_on: its state at start, at exit and on doubt (a contactor's on is closed).
        device: what switches it. point: the device's name for it; "" for a supply output.
        tank: the tank it belongs to; "" where it is none's.
        auxiliary: channel of the contact that shows whether a contactor is closed; None where not fitted.
        resend_s: wire time between two sendings of its safe state while that is not confirmed, s.
    """

    name: str
    role: OutputRole
    safe_on: bool
    device: str
    point: str = ""
    tank: str = ""
    auxiliary: str | None = None
    resend_s: float = 0.25


@dataclass(frozen=True, slots=True)
class ContactSetup:
    """A contact, closed when healthy: what it tells, its channel (1 closed), and its tank, "" where it is none's."""

    name: str
    role: ContactRole
    channel: str
    tank: str = ""


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
    """Thickness per charge per area, um per (C/m2): low, best, high bound of what this line's parts do."""

    low_um_m2_per_c: float
    best_um_m2_per_c: float
    high_um_m2_per_c: float


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


@dataclass(frozen=True, slots=True)
class LineSetup:
    """A whole line. Every name used anywhere in it is a key of the mapping of its kind; `units` is what people read."""

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

    def second_means(self, subject: str) -> bool:
        """Whether a supply's circuit can be broken by something else too; True for what is no supply."""
        supply = self.supplies.get(subject)
        return supply is None or (supply.control == "remote" and supply.contactor is not None)
