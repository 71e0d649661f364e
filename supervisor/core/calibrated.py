"""Instruments that were held against something better: what is kept of it, and readings put right by it.

What an instrument shows is put right before anything else sees it; the event keeps what it showed. Off is proven by the
larger of the two, so that no calibration makes a current vanish (R7).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from supervisor.trade import calibration
from supervisor.trade.calibration import Limits, Point

if TYPE_CHECKING:
    from supervisor.core.events import Reading
    from supervisor.core.setup import LineSetup
    from supervisor.core.state import Latest

What = Literal["thermometer", "current meter", "volt meter"]

APART_C = 10.0
STEADY_C = 0.3
APART_OF_RATING, STEADY_OF_RATING = 0.1, 0.005
"""Least distance of two points and greatest change while one is taken; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Instrument:
    """A channel that can be calibrated: the tank or supply `of` which it tells, and how large what it tells may be.

    `rating` is the supply's, A or V; 0 of a thermometer.
    """

    what: What
    of: str
    rating: float = 0.0


@dataclass(frozen=True, slots=True)
class Calibration:
    """What a channel was held against.

    Attributes:
        channel: its name. device, point: what it was read from then; of another instrument it says nothing.
        points: in rising order of what was shown. reference: what told the truth, in words.
        wall_s: when, UTC s. who: the user. due: the date on which it must be done again; due_wall_s: its first moment,
            UTC s.
    """

    channel: str
    device: str
    point: str
    points: tuple[Point, ...]
    reference: str
    wall_s: float
    who: str
    due: str
    due_wall_s: float


@dataclass(frozen=True, slots=True)
class Commissioned:
    """What shows that a supply's meter carries its operation's current and no other; the fields as in Calibration."""

    supply: str
    device: str
    point: str
    points: tuple[Point, ...]
    reference: str
    wall_s: float
    who: str


def instruments(setup: LineSetup) -> dict[str, Instrument]:
    """Every channel that can be calibrated: thermometers of baths, meters of supplies."""
    found = {}
    for tank in setup.tanks.values():
        for channel in filter(None, (tank.temperature, tank.second)):
            found[channel] = Instrument("thermometer", tank.name)
    for supply in setup.supplies.values():
        found[supply.current] = Instrument("current meter", supply.name, supply.rated_current_a)
        found[supply.voltage] = Instrument("volt meter", supply.name, supply.rated_voltage_v)
    return found


def limits(setup: LineSetup, instrument: Instrument) -> Limits:
    """What a calibration of an instrument must keep."""
    if instrument.what == "thermometer":
        return Limits(setup.calibration.largest_c, APART_C, STEADY_C)
    rating = instrument.rating
    return Limits(setup.calibration.largest_of_rating * rating, APART_OF_RATING * rating, STEADY_OF_RATING * rating)


def put_right(calibrations: Mapping[str, Calibration], reading: Reading) -> Reading:
    """Put a good reading right; any other comes back as it is (R9)."""
    known = calibrations.get(reading.channel)
    if known is None or reading.value is None:
        return reading
    return replace(reading, value=calibration.corrected(known.points, reading.value))


def larger(latest: Latest, value: float | None) -> float | None:
    """Of what a meter showed and what that was put right to, the one further from nought."""
    if value is None or latest.shown is None:
        return value
    return max(value, latest.shown, key=abs)


def overdue(known: Calibration, wall_s: float) -> bool:
    """Whether the date has come: of all decisions the only one that asks the wall clock, and it switches nothing."""
    return wall_s >= known.due_wall_s


def still_fitted(setup: LineSetup, known: Calibration | Commissioned, channel: str) -> bool:
    """Whether a line still reads that instrument on that channel."""
    now = setup.channels.get(channel)
    return now is not None and channel in instruments(setup) and (now.device, now.point) == (known.device, known.point)
