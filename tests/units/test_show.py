"""Showing quantities: to people, in the units they chose, without losing more than the last digit."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.units import KINDS, Kind, System, parse, show

SHOWN: list[tuple[float, Kind, System, str]] = [
    (20.0, "thickness", "metric", "20.0 µm"),
    (20.0, "thickness", "us", "0.787 mil"),
    (0.013, "area", "metric", "1.30 dm²"),
    (0.013, "area", "us", "20.2 in²"),
    (150.0, "current density", "metric", "1.50 A/dm²"),
    (150.0, "current density", "us", "13.9 A/ft²"),
    (20.0, "temperature", "metric", "20.0 °C"),
    (20.0, "temperature", "us", "68.0 °F"),
    (0.5, "temperature difference", "us", "0.9 °F"),
    (4800.0, "charge", "us", "80.0 A·min"),
    (8.0, "volume", "us", "2.1 gal"),
    (8.0, "volume", "metric", "8.0 L"),
    (0.005, "current", "us", "5.0 mA"),
    (1.95, "current", "metric", "1.95 A"),
    (0.15, "time", "metric", "150 ms"),
    (90.0, "time", "metric", "90.0 s"),
    (2400.0, "time", "us", "40.0 min"),
    (9000.0, "time", "us", "2.50 h"),
    (-0.001, "temperature", "metric", "0.0 °C"),
    (math.inf, "charge", "metric", "unbounded"),
    (math.nan, "temperature", "metric", "no value"),
]


@pytest.mark.parametrize(("value", "kind", "system", "text"), SHOWN)
def test_a_value_is_shown_in_the_units_people_chose(value: float, kind: Kind, system: System, text: str) -> None:
    assert show(value, kind, system) == text


SIZES: dict[Kind, tuple[float, float]] = {
    "temperature": (-40, 300),
    "temperature difference": (-50, 50),
    "bit rate": (300, 1e6),
    "growth": (1e-5, 1e-4),
}


@given(st.data(), st.sampled_from(list(KINDS)), st.sampled_from(["metric", "us"]))
def test_what_is_shown_reads_back_to_within_half_its_last_digit(
    data: st.DataObject, kind: Kind, system: System
) -> None:
    value = data.draw(st.floats(*SIZES.get(kind, (0, 1e4))))
    text = show(value, kind, system)
    number, unit = text.split(" ")
    last_digit = 10.0 ** -len(number.partition(".")[2])
    difference: Kind = "temperature difference" if kind == "temperature" else kind
    half_a_digit = parse(f"{last_digit / 2:.9f} {unit}", difference)
    assert abs(parse(text, kind) - value) <= half_a_digit * (1 + 1e-9) + abs(value) * 1e-12


@given(st.floats(1e-6, 1e6), st.sampled_from(list(KINDS)))
def test_a_number_written_in_the_inside_unit_reads_back_as_itself(value: float, kind: Kind) -> None:
    inside = KINDS[kind].inside.replace("1", "%")
    size = 100.0 if kind == "fraction" else 1.0
    assert parse(f"{value * size!r} {inside}", kind) == pytest.approx(value, rel=1e-14)
