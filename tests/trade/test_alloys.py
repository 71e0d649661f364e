"""The table of alloys: what a name finds, and what stands there against what is printed."""

from __future__ import annotations

import pytest

from supervisor.trade.alloys import ALLOYS, Alloy, named
from supervisor.trade.coating import FOOT_M, MIL_UM, RULE_720_UM_M2_PER_C

PER_DM2_MINUTE = 6000.0  # C/m2


def found(text: str) -> Alloy:
    alloy, reasons = named(text)
    assert reasons == ()
    assert alloy is not None
    return alloy


@pytest.mark.parametrize("alloy", ALLOYS.values(), ids=lambda alloy: alloy.name)
def test_every_figure_is_in_order_and_the_best_lies_between_its_bounds(alloy: Alloy) -> None:
    assert 0 < alloy.growth.low < alloy.growth.best < alloy.growth.high
    assert 10 < alloy.voltage_v < 30
    assert 0 <= alloy.ramp_s <= 300
    assert 1.8 < alloy.coat_limit_um < 40


# Sources: rule of thumb in Europe 0.30 (from memory); the 720 rule, Products Finishing, Table 1: 0.32774; AA6063:
# 0.3087 (Ajeel and Mohammad, Eng. & Tech. Journal 26(11), 2008); um per A*min/dm2.
@pytest.mark.parametrize("name", ["1100", "5052", "6061", "6063"])
def test_the_published_factors_lie_within_the_bounds_of_the_usual_alloys(name: str) -> None:
    growth = ALLOYS[name].growth
    for published in (0.30 / PER_DM2_MINUTE, 0.3087 / PER_DM2_MINUTE, RULE_720_UM_M2_PER_C):
        assert growth.low <= published * (1 + 1e-12)
        assert published <= growth.high


# From memory: 7xxx grows 0.9-1.0 of the usual alloys, 2xxx 0.7-0.85, castings 0.6-0.85.
@pytest.mark.parametrize(
    ("name", "low", "high"), [("7075", 0.9, 1.0), ("2024", 0.7, 0.85), ("cast 356", 0.6, 0.85), ("cast 413", 0.6, 0.85)]
)
def test_the_others_grow_their_share_of_the_usual_alloys(name: str, low: float, high: float) -> None:
    usual, growth = ALLOYS["6061"].growth, ALLOYS[name].growth
    assert growth.low == pytest.approx(low * usual.low, rel=0.01)
    assert growth.high == pytest.approx(high * usual.high, rel=0.01)


# From memory: volts at 12 A/ft2, 15 % acid by weight, 70 degF.
def test_volts_of_the_table() -> None:
    volts = {name: alloy.voltage_v for name, alloy in ALLOYS.items()}
    assert volts == {
        "1100": 15,
        "5052": 14.5,
        "6061": 15,
        "6063": 15,
        "3003": 16,
        "7075": 16,
        "2024": 21,
        "cast 356": 19,
        "cast 380": 23,
        "cast 413": 26,
    }


# Source: Metal Finishing Guidebook 2013 p. 425: 10-15 A/ft2 for decorative and protective work.
def test_every_alloy_bears_the_least_of_the_printed_densities_and_castings_no_more_than_the_highest() -> None:
    for alloy in ALLOYS.values():
        assert alloy.highest_density_a_per_m2 * FOOT_M**2 >= 10
        if alloy.family in {"casting", "2xxx"}:
            assert alloy.highest_density_a_per_m2 * FOOT_M**2 <= 15 + 1e-9


# Source: MIL-A-8625F type II as listed by a trade council: 1.8-25.4 um.
@pytest.mark.parametrize("name", ["1100", "5052", "6061", "6063"])
def test_the_usual_alloys_reach_a_mil_before_they_chalk(name: str) -> None:
    assert ALLOYS[name].coat_limit_um > MIL_UM


@pytest.mark.parametrize(
    ("written", "name"),
    [
        ("6061", "6061"),
        ("6061-T6", "6061"),
        (" 6061 t6 ", "6061"),
        ("AA6061", "6061"),
        ("EN AW-6061", "6061"),
        ("5052-H32", "5052"),
        ("1100-O", "1100"),
        ("7075-T7351", "7075"),
        ("356", "cast 356"),
        ("A356.0", "cast 356"),
        ("A356-T6", "cast 356"),
        ("Cast 380", "cast 380"),
    ],
)
def test_an_alloy_is_found_however_it_is_usually_written(written: str, name: str) -> None:
    assert found(written) is ALLOYS[name]


@pytest.mark.parametrize(("written", "near"), [("6062", "6061"), ("cast 365", "cast 356"), ("7057", "7075")])
def test_an_unknown_alloy_is_refused_with_the_nearest_names(written: str, near: str) -> None:
    alloy, reasons = named(written)
    assert alloy is None
    assert len(reasons) == 1
    assert written in reasons[0]
    assert near in reasons[0]


@pytest.mark.parametrize("written", ["", "titanium", "6061,", "6061;7075"])
def test_what_resembles_nothing_is_refused(written: str) -> None:
    alloy, reasons = named(written)
    assert alloy is None
    assert len(reasons) == 1


def test_every_unknown_alloy_of_several_is_named() -> None:
    alloy, reasons = named("6061, 6099, 8888")
    assert alloy is None
    assert ["6099" in reasons[0], "8888" in reasons[1]] == [True, True]


def test_a_mixed_load_has_the_most_careful_bound_of_each() -> None:
    mixed, plain, cast = found("6061, cast 356"), ALLOYS["6061"], ALLOYS["cast 356"]
    assert (mixed.name, mixed.family) == ("6061, cast 356", "mixed")
    assert (mixed.growth.low, mixed.growth.high) == (cast.growth.low, plain.growth.high)
    assert cast.growth.best < mixed.growth.best < plain.growth.best
    assert mixed.highest_density_a_per_m2 == cast.highest_density_a_per_m2
    assert (mixed.ramp_s, mixed.coat_limit_um, mixed.voltage_v) == (cast.ramp_s, cast.coat_limit_um, cast.voltage_v)


def test_the_same_alloy_twice_is_no_mixed_load() -> None:
    assert found("6061, 6061-T6") is ALLOYS["6061"]
