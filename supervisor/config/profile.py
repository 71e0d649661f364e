"""Device profiles: from a manual's register table, as written, to points in plain numbers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

from drivers.registers import BIT_TABLES, Register, RegisterMap
from supervisor.config.mistakes import Mistake, Where, key_path, nearest
from supervisor.config.model import Driver, PointTable
from supervisor.config.shape import known
from supervisor.core.setup import Accuracy
from supervisor.units import Kind, UnitMistake, parse, parse_accuracy, split

SUPPLY_POINTS: dict[str, Kind | None] = {
    "current": "current",
    "voltage": "voltage",
    "output": None,
    "mode": None,
    "set_current": "current",
    "set_voltage": "voltage",
    "switch": None,
    "time_out": "time",
}
"""What the points of a supply are; None: a state."""

OPTIONAL_SUPPLY_POINTS = {"time_out"}
WRITTEN_POINTS = {"set_current", "set_voltage", "switch", "time_out"}
METERS = {"current", "voltage"}
STATE_WORDS: dict[str, dict[int, str] | set[str]] = {
    "output": {0: "off", 1: "on"},
    "mode": {0: "current held", 1: "voltage held"},
    "switch": {"off", "on"},
}
"""What the core reads a state as; a switch may have any raw values for its two words."""

POINT_UNITS: dict[Kind, str] = {"current": "A", "voltage": "V", "temperature": "degC", "time": "s"}
UNIT_KINDS: dict[str, Kind] = {unit: kind for kind, unit in POINT_UNITS.items()}
RAW_RANGES = {"uint16": (0, 65535), "int16": (-32768, 32767)}

T = TypeVar("T")
Told = Callable[[Where, str, str], None]
"""Takes a mistake: where, what, what would be right."""


@dataclass(frozen=True, slots=True)
class DeviceProfile:
    """What is known of one kind of device.

    Attributes:
        driver: the catalog's name of its driver.
        worst_answer_s: the longest it may take to answer, s.
        points: by name.
        accuracies: limits of error, by the name of the point; not every point has one.
        broken: points that are named but wrong; empty in a line file without mistakes.
    """

    driver: Driver
    worst_answer_s: float
    points: dict[str, Register]
    accuracies: dict[str, Accuracy]
    broken: frozenset[str]

    def device_map(self, name: str, unit: int) -> RegisterMap:
        """The map of one device of this kind."""
        return RegisterMap(name, self.driver, unit, self.points, self.worst_answer_s)


def understand(driver: Driver, worst_answer_s: float, tables: dict[str, PointTable], told: Told) -> DeviceProfile:
    """Make points of the tables; whatever is wrong goes to `told`, and the point with it is broken."""
    points: dict[str, Register] = {}
    accuracies: dict[str, Accuracy] = {}
    for name, table in tables.items():
        if driver == "modbus supply" and name not in SUPPLY_POINTS:
            told(("points", name), "a supply has no such point", nearest(name, SUPPLY_POINTS, ""))
            continue
        reader = _PointReader(name, table, told)
        kind = SUPPLY_POINTS[name] if driver == "modbus supply" else "temperature"
        point = reader.number(kind) if kind else reader.state()
        accuracy = reader.accuracy(kind)
        if point:
            points[name] = point
        if accuracy:
            accuracies[name] = accuracy
    _all_there(driver, tables, told)
    return DeviceProfile(driver, worst_answer_s, points, accuracies, frozenset(tables.keys() - points.keys()))


def _all_there(driver: Driver, tables: dict[str, PointTable], told: Told) -> None:
    wanted = SUPPLY_POINTS.keys() - OPTIONAL_SUPPLY_POINTS if driver == "modbus supply" else set()
    for name in sorted(wanted - tables.keys()):
        told(("points", name), "the register map of a supply needs this point", "add it from the device's manual")
    if not tables:
        told(("points",), "the register map is empty", "add at least one point")


class _PointReader:
    """Reads one table of a register map; mistakes are told, never raised."""

    def __init__(self, name: str, table: PointTable, told: Told) -> None:
        self._name = name
        self._table = table
        self._told = told

    def number(self, kind: Kind) -> Register | None:
        """Read a point that is a quantity of this kind."""
        table = self._table
        if not known(table.table, table.kind, table.address, table.no_value):
            return None
        if table.states:
            self._tell("states", f"{self._name} is a number, not a state", "give scale and range instead")
        if table.table in BIT_TABLES:
            self._tell("table", f"a {table.table} holds no number", "name an input register or a holding register")
        self._written_where_it_can_be()
        difference: Kind = "temperature difference" if kind == "temperature" else kind
        scale = self._needed("scale", table.scale, lambda text: parse(text, difference))
        offset = self._read("offset", lambda: self._offset(kind))
        span = parse_range(table.range, kind, self._where("range"), self._told)
        if scale is None or offset is None or span is None:
            return None
        if scale <= 0:
            self._tell("scale", f"{table.scale!r} is not above zero", "write what one count means")
            return None
        self._fits(scale, offset, span)
        return Register(
            self._name,
            table.table,
            table.address,
            table.kind,
            scale=scale,
            offset=offset,
            unit=POINT_UNITS[kind],
            low=span[0],
            high=span[1],
            no_value=tuple(table.no_value),
        )

    def state(self) -> Register | None:
        """Read a point that is a state."""
        table = self._table
        if not known(table.table, table.address) or not all(known(*pair) for pair in table.states.items()):
            return None
        for key in ("scale", "offset", "range", "accuracy"):
            if getattr(table, key) is not None:
                self._tell(key, f"{self._name} is a state, not a number", "remove it and give states")
        self._written_where_it_can_be()
        states = {int(raw): word for raw, word in table.states.items()}
        right = STATE_WORDS[self._name]
        if (set(states.values()) if isinstance(right, set) else states) != right:
            words = "two states, one off and one on" if isinstance(right, set) else _as_toml(right)
            self._tell("states", f"these are not the states of {self._name}", f"write {words}")
            return None
        return Register(
            self._name, table.table, table.address, low=float(min(states)), high=float(max(states)), states=states
        )

    def accuracy(self, kind: Kind | None) -> Accuracy | None:
        """Read the accuracy, where one is given."""
        text = self._table.accuracy
        if text is None:
            if self._name in METERS:
                self._tell("accuracy", "a meter's limit of error is missing", 'add one like "0.2 % of reading + 5 mA"')
            return None
        return self._read("accuracy", lambda: Accuracy(*parse_accuracy(text, kind))) if kind else None

    def _offset(self, kind: Kind) -> float:
        """What zero counts mean. A scale in degF counts from 0 degF, not from 0 degC."""
        if self._table.offset is not None:
            return parse(self._table.offset, kind)
        if kind != "temperature" or self._table.scale is None:
            return 0.0
        return parse(f"0 {split(self._table.scale, 'temperature difference')[1]}", kind)

    def _written_where_it_can_be(self) -> None:
        if self._name in WRITTEN_POINTS and self._table.table in {"input register", "discrete input"}:
            kind = "a coil or a holding register" if self._name == "switch" else "a holding register"
            self._tell("table", f"{self._name} is written, and a {self._table.table} cannot be", f"name {kind}")

    def _fits(self, scale: float, offset: float, span: tuple[float, float]) -> None:
        lowest, highest = (raw * scale + offset for raw in RAW_RANGES[self._table.kind])
        if span[0] < lowest - scale / 2 or span[1] > highest + scale / 2:
            right = f"check kind, scale and range: {self._table.kind} with this scale holds {lowest:g} to {highest:g}"
            self._tell("range", "the register cannot hold this range", right)

    def _needed(self, key: str, text: str | None, read: Callable[[str], T]) -> T | None:
        if text is None:
            self._tell(key, "this key is missing", f"add {key} from the device's manual")
            return None
        return self._read(key, lambda: read(text))

    def _read(self, key: str, read: Callable[[], T]) -> T | None:
        try:
            return read()
        except UnitMistake as mistake:
            if key != "offset" or self._table.offset is not None:  # a bad scale is told once, as the scale
                self._tell(key, mistake.problem, mistake.right)
            return None

    def _tell(self, key: str, problem: str, right: str) -> None:
        self._told(self._where(key), problem, right)

    def _where(self, key: str) -> Where:
        return ("points", self._name, key)


def parse_range(texts: list[str] | None, kind: Kind, where: Where, told: Told) -> tuple[float, float] | None:
    """Read a range of two texts, in rising order; None after telling what is wrong."""
    if texts is None:
        told(where, "this key is missing", "add the least and the greatest value, with their units")
        return None
    values: list[float] = []
    for place, text in enumerate(texts):
        try:
            values.append(parse(text, kind))
        except UnitMistake as mistake:
            told((*where, place), mistake.problem, mistake.right)
    if len(values) != 2:
        return None
    if values[0] >= values[1]:
        told(where, f"{texts[0]!r} is not below {texts[1]!r}", "write the least value first")
        return None
    return values[0], values[1]


def _as_toml(states: dict[int, str]) -> str:
    return "{ " + ", ".join(f'{raw} = "{word}"' for raw, word in states.items()) + " }"


def below(path: str, other: str) -> bool:
    """Tell whether the key path `other` is this one or lies under it."""
    return other == path or other.startswith((f"{path}.", f"{path}["))


def teller(mistakes: list[Mistake], prefix: str = "", base: Where = ()) -> Told:
    """Collect what is told, with the file it stands in and the keys above it.

    What follows from a mistake in the form of the same key is not told again.
    """
    form = [mistake.key_path for mistake in mistakes]

    def told(where: Where, problem: str, right: str) -> None:
        path = prefix + key_path((*base, *where))
        if not any(below(path, other) for other in form):
            mistakes.append(Mistake(path, problem, right))

    return told
