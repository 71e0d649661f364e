"""Thermocouple functions: rising, there and back, and refused outside their range."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from supervisor.trade.its90 import Kind
from supervisor.trade.thermocouple import compensated_c, emf_v, published_inverse_c, range_c, temperature_c

KINDS: tuple[Kind, ...] = get_args(Kind)
AT_KIND = st.sampled_from(KINDS)
SHARE = st.floats(0.0, 1.0)


def at(kind: Kind, share: float) -> float:
    low_c, high_c = range_c(kind)
    return min(low_c + share * (high_c - low_c), high_c)


@settings(max_examples=300, derandomize=True, deadline=None)
@given(kind=AT_KIND, share=SHARE)
def test_a_temperature_comes_back_from_its_emf(kind: Kind, share: float) -> None:
    assert temperature_c(kind, emf_v(kind, at(kind, share))) == pytest.approx(at(kind, share), abs=1e-4)


@pytest.mark.parametrize("kind", KINDS)
def test_both_ends_of_the_range_come_back(kind: Kind) -> None:
    for end_c in range_c(kind):
        assert temperature_c(kind, emf_v(kind, end_c)) == pytest.approx(end_c, abs=1e-4)


@settings(max_examples=300, derandomize=True, deadline=None)
@given(kind=AT_KIND, one=SHARE, other=SHARE)
def test_a_hotter_junction_gives_more_emf(kind: Kind, one: float, other: float) -> None:
    colder, hotter = sorted((at(kind, one), at(kind, other)))
    if hotter - colder > 1e-3:
        assert emf_v(kind, colder) < emf_v(kind, hotter)


@pytest.mark.parametrize("kind", KINDS)
def test_emf_rises_in_every_tenth_of_a_degree_across_every_seam(kind: Kind) -> None:
    low_c, high_c = range_c(kind)
    emfs = [emf_v(kind, low_c + step / 10) for step in range(int((high_c - low_c) * 10) + 1)]
    assert all(before < after for before, after in pairwise(emfs))


# Around the seams of the direct functions, where the search could go back and forth for ever.
@pytest.mark.parametrize(("kind", "seam_c"), [(kind, 0.0) for kind in KINDS] + [("J", 760.0)])
@pytest.mark.parametrize("beside_c", [-1e-3, -1e-7, 0.0, 1e-7, 5e-7, 1e-3])
def test_a_seam_between_two_functions_is_found(kind: Kind, seam_c: float, beside_c: float) -> None:
    assert temperature_c(kind, emf_v(kind, seam_c + beside_c)) == pytest.approx(seam_c + beside_c, abs=1e-5)


@settings(max_examples=200, derandomize=True, deadline=None)
@given(kind=AT_KIND, bath_c=st.floats(0.0, 110.0), junction_c=st.floats(-10.0, 60.0))
def test_what_a_loop_with_a_cold_junction_measures_gives_the_bath(kind: Kind, bath_c: float, junction_c: float) -> None:
    measured_v = emf_v(kind, bath_c) - emf_v(kind, junction_c)
    assert compensated_c(kind, measured_v, junction_c) == pytest.approx(bath_c, abs=1e-4)


@pytest.mark.parametrize("kind", KINDS)
def test_a_bath_as_warm_as_the_cold_junction_gives_no_emf(kind: Kind) -> None:
    assert compensated_c(kind, 0.0, 24.3) == pytest.approx(24.3, abs=1e-4)


@pytest.mark.parametrize("kind", KINDS)
def test_outside_the_range_a_person_is_told_the_range(kind: Kind) -> None:
    low_c, high_c = range_c(kind)
    for outside_c in (math.nextafter(low_c, -math.inf), math.nextafter(high_c, math.inf), math.nan, math.inf):
        with pytest.raises(ValueError, match=f"outside {low_c:g} to {high_c:g} °C.*type {kind}"):
            emf_v(kind, outside_c)


@pytest.mark.parametrize("kind", KINDS)
def test_an_emf_no_such_thermocouple_gives_is_refused_with_what_to_look_for(kind: Kind) -> None:
    low_v, high_v = (emf_v(kind, end_c) for end_c in range_c(kind))
    for outside_v in (low_v - 1e-6, high_v + 1e-6, math.nan, math.inf, -math.inf):
        with pytest.raises(ValueError, match=f"type {kind} gives .*broken wire"):
            temperature_c(kind, outside_v)


@pytest.mark.parametrize("kind", KINDS)
def test_the_published_inverse_has_its_own_narrower_range(kind: Kind) -> None:
    for outside_v in (-10e-3, 80e-3, math.nan):
        with pytest.raises(ValueError, match=f"inverse of type {kind}"):
            published_inverse_c(kind, outside_v)


def test_a_cold_junction_out_of_all_range_is_refused() -> None:
    with pytest.raises(ValueError, match="-300 °C lies outside"):
        compensated_c("K", 1e-3, -300.0)
