"""Reading quantities: what is understood, what is refused, and what the refusal says."""

from __future__ import annotations

import math
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.units import KINDS, Kind, UnitMistake, example, parse, parse_accuracy

READ: list[tuple[str, Kind, float]] = [
    ("1.5 A/dm^2", "current density", 150.0),
    ("1.5 A/dm²", "current density", 150.0),
    ("1.5A/dm2", "current density", 150.0),
    ("130 cm^2", "area", 0.013),
    ("150 ms", "time", 0.15),
    ("1 mA", "current", 0.001),
    ("10 mV", "voltage", 0.01),
    ("80 A*min", "charge", 4800.0),
    ("80 A·min", "charge", 4800.0),
    ("80 A min", "charge", 4800.0),
    ("20 µm", "thickness", 20.0),
    ("20 μm", "thickness", 20.0),
    ("68 °F", "temperature", 20.0),
    ("20 °C", "temperature", 20.0),
    ("293.15 K", "temperature", 20.0),
    ("-4 degF", "temperature", -20.0),
    ("0.9 degF", "temperature difference", 0.5),
    ("0.3 degC", "temperature difference", 0.3),
    ("0.3 K", "temperature difference", 0.3),
    ("19200 baud", "bit rate", 19200.0),
    ("5 %", "fraction", 0.05),
    ("2 kW", "power", 2000.0),
    ("500 W", "power", 500.0),
    ("165 g/L", "concentration", 165.0),
    (" +1.65e2 g/l ", "concentration", 165.0),
]


@pytest.mark.parametrize(("text", "kind", "value"), READ)
def test_a_quantity_becomes_a_float_in_its_inside_unit(text: str, kind: Kind, value: float) -> None:
    assert parse(text, kind) == pytest.approx(value, rel=1e-13, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "kind", "value"), [("0.1 degC", "temperature difference", 0.1), ("10 mV", "voltage", 0.01)]
)
def test_a_decimal_of_a_manual_stays_that_decimal(text: str, kind: Kind, value: float) -> None:
    assert parse(text, kind) == value


REFUSED: list[tuple[str, Kind, str]] = [
    ("140 F", "temperature", "did you mean degF?"),
    ("60 C", "temperature", "did you mean degC?"),
    ("60 °", "temperature", "degC or degF"),
    ("14 ASF", "current density", "write A/ft^2"),
    ("1.5 ASD", "current density", "write A/dm^2"),
    ("5 amps", "current", "write A"),
    ("1 mils", "thickness", "write mil"),
    ("1 thou", "thickness", "write mil"),
    ("18 sq in", "area", "write in^2"),
    ("5 ma", "current", "did you mean mA?"),
    ("5", "current", "has no unit"),
    ("5 ", "current", '"5 A"'),
    ("", "current", "does not begin with a number"),
    ("A 5", "current", "does not begin with a number"),
    ("five A", "current", "does not begin with a number"),
    ("inf A", "current", "not a finite number"),
    ("-inf A", "current", "not a finite number"),
    ("nan A", "current", "not a finite number"),
    ("1e999 A", "current", "not a finite number"),
    ("1,5 A", "current", "comma"),
    ("5 V", "current", "'V' is not a unit of current"),
    ("5 A", "current density", 'A/dm^2" (or A/ft^2'),
    ("1 mil", "area", "in^2"),
    ("60 C", "time", "not a unit of time"),
    ("5 A^99999999", "current", "not a unit"),
    ("5 A^3^3^3", "current", "not a unit"),
    ("5 A/", "current", "not a unit"),
    ("5 (A", "current", "not a unit"),
    ("5 ()", "current", "not a unit"),
    ("5 A 5", "current", "not a unit"),
    ("5 kin", "thickness", "not a unit"),
    ("5 degC/m*m", "temperature", "not a unit of temperature"),
    ("-300 degC", "temperature", "absolute zero"),
    ("15 % of reading", "fraction", "not a unit"),
    ("1 " + "m" * 200, "thickness", "202 characters"),
]


@pytest.mark.parametrize(("text", "kind", "says"), REFUSED)
def test_a_refusal_says_what_would_be_right(text: str, kind: Kind, says: str) -> None:
    with pytest.raises(UnitMistake) as refused:
        parse(text, kind)
    assert says in str(refused.value)
    assert refused.value.right


@pytest.mark.parametrize("kind", list(KINDS))
def test_every_unit_named_for_a_kind_is_taken_and_every_other_kind_says_so(kind: Kind) -> None:
    for unit in KINDS[kind].written:
        assert math.isfinite(parse(f"1 {unit}", kind))
    assert math.isfinite(parse(example(kind), kind))
    with pytest.raises(UnitMistake) as refused:
        parse("1 kg", kind)
    assert all(unit in str(refused.value) for unit in KINDS[kind].written)


@given(st.text(max_size=90), st.sampled_from(list(KINDS)))
def test_any_text_is_a_finite_number_or_a_unit_mistake(text: str, kind: Kind) -> None:
    for written in (text, f"1 {text}"):
        try:
            assert math.isfinite(parse(written, kind))
        except UnitMistake as refused:
            assert refused.right  # noqa: PT017 (either outcome is right)


@given(st.text(alphabet="Am^23*/() dCFVs%", max_size=12), st.sampled_from(list(KINDS)))
def test_any_unit_made_of_known_pieces_is_a_finite_number_or_a_unit_mistake(unit: str, kind: Kind) -> None:
    try:
        assert math.isfinite(parse(f"1 {unit}", kind))
    except UnitMistake as refused:
        assert refused.right  # noqa: PT017 (either outcome is right)


ACCURACIES: list[tuple[str, Kind, tuple[float, float]]] = [
    ("0.2 % of reading + 5 mA", "current", (0.002, 0.005)),
    ("5 mA + 0.2 % of reading", "current", (0.002, 0.005)),
    ("0.5 % of reading", "voltage", (0.005, 0.0)),
    ("1.8 degF", "temperature", (0.0, 1.0)),
    ("10 mV", "voltage", (0.0, 0.01)),
]


@pytest.mark.parametrize(("text", "kind", "parts"), ACCURACIES)
def test_a_limit_of_error_has_a_share_and_a_fixed_part(text: str, kind: Kind, parts: tuple[float, float]) -> None:
    assert parse_accuracy(text, kind) == pytest.approx(parts)


def test_a_limit_of_error_may_be_a_share_of_the_range() -> None:
    text = "0.2 % of reading + 0.05 % of range"
    assert parse_accuracy(text, "current", (-1.0, 10.0)) == pytest.approx((0.002, 0.0055))
    assert parse_accuracy("1 % of range", "temperature", (0.0, 100.0)) == pytest.approx((0.0, 1.0))
    with pytest.raises(UnitMistake, match="range that is not given"):
        parse_accuracy(text, "current")


@pytest.mark.parametrize(
    "text", ["0 mA", "-5 mA", "-1 % of reading", "0.2 %", "5", "", "+", "0.2 % of range", "nan mA"]
)
def test_a_limit_of_error_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(UnitMistake):
        parse_accuracy(text, "current")


def test_a_program_without_quantities_does_not_load_pint() -> None:
    script = "import sys, supervisor.units; sys.exit('pint' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", script], check=False).returncode == 0
