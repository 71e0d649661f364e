"""All that a line remembers from one event to the next: frozen values, kept as snapshots in the journal."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from supervisor.core.alarm_log import Happening
from supervisor.core.alarms import Alarm
from supervisor.core.annunciator import AnnunciatorState
from supervisor.core.anodize import Operation
from supervisor.core.believe import Belief
from supervisor.core.calibrated import Calibration, Commissioned
from supervisor.core.coat import Coat
from supervisor.core.contactor import Closing
from supervisor.core.contacts import ContactState
from supervisor.core.cooling import CoolingState
from supervisor.core.events import Reading
from supervisor.core.forecast import TankForecast
from supervisor.core.heating import HeatingState
from supervisor.core.limits import BandState
from supervisor.core.load import Gauged, Load
from supervisor.core.output import Output
from supervisor.core.plan import Plan
from supervisor.core.switches import SwitchState


@dataclass(frozen=True, slots=True)
class Latest:
    """The newest reading of a channel.

    Attributes:
        reading: as it came, good or not. at_s: process time of its sample.
        good_s: process time of the newest good sample; None before the first since start.
        good_value: that sample's value; meaningless while `good_s` is None.
        answered_s: process time of the newest sample that its device answered, be it that there is no value.
        doubt: why the newest is not believed; "" where it is, or none came.
        shown: what the instrument showed, before any calibration and belief; None where nothing good came.
    """

    reading: Reading
    at_s: float
    good_s: float | None
    good_value: float = 0.0
    answered_s: float | None = None
    doubt: str = ""
    shown: float | None = None

    @property
    def heard_s(self) -> float | None:
        """Process time of the newest answer; a record of an earlier release knows of good ones alone."""
        return self.good_s if self.answered_s is None else self.answered_s


@dataclass(frozen=True, slots=True)
class Pending:
    """A start or restart whose intent is not durable yet.

    Attributes:
        intent: id given to the journal. request: id to answer. what: start or restart.
        operation, load: ids it will have. plan: what it will do. deadline_wire_s: after this it is refused.
    """

    intent: str
    request: str
    what: Literal["start", "restart"]
    operation: str
    load: str
    plan: Plan
    deadline_wire_s: float


@dataclass(frozen=True, slots=True)
class Exercise:
    """The output a person tries out, and the wire time at which it goes back to its safe state whatever happens, s."""

    output: str
    until_wire_s: float


@dataclass(frozen=True, slots=True)
class SupplyState:
    """One supply.

    Attributes:
        output: the proof of off. operation: what runs under it; None while idle. pending: an intent on its way.
        faults: causes seen by events; they stand until off is proven.
        voltage_held: regulation mode last read; None before the first.
        lead_s: process time from a decision to its effect at the device, smoothed over the set points written.
        armed: whether the device confirmed its own communication time-out.
        closing: its contactor on the way to closed; None while it is not.
        counted_from: the supply's own counter, C, and the metered charge, C, at the same moment of this operation; None
            before the first reading of it.
        coat: what becomes of the coat of its load beside the charge, also once the operation is over.
    """

    output: Output = field(default_factory=Output)
    operation: Operation | None = None
    pending: Pending | None = None
    faults: frozenset[str] = frozenset()
    voltage_held: bool | None = None
    lead_s: float = 0.0
    armed: bool = False
    closing: Closing | None = None
    counted_from: tuple[float, float] | None = None
    coat: Coat = field(default_factory=Coat)


@dataclass(frozen=True, slots=True)
class LineState:
    """One line at one moment.

    Attributes:
        started_s: process time of the service's start. heard_from_s: since when it listens without a break: that, or
            the end of the newest standstill that holds loads, process time, s. watch_only: nothing may be energised.
        ending: the service was told to end.
        channels: newest readings by channel. bands, supplies, alarms, loads: by tank, supply, alarm name, load id.
        outputs: those that are no supply's, by name. exercise: the one under trial; None while none is.
        restarted: devices whose newest heartbeat says that they began anew.
        requests: ids of the newest requests, oldest first (R4).
        actions, operations, numbered_loads: how many there have been; the next number is one more.
        contacts: what they showed, by name. alarm_log: what became of alarms lately, oldest first.
        attended_s: process time at which a person last asked for anything; None if nobody has since the start.
        heating, cooling: by tank. air: process time at which a fan or agitation that rests otherwise was needed last.
        lowered_wire_s: when the newest request was made that takes energy away; an older one that adds some is refused.
        forecasts: how baths go on, by tank, and what was learned of that.
        believed: what readings of temperatures have shown, by tank. switched: process time of the newest switching, by
            output.
        annunciator: what lamps, horn and buttons remember.
        gauged: what gauges said, by load id, oldest first.
        calibrations: by channel. commissioned: what was seen of meters when they were fitted, by supply.
    """

    started_s: float = 0.0
    heard_from_s: float = 0.0
    watch_only: bool = False
    ending: bool = False
    channels: dict[str, Latest] = field(default_factory=dict)
    bands: dict[str, BandState] = field(default_factory=dict)
    supplies: dict[str, SupplyState] = field(default_factory=dict)
    alarms: dict[str, Alarm] = field(default_factory=dict)
    loads: dict[str, Load] = field(default_factory=dict)
    requests: tuple[str, ...] = ()
    actions: int = 0
    operations: int = 0
    numbered_loads: int = 0
    outputs: dict[str, SwitchState] = field(default_factory=dict)
    exercise: Exercise | None = None
    restarted: frozenset[str] = frozenset()
    contacts: dict[str, ContactState] = field(default_factory=dict)
    alarm_log: tuple[Happening, ...] = ()
    attended_s: float | None = None
    lowered_wire_s: float | None = None
    annunciator: AnnunciatorState = field(default_factory=AnnunciatorState)
    heating: dict[str, HeatingState] = field(default_factory=dict)
    cooling: dict[str, CoolingState] = field(default_factory=dict)
    air: dict[str, float] = field(default_factory=dict)
    forecasts: dict[str, TankForecast] = field(default_factory=dict)
    gauged: dict[str, Gauged] = field(default_factory=dict)
    believed: dict[str, Belief] = field(default_factory=dict)
    switched: dict[str, float] = field(default_factory=dict)
    calibrations: dict[str, Calibration] = field(default_factory=dict)
    commissioned: dict[str, Commissioned] = field(default_factory=dict)
