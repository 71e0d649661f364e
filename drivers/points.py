"""What a driver is told of a device and its link, whatever the wire: named values, timing, and where the wire is."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import KW_ONLY, dataclass, field
from typing import Literal

LinkKind = Literal["modbus rtu", "modbus tcp", "serial text"]


@dataclass(frozen=True, slots=True)
class Point:
    """One named value of a device. Where it stands on the wire is told by the kinds below.

    Attributes:
        name: as the profile calls it, such as `current`.
        scale: value = raw x scale + offset, in `unit`. offset: see there.
        unit: the unit of the value after scaling; one of A, V, degC, s, C, or "" for a contact or a state.
        low: least value the device can mean, in `unit`. high: greatest.
        no_value: raw values by which the device says that it has no value (open sensor).
        states: raw value to plain word, for a point that is a state (such as 0: "off"); empty for numbers.
    """

    name: str
    _: KW_ONLY
    scale: float = 1.0
    offset: float = 0.0
    unit: str = ""
    low: float = -math.inf
    high: float = math.inf
    no_value: tuple[int, ...] = ()
    states: dict[int, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Field(Point):
    """A point of a device that speaks in text.

    Attributes:
        label: what it is called in the device's own sentences; "" for the point's own name.
        query: what asks for it, such as `MEAS:CURR?`; "" for the driver's own.
        command: what sets it, its value put after a space; "" for the driver's own.
        bits: number of a bit in the answer to plain word, for a state told by bits; empty for others.
    """

    label: str = ""
    query: str = ""
    command: str = ""
    bits: dict[int, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class DeviceMap:
    """All that a driver must know of one device on one link.

    Attributes:
        name: as the line file calls it.
        driver: the catalog's name for its driver.
        unit: Modbus unit id, 1 to 247; 0 on a link where there is only one device.
        points: by name. A supply has `current`, `voltage`, `output`, `mode`, `set_current`, `set_voltage`, `switch`,
            and `time_out` where the device has a communication time-out (value in seconds after scaling); `uptime` and
            `restarted` where it tells since when it has power, `charge` where it counts that by itself (in C).
        worst_answer_s: the longest the device may take to answer, s.
        quiet_s: how long the link stays quiet after each exchange with it, s.
        settle_s: how long it is left alone after its link was opened, s.
        opens_each_scan: whether its link is opened anew for each reading.
        widest_hole: registers nobody wants that a read may pass over, so that two reads become one; 0: none.
        longest_read: registers one read may ask for at most; 0: as many as the protocol allows.
        opening: texts sent once after opening, such as `SYST:REM`.
        keep_s: for so long a board holds its relays without a sign of life, s; None where it cannot be told.
    """

    name: str
    driver: str
    unit: int
    points: Mapping[str, Point]
    worst_answer_s: float
    _: KW_ONLY
    quiet_s: float = 0.0
    settle_s: float = 0.0
    opens_each_scan: bool = False
    widest_hole: int = 0
    longest_read: int = 0
    opening: tuple[str, ...] = ()
    keep_s: float | None = None


@dataclass(frozen=True, slots=True)
class LinkSettings:
    """One link.

    Attributes:
        name: as the line file calls it. kind: what is spoken on it, and over what.
        response_time_out_s: from the first byte of a request until its answer must be complete, s.
        quiet_after_silence_s: how long the link stays quiet after a time-out or a bad answer, s: the longest
            worst answer time of the devices on it.
        quiet_s, settle_s, opens_each_scan: as the most demanding of its devices asks, see DeviceMap.
    """

    name: str
    kind: LinkKind
    response_time_out_s: float
    quiet_after_silence_s: float
    _: KW_ONLY
    quiet_s: float = 0.0
    settle_s: float = 0.0
    opens_each_scan: bool = False

    @property
    def place(self) -> str:
        """Where it is, for people."""
        return self.name


@dataclass(frozen=True, slots=True)
class SerialSettings(LinkSettings):
    """A link over a serial port: its path, bits per second, parity N, E or O, and 1 or 2 stop bits."""

    port: str
    baud: int = 19200
    parity: Literal["N", "E", "O"] = "N"
    stop_bits: int = 1

    @property
    def place(self) -> str:
        """Where it is, for people."""
        return f"port {self.port}"


@dataclass(frozen=True, slots=True)
class TcpSettings(LinkSettings):
    """A link over TCP: name or address of the host, and the port's number."""

    host: str
    port: int = 502

    @property
    def place(self) -> str:
        """Where it is, for people."""
        return f"{self.host}:{self.port}"
