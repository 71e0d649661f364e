"""Quantities with their units, as people write and read them: the only place that knows pint.

Inside the program every number is a float in the inside unit of its kind (see KINDS). Number and unit
are parsed apart, and only the units defined here exist: a large registry reads `140 F` as farad, `60 C`
as coulomb and `mil` as an angle.
"""

from __future__ import annotations

import difflib
import math
import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Literal, cast

if TYPE_CHECKING:
    import pint

Kind = Literal[
    "current",
    "voltage",
    "temperature",
    "temperature difference",
    "area",
    "thickness",
    "altitude",
    "pressure",
    "current density",
    "charge",
    "time",
    "volume",
    "concentration",
    "bit rate",
    "growth",
    "fraction",
    "power",
    "mass per area",
    "mass density",
]
System = Literal["metric", "us"]


@dataclass(frozen=True, slots=True)
class KindRow:
    """What one kind of quantity is in.

    Attributes:
        inside: the unit of the float inside the program.
        written: units people write, named in messages; the first stands in examples.
        shown: unit and decimals per system of display.
    """

    inside: str
    written: tuple[str, ...]
    shown: dict[System, tuple[str, int]]


def _row(inside: str, written: str, metric: tuple[str, int], us: tuple[str, int]) -> KindRow:
    return KindRow(inside, tuple(written.split()), {"metric": metric, "us": us})


KINDS: dict[Kind, KindRow] = {
    "current": _row("A", "A mA", ("A", 2), ("A", 2)),
    "voltage": _row("V", "V mV uV", ("V", 2), ("V", 2)),
    "temperature": _row("degC", "degC degF K", ("°C", 1), ("°F", 1)),
    "temperature difference": _row("degC", "degC degF K", ("°C", 1), ("°F", 1)),
    "area": _row("m^2", "cm^2 dm^2 m^2 in^2 ft^2", ("dm²", 2), ("in²", 1)),
    "thickness": _row("um", "um mil mm in", ("µm", 1), ("mil", 3)),
    "altitude": _row("m", "m ft", ("m", 0), ("ft", 0)),
    "pressure": _row("Pa", "hPa kPa mbar inHg mmHg", ("hPa", 1), ("inHg", 2)),
    "current density": _row("A/m^2", "A/dm^2 A/ft^2 A/m^2 mA/cm^2 A/in^2", ("A/dm²", 2), ("A/ft²", 1)),
    "charge": _row("C", "A*min A*h A*s C", ("A·min", 1), ("A·min", 1)),
    "time": _row("s", "s ms min h", ("s", 1), ("s", 1)),
    "volume": _row("L", "L mL gal qt m^3", ("L", 1), ("gal", 1)),
    "concentration": _row("g/L", "g/L oz/gal", ("g/L", 0), ("oz/gal", 1)),
    "bit rate": _row("bit/s", "baud bit/s", ("baud", 0), ("baud", 0)),
    "growth": _row(
        "um*m^2/C",
        "um*dm^2/(A*min) mil*ft^2/(A*min) um*cm^2/C",
        ("µm·dm²/(A·min)", 4),
        ("mil·ft²/(A·min)", 6),
    ),
    "fraction": _row("1", "%", ("%", 1), ("%", 1)),
    "power": _row("W", "W kW", ("W", 0), ("W", 0)),
    "mass per area": _row("g/m^2", "mg/dm^2 g/m^2 mg/cm^2 mg/ft^2", ("g/m²", 1), ("mg/ft²", 0)),
    "mass density": _row("g/cm^3", "g/cm^3 kg/m^3 g/mL", ("g/cm³", 2), ("g/cm³", 2)),
}
"""Every kind there is. US units are the US ones: gal is 3.785411784 L, oz the avoirdupois ounce."""

# Written out instead of prefixes, so that no combination nobody meant (a `kin`, a `mmil`) is ever a unit.
# Source of the factors: NIST SP 811 (2008), appendix B.8, from memory; all of these are exact.
_DEFINITIONS = """
meter = [length] = m
second = [time] = s
ampere = [current] = A
gram = [mass] = g
kelvin = [temperature]; offset: 0 = K
bit = [information]
percent = 0.01
millimeter = 1e-3 * meter = mm
centimeter = 1e-2 * meter = cm
decimeter = 1e-1 * meter = dm
micrometer = 1e-6 * meter = um
inch = 0.0254 * meter = in
foot = 0.3048 * meter = ft
mil = 2.54e-5 * meter
millisecond = 1e-3 * second = ms
minute = 60 * second = min
hour = 3600 * second = h
milliampere = 1e-3 * ampere = mA
milligram = 1e-3 * gram = mg
kilogram = 1e3 * gram = kg
pascal = kilogram / meter / second ** 2 = Pa
hectopascal = 100 * pascal = hPa
kilopascal = 1000 * pascal = kPa
millibar = 100 * pascal = mbar
millimeter_Hg = 133.322387415 * pascal = mmHg
inch_Hg = 3386.388640341 * pascal = inHg
volt = kilogram * meter ** 2 / second ** 3 / ampere = V
watt = volt * ampere = W
kilowatt = 1e3 * watt = kW
millivolt = 1e-3 * volt = mV
microvolt = 1e-6 * volt = uV
coulomb = ampere * second = C
liter = 1e-3 * meter ** 3 = L = l
milliliter = 1e-6 * meter ** 3 = mL = ml
gallon = 231 * inch ** 3 = gal
quart = 57.75 * inch ** 3 = qt
ounce = 28.349523125 * gram = oz
baud = bit / second
degree_celsius = kelvin; offset: 273.15 = _ = degC
degree_fahrenheit = 5 / 9 * kelvin; offset: 233.15 + 200 / 9 = _ = degF
"""

_SYMBOLS = tuple(
    symbol.strip()
    for line in _DEFINITIONS.strip().splitlines()
    for symbol in (line.split("=")[2:] or line.split("=")[:1])
    if symbol.strip() != "_"
)

_SPOKEN = {
    "ASF": "A/ft^2",
    "ASD": "A/dm^2",
    "ASI": "A/in^2",
    "amp": "A",
    "amps": "A",
    "volts": "V",
    "watt": "W",
    "watts": "W",
    "mils": "mil",
    "micron": "um",
    "microns": "um",
    "thou": "mil",
    "inch": "in",
    "inches": "in",
    "feet": "ft",
    "foot": "ft",
    "sqft": "ft^2",
    "sq ft": "ft^2",
    "sqin": "in^2",
    "sq in": "in^2",
    "Ah": "A*h",
    "Amin": "A*min",
    "sec": "s",
    "seconds": "s",
    "minutes": "min",
    "hr": "h",
    "hours": "h",
    "gallon": "gal",
    "gallons": "gal",
    "liter": "L",
    "liters": "L",
    "litre": "L",
    "litres": "L",
    "bps": "baud",
    "bd": "baud",
    "meters": "m",
}
"""What people say, by what this program wants written."""

_UNITS_AS_THEY_ARE = {"temperature", "temperature difference", "fraction"}
"""Kinds whose units cannot be built from others."""

_LONGEST_TEXT = 80
_NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d{1,4})?")
_UNIT = re.compile(r"[A-Za-z]+|\^[1-3](?!\d)|[*/()]| ")
_SQUARED_OR_CUBED = re.compile(r"\b(m|mm|cm|dm|um|in|ft)([23])\b")
_LOOKS = str.maketrans({"µ": "u", "μ": "u", "·": "*", "×": "*", "⋅": "*", "²": "^2", "³": "^3", "\u00a0": " "})


class UnitMistake(ValueError):  # noqa: N818 (a person's mistake, not the program's)
    """A text that is not the quantity it should be.

    Attributes:
        problem: what is wrong with it.
        right: what would be right.
    """

    def __init__(self, problem: str, right: str) -> None:
        super().__init__(f"{problem}; {right}")
        self.problem = problem
        self.right = right


def parse(text: str, kind: Kind) -> float:
    """Read `text`, such as "1.5 A/dm^2", as a quantity of this kind.

    Returns the finite value in the kind's inside unit. Raises UnitMistake, which tells what would be right.
    """
    number, unit = split(text, kind)
    value = number * _conversion(unit, kind)[0] + _conversion(unit, kind)[1]
    if not math.isfinite(value):
        raise UnitMistake(f"{text.strip()!r} is not a finite number", _write(kind))
    if kind == "temperature" and value < -273.15 - 1e-9:
        raise UnitMistake(f"{text.strip()!r} is below absolute zero", _write(kind))
    return value


def split(text: str, kind: Kind) -> tuple[float, str]:
    """Take number and unit apart; the unit comes back in the spelling pint reads. Raises UnitMistake."""
    plain = text.strip()
    if len(plain) > _LONGEST_TEXT:
        raise UnitMistake(f"the text is {len(plain)} characters long", _write(kind))
    if re.match(r"[+-]?\d+,\d", plain):
        raise UnitMistake(f"{plain!r} has a comma in its number", "write a point for decimals and no other separator")
    if re.match(r"[+-]?(inf|nan)", plain, re.IGNORECASE):
        raise UnitMistake(f"{plain!r} is not a finite number", _write(kind))
    found = _NUMBER.match(plain)
    if found is None:
        raise UnitMistake(f"{plain!r} does not begin with a number", _write(kind))
    unit = plain[found.end() :].strip()
    if not unit:
        raise UnitMistake(f"{plain!r} has no unit", _write(kind, found.group()))
    return float(found.group()), _spelled(unit, kind)


def parse_accuracy(text: str, kind: Kind, span: tuple[float, float] | None = None) -> tuple[float, float]:
    """Read a limit of error such as "0.2 % of reading + 5 mA", "1 degC" or "0.1 % of reading + 0.05 % of range".

    Args:
        text: as written.
        kind: what kind of quantity it is of.
        span: the range, least and greatest value in the kind's inside unit; None where it is not known.

    Returns the share of the reading and the fixed part in the kind's inside unit, neither negative.
    Raises UnitMistake.
    """
    fixed_kind: Kind = "temperature difference" if kind == "temperature" else kind
    of_reading, absolute = 0.0, 0.0
    for part in text.split("+"):
        share, is_share, rest = part.partition("of reading")
        of_span, of_range, after = part.partition("of range")
        if is_share and not rest.strip():
            of_reading += parse(share, "fraction")
        elif of_range and not after.strip():
            absolute += parse(of_span, "fraction") * _width(span, text)
        else:
            absolute += parse(part, fixed_kind)
    if of_reading < 0 or absolute < 0 or of_reading + absolute == 0:
        example = f'write it like "0.2 % of reading + 1 {KINDS[fixed_kind].written[0]}"'
        raise UnitMistake(f"{text.strip()!r} is no limit of error: it must be above zero", example)
    return of_reading, absolute


def _width(span: tuple[float, float] | None, text: str) -> float:
    if span is None:
        raise UnitMistake(f"{text.strip()!r} is of a range that is not given", "give the range as well")
    return span[1] - span[0]


def show(value: float, kind: Kind, system: System) -> str:
    """Say a value of this kind, given in its inside unit, to a person in the units of their choice."""
    if math.isnan(value):
        return "no value"
    if math.isinf(value):
        return "unbounded"
    unit, decimals = _shown_as(value, kind, system)
    slope, intercept = _conversion(_look(unit), kind)
    text = f"{(value - intercept) / slope:.{decimals}f}"
    return f"{text.removeprefix('-') if float(text) == 0 else text} {unit}"


def _shown_as(value: float, kind: Kind, system: System) -> tuple[str, int]:
    size = abs(value)
    if kind in {"current", "voltage"} and 0 < size < 0.1:
        return ("mA" if kind == "current" else "mV"), 1
    if kind == "time" and 0 < size < 1:
        return "ms", 0
    if kind == "time" and size >= 120:
        return ("min", 1) if size < 7200 else ("h", 2)
    return KINDS[kind].shown[system]


def _write(kind: Kind, number: str = "") -> str:
    """What would be right, with every unit that is usual for the kind."""
    units = KINDS[kind].written
    others = f" (or {', '.join(units[1:])})" if len(units) > 1 else ""
    article = "an" if kind[0] in "aeiou" else "a"
    return f'write {article} {kind} with its unit, like "{number or _EXAMPLES[kind]} {units[0]}"{others}'


_EXAMPLES: dict[Kind, str] = {
    "current": "5",
    "voltage": "22",
    "temperature": "20",
    "temperature difference": "0.3",
    "area": "130",
    "thickness": "20",
    "altitude": "420",
    "pressure": "965",
    "current density": "1.5",
    "charge": "80",
    "time": "10",
    "volume": "8",
    "concentration": "165",
    "bit rate": "19200",
    "growth": "0.32774",
    "fraction": "5",
    "power": "500",
    "mass per area": "270",
    "mass density": "2.4",
}


def example(kind: Kind) -> str:
    """Give one right text of this kind, for messages and the schema."""
    return f"{_EXAMPLES[kind]} {KINDS[kind].written[0]}"


def _look(unit: str) -> str:
    """The same unit in plain letters."""
    plain = unit.translate(_LOOKS).replace("**", "^").replace("°C", "degC").replace("°F", "degF")
    return _SQUARED_OR_CUBED.sub(r"\1^\2", plain).replace("%", "percent")


def _spelled(unit: str, kind: Kind) -> str:
    """The unit in the spelling pint reads, once every word of it is known here."""
    if kind in {"temperature", "temperature difference"} and unit in {"F", "C", "°", "deg", "degrees"}:
        meant = f"deg{unit}" if unit in {"F", "C"} else "degC or degF"
        raise UnitMistake(f"{unit!r} is no unit of temperature", f"did you mean {meant}?")
    if unit in _SPOKEN:
        raise UnitMistake(f"{unit!r} is not a unit here", f"write {_SPOKEN[unit]}")
    plain = _look(unit)
    if "".join(_UNIT.findall(plain)) != plain:
        raise UnitMistake(f"{unit!r} is not a unit", _write(kind))
    for word in re.findall(r"[A-Za-z]+", plain):
        if word not in _SYMBOLS:
            raise UnitMistake(f"{unit!r} is not a unit here", _nearest(word, kind))
    return plain


def _nearest(word: str, kind: Kind) -> str:
    if word in _SPOKEN:
        return f"write {_SPOKEN[word]} for {word}"
    same = [s for s in _SYMBOLS if s.lower() == word.lower()]
    near = same or difflib.get_close_matches(word, _SYMBOLS, n=1)
    return f"did you mean {near[0]}? {_write(kind)}" if near else _write(kind)


@lru_cache(maxsize=1)
def _registry() -> pint.UnitRegistry[float]:
    with _without_numpy():
        import pint  # noqa: PLC0415 (a tenth of a second that programs without quantities need not pay)

    return pint.UnitRegistry(_DEFINITIONS.strip().splitlines())


@contextmanager
def _without_numpy() -> Iterator[None]:
    """Keep pint from loading numpy where that happens to be installed: plain floats need none of it.

    A name that stands for nothing among the modules is one that cannot be imported.
    """
    if "numpy" in sys.modules:
        yield
        return
    modules = cast("dict[str, object]", sys.modules)
    modules["numpy"] = None
    try:
        yield
    finally:
        del modules["numpy"]


@lru_cache(maxsize=512)
def _conversion(unit: str, kind: Kind) -> tuple[float, float]:
    """Slope and intercept that take a number in `unit` to the kind's inside unit."""
    written, inside = KINDS[kind].written, KINDS[kind].inside
    if kind in _UNITS_AS_THEY_ARE and unit not in map(_look, written):
        raise UnitMistake(f"{unit!r} is not a unit of {kind}", _write(kind))
    if kind == "temperature difference":
        unit, inside = (f"delta_{u}" if u.startswith("deg") else u for u in (unit, inside))
    registry = _registry()
    try:
        zero, one, far = (registry.Quantity(x, _units(unit)).to(_units(inside)).magnitude for x in (0.0, 1.0, 1000.0))
    except Exception as problem:  # pint and the parser below it raise a dozen kinds
        raise UnitMistake(f"{unit!r} is not a unit of {kind}", _write(kind)) from problem
    return _tidy(one if zero == 0 else (far - zero) / 1000), _tidy(zero)


def _tidy(number: float) -> float:
    """The short number that was meant, where there is one: 1 dm^2 is 0.01 m^2, not 0.010000000000000002."""
    short = float(f"{number:.12g}")
    return short if math.isclose(short, number, rel_tol=1e-15, abs_tol=1e-18) else number


def _units(text: str) -> pint.Unit:
    return _registry().parse_units("dimensionless" if text == "1" else text)
