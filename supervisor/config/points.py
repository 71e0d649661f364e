"""One row of a device's table, as written, to a point in plain numbers; every mistake told, none raised."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from drivers.points import Field, Point
from drivers.registers import BIT_TABLES, NumberKind, Register
from supervisor.config.mistakes import Told, Where
from supervisor.config.model import PointTable
from supervisor.config.shape import known
from supervisor.core.setup import Accuracy
from supervisor.units import Kind, UnitMistake, parse, parse_accuracy, split

POINT_UNITS: dict[Kind, str] = {"current": "A", "voltage": "V", "temperature": "degC", "time": "s", "charge": "C"}
UNIT_KINDS: dict[str, Kind] = {unit: kind for kind, unit in POINT_UNITS.items()}
RAW_RANGES: dict[NumberKind, tuple[float, float]] = {
    "uint16": (0, 0xFFFF),
    "int16": (-0x8000, 0x7FFF),
    "uint32": (0, 0xFFFFFFFF),
    "int32": (-0x80000000, 0x7FFFFFFF),
}

REGISTER_KEYS = ("table", "address", "kind", "order", "write_many")
TEXT_KEYS = ("label", "query", "command", "bits")

T = TypeVar("T")
States = dict[int, str]


class PointReader:
    """Reads one table of a device's points.

    Args:
        name: the point's. table: as written. style: Register or Field, as the device's driver has its points.
        written: whether the device is told this point, not only asked.
    """

    def __init__(self, name: str, table: PointTable, style: type[Point], told: Told, *, written: bool) -> None:
        self._name = name
        self._table = table
        self._style = style
        self._told = told
        self._written = written

    def number(self, kind: Kind) -> Point | None:
        """Read a point that is a quantity of this kind."""
        table = self._table
        if not self._has_a_place() or not known(table.kind, table.no_value):
            return None
        if table.states or table.bits:
            self._tell("states", f"{self._name} is a number, not a state", "give scale and range instead")
        if table.table in BIT_TABLES:
            self._tell("table", f"a {table.table} holds no number", "name an input register or a holding register")
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
        numbers: dict[str, Any] = {"scale": scale, "offset": offset, "unit": POINT_UNITS[kind]}
        return self._made(**numbers, low=span[0], high=span[1], no_value=tuple(table.no_value))

    def state(self, right: tuple[States | frozenset[str], ...]) -> Point | None:
        """Read a point that is a state: one of these, by raw value and word or by words with any raw values."""
        table = self._table
        if not self._has_a_place() or not all(known(*pair) for pair in (*table.states.items(), *table.bits.items())):
            return None
        for key in ("scale", "offset", "range", "accuracy"):
            if getattr(table, key) is not None:
                self._tell(key, f"{self._name} is a state, not a number", "remove it and give states")
        told_by = "bits" if table.bits else "states"
        given: States = {int(raw): word for raw, word in getattr(table, told_by).items()}
        fits = [
            set(given.values()) == (set(words.values()) if isinstance(words, dict) else words)
            and len(given) == len(words)
            and (table.bits or not isinstance(words, dict) or given == words)
            for words in right
        ]
        if not any(fits):
            known_words = " or ".join(_words(words) for words in right)
            self._tell(told_by, f"these are not the states of {self._name}", f"write {known_words}")
            return None
        if table.table in BIT_TABLES and not given.keys() <= {0, 1}:
            self._tell("states", f"a {table.table} is 0 or 1 and nothing else", "write 0 and 1 for its two states")
            return None
        if table.bits:
            return self._made(low=0.0, high=1.0)
        return self._made(low=float(min(given)), high=float(max(given)), states=given)

    def accuracy(self, kind: Kind | None, *, needed: bool) -> Accuracy | None:
        """Read the accuracy, where one is given."""
        text = self._table.accuracy
        if text is None:
            if needed:
                self._tell("accuracy", "a meter's limit of error is missing", 'add one like "0.2 % of reading + 5 mA"')
            return None
        if kind is None:
            return None
        span = parse_range(self._table.range, kind, (), lambda *_: None)
        return self._read("accuracy", lambda: Accuracy(*parse_accuracy(text, kind, span)))

    def _has_a_place(self) -> bool:
        """Tell what is missing or out of place of where the point is on the wire."""
        of_registers = self._style is Register
        for key in TEXT_KEYS if of_registers else REGISTER_KEYS:
            if key in self._table.model_fields_set and known(getattr(self._table, key)):
                speaks = "answers in registers" if of_registers else "speaks in text"
                self._tell(key, f"the device {speaks}", f"remove {key}, or name another driver")
        if not of_registers:
            return True
        missing = [key for key in ("table", "address") if getattr(self._table, key) is None]
        for key in missing:
            self._tell(key, "this key is missing", f"add {key} from the device's manual")
        if not missing and self._written and self._table.table in {"input register", "discrete input"}:
            kind = "a holding register" if self._table.scale else "a coil or a holding register"
            self._tell("table", f"{self._name} is written, and a {self._table.table} cannot be", f"name {kind}")
        return not missing

    def _made(self, **what: Any) -> Point:
        table = self._table
        if self._style is Register:
            assert table.table is not None
            assert table.address is not None
            return Register(
                self._name, table.table, table.address, table.kind, table.order, table.write_many, **what
            )  # fmt: skip
        bits = {int(number): word for number, word in table.bits.items()}
        return Field(self._name, table.label or "", table.query or "", table.command or "", bits, **what)

    def _offset(self, kind: Kind) -> float:
        """What zero counts mean. A scale in degF counts from 0 degF, not from 0 degC."""
        if self._table.offset is not None:
            return parse(self._table.offset, kind)
        if kind != "temperature" or self._table.scale is None:
            return 0.0
        return parse(f"0 {split(self._table.scale, 'temperature difference')[1]}", kind)

    def _fits(self, scale: float, offset: float, span: tuple[float, float]) -> None:
        if self._style is not Register or self._table.kind not in RAW_RANGES:
            return
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


def kind_of_scale(text: str | None) -> Kind | None:
    """The kind of quantity that a scale's unit makes of a point; None where it is of none that is measured here."""
    for kind in POINT_UNITS:
        try:
            parse(text or "", "temperature difference" if kind == "temperature" else kind)
        except UnitMistake:
            continue
        return kind
    return None


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


def _words(states: States | frozenset[str]) -> str:
    if isinstance(states, dict):
        return "{ " + ", ".join(f'{raw} = "{word}"' for raw, word in states.items()) + " }"
    if len(states) == 1:
        return f'its one bit, like {{ 7 = "{next(iter(states))}" }}'
    return f"two states, one {' and one '.join(sorted(states))}"
