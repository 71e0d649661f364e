"""What every driver offers and raises: the whole surface between the wires and the supervisor."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Protocol

from drivers.points import LinkSettings

# The names say what happened on the wire, as a person would; "Error" behind each would say nothing more.


class WireError(Exception):
    """Something went wrong on a wire; the text is for a person. Only the four kinds below are raised."""


class LinkDown(WireError):  # noqa: N818
    """The port is missing, busy, unplugged or could not be opened."""


class NoAnswer(WireError):  # noqa: N818
    """Nothing usable came back within the response time-out."""


class BadAnswer(WireError):  # noqa: N818
    """Bytes came back, but not the answer to this request: wrong check sum, unit, function, count or length."""


class Refused(WireError):  # noqa: N818
    """The device answered that it will not do this.

    Attributes:
        code: the exception code or error number the device gave.
    """

    def __init__(self, message: str, code: int) -> None:
        super().__init__(message)
        self.code = code


@dataclass(frozen=True, slots=True)
class Scan:
    """One transaction's values, in the units of the device's points.

    Attributes:
        values: point name to number. None where the device itself says it has none (open sensor).
            Not range-checked and not judged: that is for the supervisor. May hold any float.
        raw: point name to the registers, bits or whole number it came from, as they stood on the wire.
        t_sent_s: when the request began to leave, seconds of the clock the link was given.
        t_received_s: when the answer was complete, same clock.
    """

    values: Mapping[str, float | None]
    raw: Mapping[str, tuple[int, ...]]
    t_sent_s: float
    t_received_s: float


@dataclass(frozen=True, slots=True)
class Sent:
    """A write the device confirmed: when it left and when its confirmation was complete, s of the link's clock."""

    t_sent_s: float
    t_received_s: float


@dataclass(frozen=True, slots=True)
class Times:
    """How long a device may keep its link busy, s of wire time, each exchange with the silence after it.

    Attributes:
        longest_s: its longest transaction. command_s: one that switches an output of it.
        answer_s: its longest single answer, request and silence included, where a transaction is several.
    """

    longest_s: float
    command_s: float
    answer_s: float | None = None


class Link(Protocol):
    """One link. Transactions on it run strictly one after another; the caller sees to that.

    The link itself keeps the wire's silences: before each request it waits until the wire has been quiet for as long
    as its protocol and its devices ask, or for the silent device's worst answer time after a time-out or a bad answer.
    """

    @property
    def settings(self) -> LinkSettings:
        """Where it is and how it is spoken on."""

    async def open(self) -> None:
        """Open it exclusively. Raises LinkDown with a text that tells missing from busy from not permitted."""

    async def close(self) -> None:
        """Close it; harmless when it is closed already."""


class Device(Protocol):
    """Something on a link that can be read.

    Attributes:
        name: as the line file calls it.
        groups: sets of point names; any points of one group can come in one transaction.
        streams: whether it speaks unasked. A read then waits for what comes next, sends nothing, may hold only some of
            the points asked for, and may be given up at any moment.
    """

    name: str
    groups: tuple[frozenset[str], ...]
    streams: bool

    async def read(self, due: Collection[str]) -> Scan:
        """Read the given points (all of one group) in one transaction. Raises WireError.

        Opens the link if it is not open. Never retries: the caller decides.
        """


class SupplyDevice(Device, Protocol):
    """A programmable DC supply. Every call is one transaction; each raises WireError and never retries."""

    async def set_current(self, current_a: float) -> Sent:
        """Set the current limit, A, rounded down to the device's step. Raises ValueError outside its range."""

    async def set_voltage(self, voltage_v: float) -> Sent:
        """Set the voltage limit, V, rounded down to the device's step. Raises ValueError outside its range."""

    async def switch_on(self) -> Sent:
        """Switch the output on."""

    async def switch_off(self) -> Sent:
        """Switch the output off."""

    async def arm_time_out(self, time_out_s: float) -> Sent | None:
        """Arm the device's own communication time-out, s; None where the profile names none."""


class SwitchDevice(Device, Protocol):
    """Something with relays or other two-state outputs. Every call is one transaction; each raises WireError."""

    keep_every_s: float | None
    """How often it must be told to keep its outputs, s, before it drops them by itself; None where it never does."""

    async def set_switch(self, point: str, *, on: bool) -> Sent:
        """Switch the output at a point and have it confirmed. Raises ValueError for a point that is no switch."""

    async def keep(self) -> Sent:
        """Tell it to keep its outputs for a while longer. Raises ValueError where it never drops them."""
