"""Device profiles: a manual's table, as written, to points in plain numbers; how the device wants to be asked."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal

from drivers.catalog import drivers
from drivers.points import DeviceMap, Point
from drivers.registers import Register, RegisterMap
from supervisor.config.averages import UNTOLD, Averages, averages_of
from supervisor.config.mistakes import Told, nearest
from supervisor.config.model import PointTable, ReadingTable, TimingTable
from supervisor.config.points import PointReader, States, kind_of_scale
from supervisor.config.shape import known
from supervisor.core.setup import Accuracy
from supervisor.units import Kind

SUPPLY_POINTS: dict[str, Kind | None] = {
    "current": "current",
    "voltage": "voltage",
    "output": None,
    "mode": None,
    "set_current": "current",
    "set_voltage": "voltage",
    "switch": None,
    "time_out": "time",
    "uptime": "time",
    "restarted": None,
    "charge": "charge",
}
"""What the points of a supply are; None: a state."""

OPTIONAL_POINTS = frozenset({"time_out", "uptime", "restarted", "charge"})
"""What not every supply has: a time-out of its own, a sign of how long it has had power, a charge counter."""

CURRENT = "current"
"""The point of the current that is metered: a supply's own, or a module's beside a supply with knobs."""

HEARTBEAT = "heartbeat"
"""The point of a device's sign of life: seconds since it began."""

WRITTEN_POINTS = {"set_current", "set_voltage", "switch", "time_out"}
METERS = {"current", "voltage"}
OFF_AND_ON = frozenset({"off", "on"})
OPEN_AND_CLOSED: States = {0: "open", 1: "closed"}
STATE_WORDS: dict[str, States | frozenset[str]] = {
    "output": {0: "off", 1: "on"},
    "mode": {0: "current held", 1: "voltage held"},
    "switch": OFF_AND_ON,
    "restarted": {0: "no", 1: "yes"},
}
"""What the core reads a supply's state as; a switch may have any raw values for its two words."""

TOLD_BY_ONE_BIT = {"restarted": frozenset({"yes"})}
"""States of which one bit says all, such as the power-on bit of an event register (IEEE 488.2)."""

MEASURED_BY_MODULES = frozenset({"current", "voltage", "temperature"})


@dataclass(frozen=True, slots=True)
class DeviceProfile:
    """What is known of one kind of device.

    Attributes:
        driver: the catalog's name of its driver. role: what that drives.
        timing, reading, opening: see the tables of the profile; times in s.
        points: by name.
        accuracies: limits of error, by the name of the point; not every point has one.
        broken: points that are named but wrong; empty in a line file without mistakes.
        averages: how its current meter smooths.
    """

    driver: str
    timing: TimingTable
    reading: ReadingTable
    opening: tuple[str, ...]
    points: dict[str, Point]
    accuracies: dict[str, Accuracy]
    broken: frozenset[str]
    averages: Averages = UNTOLD

    @property
    def role(self) -> Literal["supply", "module"]:
        """What it is for."""
        return drivers()[self.driver].role

    @property
    def worst_answer_s(self) -> float:
        """The longest it may take to answer, s."""
        return self.timing.worst_answer

    def device_map(self, name: str, unit: int) -> DeviceMap:
        """The map of one device of this kind."""
        timing, reading = self.timing, self.reading
        make: Any = RegisterMap if drivers()[self.driver].points is Register else DeviceMap
        made: DeviceMap = make(
            name, self.driver, unit, self.points, timing.worst_answer,
            quiet_s=timing.quiet, settle_s=timing.settle, opens_each_scan=timing.open_each_scan,
            widest_hole=reading.widest_hole, longest_read=reading.longest_read,
            opening=self.opening, keep_s=timing.keep,
        )  # fmt: skip
        return made

    def switches(self) -> set[str]:
        """The points by which a module switches something."""
        return {
            name
            for name, point in self.points.items()
            if self.role == "module" and frozenset(point.states.values()) == OFF_AND_ON
        }


def understand(
    driver: str,
    timing: TimingTable,
    reading: ReadingTable,
    opening: Iterable[str],
    tables: dict[str, PointTable],
    told: Told,
) -> DeviceProfile:
    """Make points of the tables; whatever is wrong goes to `told`, and the point with it is broken."""
    points: dict[str, Point] = {}
    accuracies: dict[str, Accuracy] = {}
    averages = UNTOLD
    of_supply = drivers()[driver].role == "supply"
    for name, table in tables.items():
        if of_supply and name not in SUPPLY_POINTS:
            told(("points", name), "a supply has no such point", nearest(name, SUPPLY_POINTS, ""))
            continue
        point, accuracy = (_of_supply if of_supply else _of_module)(name, table, drivers()[driver].points, told)
        if point:
            points[name] = point
        if accuracy:
            accuracies[name] = accuracy
        read = averages_of(name, table, told)
        averages = read if name == CURRENT else averages
    _all_there(driver, tables, told)
    _rests(driver, timing, told)
    broken = frozenset(tables.keys() - points.keys())
    return DeviceProfile(driver, timing, reading, tuple(opening), points, accuracies, broken, averages)


def _of_supply(name: str, table: PointTable, style: type[Point], told: Told) -> tuple[Point | None, Accuracy | None]:
    kind = SUPPLY_POINTS[name]
    reader = PointReader(name, table, style, told, written=name in WRITTEN_POINTS)
    if kind:
        return reader.number(kind), reader.accuracy(kind, needed=name in METERS)
    by_bit = bool(table.bits) and name in TOLD_BY_ONE_BIT
    return reader.state((TOLD_BY_ONE_BIT[name] if by_bit else STATE_WORDS[name],)), None


def _of_module(name: str, table: PointTable, style: type[Point], told: Told) -> tuple[Point | None, Accuracy | None]:
    """A module's point is a number where it has a scale, else a contact or a switch."""
    switched = set(table.states.values()) == OFF_AND_ON
    reader = PointReader(name, table, style, told, written=switched)
    if table.scale is None and (table.states or table.bits):
        return reader.state((OPEN_AND_CLOSED, OFF_AND_ON)), None
    kind = "time" if name == HEARTBEAT else kind_of_scale(table.scale)
    if table.scale is not None and name != HEARTBEAT and kind not in MEASURED_BY_MODULES:
        problem, right = f"{table.scale!r} is nothing that is measured here", 'write "0.1 degC", "1 mV" or "1 mA"'
        told(("points", name, "scale"), problem, right)
        return None, None
    kind = kind or "temperature"
    return reader.number(kind), reader.accuracy(kind, needed=False)


def _all_there(driver: str, tables: dict[str, PointTable], told: Told) -> None:
    optional = OPTIONAL_POINTS | (set() if drivers()[driver].points is Register else {"switch"})
    wanted = SUPPLY_POINTS.keys() - optional if drivers()[driver].role == "supply" else set()
    for name in sorted(wanted - tables.keys()):
        told(("points", name), "the register map of a supply needs this point", "add it from the device's manual")
    if not tables:
        told(("points",), "the register map is empty", "add at least one point")


def _rests(driver: str, timing: TimingTable, told: Told) -> None:
    if known(timing.keep) and timing.keep is not None and drivers()[driver].role == "supply":
        told(("timing", "keep"), "a supply's time-out is its point time_out", "remove keep")
