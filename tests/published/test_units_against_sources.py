"""Unit conversions against pint's own definitions and against NIST SP 811."""

from __future__ import annotations

import pint
import pytest

from supervisor.units import Kind, parse


@pytest.fixture(scope="module")
def others() -> pint.UnitRegistry[float]:
    """Pint as it comes, with the definitions its authors ship."""
    return pint.UnitRegistry()


# Ours, the kind, and the same in pint's own words and units: pint 0.25, default_en.txt.
AGAINST_PINT: list[tuple[str, Kind, str, str]] = [
    ("1 mil", "thickness", "thou", "micrometer"),
    ("1 in", "thickness", "inch", "micrometer"),
    ("1 in^2", "area", "inch ** 2", "meter ** 2"),
    ("1 ft^2", "area", "foot ** 2", "meter ** 2"),
    ("1 A/ft^2", "current density", "ampere / foot ** 2", "ampere / meter ** 2"),
    ("1 A/in^2", "current density", "ampere / inch ** 2", "ampere / meter ** 2"),
    ("1 mA/cm^2", "current density", "milliampere / centimeter ** 2", "ampere / meter ** 2"),
    ("1 A*h", "charge", "ampere_hour", "coulomb"),
    ("1 A*min", "charge", "ampere * minute", "coulomb"),
    ("1 gal", "volume", "gallon", "liter"),
    ("1 qt", "volume", "quart", "liter"),
    ("1 oz/gal", "concentration", "ounce / gallon", "gram / liter"),
    ("1 ft", "altitude", "foot", "meter"),
    ("1 hPa", "pressure", "hectopascal", "pascal"),
    ("1 h", "time", "hour", "second"),
    (
        "1 um*dm^2/(A*min)",
        "growth",
        "micrometer * decimeter ** 2 / ampere / minute",
        "micrometer * meter ** 2 / coulomb",
    ),
    ("1 mil*ft^2/(A*min)", "growth", "thou * foot ** 2 / ampere / minute", "micrometer * meter ** 2 / coulomb"),
    ("1 degF", "temperature difference", "delta_degree_Fahrenheit", "delta_degree_Celsius"),
]


@pytest.mark.parametrize(("text", "kind", "theirs", "inside"), AGAINST_PINT)
def test_a_unit_is_as_long_as_in_pint(
    others: pint.UnitRegistry[float], text: str, kind: Kind, theirs: str, inside: str
) -> None:
    assert parse(text, kind) == pytest.approx(others.Quantity(1.0, theirs).to(inside).magnitude, rel=1e-12)


@pytest.mark.parametrize("fahrenheit", [-40.0, 0.0, 32.0, 68.0, 140.0, 208.0, 212.0])
def test_fahrenheit_is_as_in_pint(others: pint.UnitRegistry[float], fahrenheit: float) -> None:
    theirs = others.Quantity(fahrenheit, "degree_Fahrenheit").to("degree_Celsius").magnitude
    assert parse(f"{fahrenheit} degF", "temperature") == pytest.approx(theirs, abs=1e-9)


# NIST SP 811 (2008), appendix B.8, factors to SI, from memory. The first column is ours; the last is the SI value.
NIST: list[tuple[str, Kind, float]] = [
    ("1 mil", "thickness", 2.54e-5 * 1e6),
    ("1 in", "thickness", 2.54e-2 * 1e6),
    ("1 ft", "altitude", 3.048e-1),
    ("1 inHg", "pressure", 3.386389e3),
    ("1 mmHg", "pressure", 1.333224e2),
    ("1 mbar", "pressure", 1.0e2),
    ("1 kPa", "pressure", 1.0e3),
    ("1 in^2", "area", 6.4516e-4),
    ("1 ft^2", "area", 9.290304e-2),
    ("1 A/in^2", "current density", 1.550003e3),
    ("1 A*h", "charge", 3.6e3),
    ("1 gal", "volume", 3.785412),
    ("1 qt", "volume", 0.9463529),
    ("1 oz/gal", "concentration", 7.489152),
    ("32 degF", "temperature", 0.0),
    ("212 degF", "temperature", 100.0),
    ("1.8 degF", "temperature difference", 1.0),
]


@pytest.mark.parametrize(("text", "kind", "si"), NIST)
def test_a_unit_is_as_in_nist_sp_811(text: str, kind: Kind, si: float) -> None:
    assert parse(text, kind) == pytest.approx(si, rel=4e-7, abs=1e-12)


def test_the_720_rule_in_both_systems() -> None:
    """Mil = (A/ft^2) min / 720: "How to apply the 720 rule", Products Finishing; the metric form is derived from it."""
    us = parse(f"{1 / 720!r} mil*ft^2/(A*min)", "growth")
    assert us == pytest.approx(parse("0.32774 um*dm^2/(A*min)", "growth"), rel=2e-5)


def test_a_mil_and_a_millimetre_differ_by_39() -> None:
    """Derived from the definition of the inch, 25.4 mm (NIST SP 811, from memory)."""
    assert parse("1 mm", "thickness") / parse("1 mil", "thickness") == pytest.approx(39.37, abs=0.001)
