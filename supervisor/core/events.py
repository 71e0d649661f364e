"""Everything that can happen to a line. The core sees nothing else; the journal keeps every one."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from supervisor.core.setup import Mode
from supervisor.trade.calibration import Point


@dataclass(frozen=True, slots=True)
class Instant:
    """One moment on three clocks.

    Attributes:
        process_s: process time, s since boot (scaled in the demo): dose, dwell, delays.
        wire_s: wire time, s since boot (never scaled): time-outs, proof of off, expiry of requests.
        wall_s: UTC seconds since 1970, for people and records; no decision reads it (R10). A due date of a calibration
            is told by it, which switches nothing.
    """

    process_s: float
    wire_s: float
    wall_s: float


class Quality(StrEnum):
    """What the wire showed of a reading, DOUBTED apart: so the core marks a good one that cannot be true.

    Anything but GOOD carries no value.
    """

    GOOD = "good"
    ABSENT = "absent"
    LATE = "late"
    MALFORMED = "malformed"
    OUT_OF_RANGE = "out of range"
    NO_ANSWER = "no answer"
    LINK_DOWN = "link down"
    REFUSED = "refused"
    DOUBTED = "doubted"


@dataclass(frozen=True, slots=True)
class Reading:
    """One channel, once.

    Attributes:
        channel: its name.
        quality: good, or why not.
        value: in the channel's unit; None unless good.
        raw: the registers it came from; empty where none came.
    """

    channel: str
    quality: Quality
    value: float | None
    raw: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Started:
    """The service began. Everything that moves a decision and is no event comes in here.

    Attributes:
        boot_id: the kernel's id of this boot; "" where unknown.
        journal_s: process time of the newest event of the run before, s; None where there was none.
        same_boot: whether that run was in this boot, so that the two process times compare.
    """

    at: Instant
    boot_id: str
    core_version: str
    line_hash: str
    watch_only: bool
    journal_s: float | None = None
    same_boot: bool = True
    event: Literal["started"] = "started"


@dataclass(frozen=True, slots=True)
class Scanned:
    """One transaction's readings; t_sent_s and t_received_s in process time."""

    at: Instant
    device: str
    t_sent_s: float
    t_received_s: float
    readings: tuple[Reading, ...]
    event: Literal["scanned"] = "scanned"


Command = Literal["off", "on", "set points", "time-out"]


@dataclass(frozen=True, slots=True)
class Written:
    """A command's fate on the wire.

    Attributes:
        supply: which supply.
        command: `off`, `on`, `set points` or `time-out`.
        number: the number of the action that asked for it.
        ok: confirmed by the device.
        t_sent_s: process time the last of its frames began to leave. t_received_s: when confirmed or given up.
        problem: for people; "" when ok.
    """

    at: Instant
    supply: str
    command: Command
    number: int
    ok: bool
    t_sent_s: float
    t_received_s: float
    problem: str = ""
    event: Literal["written"] = "written"


@dataclass(frozen=True, slots=True)
class Switched:
    """The fate of a switch command on the wire.

    Attributes:
        output: which output. on: which way. number: of the action that asked for it. The others: as in Written.
    """

    at: Instant
    output: str
    on: bool
    number: int
    ok: bool
    t_sent_s: float
    t_received_s: float
    problem: str = ""
    event: Literal["switched"] = "switched"


@dataclass(frozen=True, slots=True)
class Delayed:
    """The service's loop stood still: by this much wire time, s, more than it meant to wait."""

    at: Instant
    by_wire_s: float
    event: Literal["delayed"] = "delayed"


@dataclass(frozen=True, slots=True)
class Ending:
    """The service was told to end; nothing may be energised any more."""

    at: Instant
    event: Literal["ending"] = "ending"


@dataclass(frozen=True, slots=True)
class Recorded:
    """An intent is durable in the journal."""

    at: Instant
    intent: str
    event: Literal["recorded"] = "recorded"


@dataclass(frozen=True, slots=True)
class Woken:
    """The moment the core asked to be woken at."""

    at: Instant
    event: Literal["woken"] = "woken"


RequestKind = Literal[
    "start",
    "hold",
    "restart",
    "confirm",
    "stop",
    "abort",
    "reset",
    "out",
    "off",
    "alarm reset",
    "alarm acknowledge",
    "alarm shelve",
    "alarm unshelve",
    "alarm out of service",
    "alarm in service",
    "alarm silence",
    "alarm test",
    "heat",
    "rest",
    "filled",
    "exercise",
    "release",
    "gauge",
    "gauge forget",
    "calibrate",
    "calibrate forget",
    "commission",
]


@dataclass(frozen=True, slots=True)
class Order:
    """What a start asks for, in SI; None where the line file's own value is to serve.

    Attributes:
        area_m2: wetted area of the load. target_um: mean coat thickness wanted.
        density_a_per_m2, mode, voltage_v, ramp_s: see AnodizeSetup.
        load: a name for the load; "" lets the core number it. alloy: as written, several behind commas; "" as the line.
    """

    area_m2: float
    target_um: float | None = None
    density_a_per_m2: float | None = None
    mode: Mode | None = None
    voltage_v: float | None = None
    ramp_s: float | None = None
    load: str = ""
    alloy: str = ""


@dataclass(frozen=True, slots=True)
class GaugeReading:
    """A thickness as a gauge, or a balance, showed it: um, and `number` and `unit` as a person wrote them."""

    thickness_um: float
    number: float
    unit: str


@dataclass(frozen=True, slots=True)
class Request:
    """What a person wants, from whatever source.

    Attributes:
        id: unique; the same id a second time is refused (R4).
        made_wire_s: when it was made, boot clock, s. expires_wire_s: after this it is refused.
        source: `socket`. who: the peer's user. what: the kind.
        supply: which supply; "" means the only one. alarm: which alarm, for alarm requests.
        output: which output, for exercise and release.
        confirmed: the person's word that what only hands can do is done: the knobs of a supply without a wire stand at
            nought before a start or restart, or its own switch is off before its contactor is exercised.
        retained: a broker's stored copy; always refused.
        tank: which tank, for heat, rest (its heater is to rest) and filled (it was emptied and filled again).
        for_s: for how long an alarm is shelved, process time, s. why: why it is shelved or taken out of service.
        load: which load, for gauge and gauge forget. readings: of its coat.
        channel: which one, for calibrate and calibrate forget. points: what was shown beside what was true, for
            calibrate and commission. reference: what told the truth. due, due_wall_s: when it is to be done again.
    """

    at: Instant
    id: str
    made_wire_s: float
    expires_wire_s: float
    source: str
    who: str
    what: RequestKind
    supply: str = ""
    alarm: str = ""
    order: Order | None = None
    retained: bool = False
    output: str = ""
    confirmed: bool = False
    tank: str = ""
    for_s: float | None = None
    why: str = ""
    load: str = ""
    readings: tuple[GaugeReading, ...] = ()
    channel: str = ""
    points: tuple[Point, ...] = ()
    reference: str = ""
    due: str = ""
    due_wall_s: float = 0.0
    event: Literal["request"] = "request"


Event = Started | Delayed | Ending | Scanned | Written | Switched | Recorded | Woken | Request
"""Told apart by their `event` field when read back."""


@dataclass(frozen=True, slots=True)
class Wake:
    """When the core wants a Woken next; None on a clock means it does not care."""

    process_s: float | None = None
    wire_s: float | None = None
