"""How played loads are judged: what counts as held, covered and apart, and that the promised figures come out of it."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from supervisor.core.warm_up import Ready
from supervisor.trade.charge import Interval
from tests.campaigns.agreement import End
from tests.campaigns.heat import error_percent
from tests.campaigns.judged_loads import load_figures, seeds_by_line, share
from tests.campaigns.loads import Held, LineSeen, LoadSeen, line_files, planned, world_of
from tests.campaigns.profiles import counted, metering_of
from tests.campaigns.worlds import (
    AREA_BY_LOAD,
    AREA_SHARED,
    GAUGE_READINGS,
    WORLDS,
    draw_line,
    draw_load,
    draw_profile,
)
from tests.harness.warming import Seen

BAND = Interval(9.0, 10.0, 11.2)
GOOD = LoadSeen("nominal", 0, (Held(Interval(9.0, 10.0, 11.0), unbounded=False, true_c=10.5),), BAND, 10.0, 10.2, (), 0)


@pytest.mark.parametrize(
    ("true_c", "unbounded", "contains"),
    [
        (9.0, False, True),
        (11.0, False, True),
        (8.99, False, False),
        (11.01, False, False),
        (11.01, True, True),
        (8.99, True, False),
    ],
)
def test_a_charge_is_held_between_its_bounds_and_an_unbounded_one_above_its_lower(
    true_c: float, unbounded: bool, contains: bool
) -> None:
    assert Held(Interval(9.0, 10.0, 11.0), unbounded, true_c).contains is contains


def test_a_load_is_judged_against_its_band_and_its_order() -> None:
    assert GOOD.covered
    assert not replace(GOOD, true_um=11.5).covered
    assert not replace(GOOD, true_um=8.9).covered
    assert GOOD.half_width_percent == pytest.approx(11.0)
    assert GOOD.error_percent == pytest.approx(2.0)
    assert replace(GOOD, true_um=9.5).error_percent == pytest.approx(5.0)


def test_every_seed_is_played_once_and_a_line_has_six_of_them() -> None:
    lines = seeds_by_line(1000)
    assert [seed for line in lines for seed in line] == list(range(1, 1001))
    assert {len(line) for line in lines[:-1]} == {6}
    assert {world_of(number) for number in range(5)} == set(WORLDS)


def figures_of(*lines: LineSeen) -> dict[str, tuple[float, bool]]:
    """Value, rounded as it is told, and whether it is met, by name."""
    return {figure.name: (float(f"{figure.value:.4g}"), figure.ok) for figure in load_figures(lines)}


def test_the_promised_figures_come_out_of_the_loads() -> None:
    after = replace(GOOD, gauged=5, band_um=Interval(9.7, 10.0, 10.5), true_um=10.1, world="cold")
    lines = [LineSeen((GOOD, after), 1.0), LineSeen((GOOD, replace(after, true_um=10.6)), 3.0)]
    found = figures_of(*lines)
    assert found["interval_contains_truth_percent"] == (100.0, True)
    assert found["band_coverage_percent"] == (75.0, False)
    assert found["band_coverage_percent_nominal"] == (100.0, True)
    assert found["band_coverage_percent_cold"] == (50.0, False)
    assert found["band_half_width_percent_before"] == (11.0, True)
    assert found["band_half_width_percent_after"] == (4.0, True)
    assert found["factor_error_percent"] == (2.0, True)
    assert found["thickness_error_before_percent"] == (2.0, True)
    assert found["thickness_error_after_percent"] == (3.5, True)
    assert found["false_reports_core"] == (0.0, True)


def test_one_charge_outside_and_one_report_of_a_sound_load_are_missed_figures() -> None:
    missed = replace(GOOD.charges[0], true_c=20.0)
    bad = replace(GOOD, gauged=5, charges=(*GOOD.charges, missed), reports=("contact-lost-part",))
    found = figures_of(LineSeen((GOOD, bad), 1.0))
    assert found["interval_contains_truth_percent"] == (66.67, False)
    assert found["false_reports_core"] == (1.0, False)


def test_a_share_of_nothing_is_an_error() -> None:
    with pytest.raises(ValueError, match="nothing"):
        share([])


def test_a_profile_is_judged_by_its_best_value_and_the_whole_width() -> None:
    found = counted(Interval(99.0, 100.0, 102.0), 99.5)
    assert found.error_percent == pytest.approx(100 * (100 / 99.5 - 1))
    assert found.width_percent == pytest.approx(3.0)
    assert found.contains
    assert not counted(Interval(99.0, 100.0, 102.0), 102.1).contains


def test_a_profile_is_metered_with_a_fifth_of_a_percent_of_reading_and_nothing_else() -> None:
    accuracy = metering_of(draw_profile(1)).accuracy
    assert accuracy.of_reading == pytest.approx(0.002)
    assert accuracy.absolute == 0.0


def test_ends_are_as_far_apart_as_the_figure_in_which_they_differ_most() -> None:
    one = End(100.0, 10.0, Interval(99.0, 100.0, 101.0), BAND)
    assert one.apart_percent(one) == 0.0
    assert one.apart_percent(replace(one, band_um=BAND._replace(high=11.2 * 1.01))) == pytest.approx(100 / 101)


def test_a_forecast_errs_by_a_share_of_the_time_to_go() -> None:
    seen = Seen(0.25, Ready(Interval(800.0, 900.0, 1000.0), None), 1000.0)
    assert error_percent(seen) == pytest.approx(10.0)
    assert math.isinf(error_percent(replace(seen, ready=Ready(Interval(800.0, math.inf, math.inf), None))))


@pytest.mark.parametrize("world", WORLDS)
def test_a_line_is_drawn_from_its_world_and_again_by_its_seed(world: str) -> None:
    of = WORLDS[world]
    for seed in range(50):
        line = draw_line(of, seed)
        assert line == draw_line(of, seed)
        assert of.bath_c[0] <= line.bath_c <= of.bath_c[1]
        assert line.alloy in of.alloys
        load = draw_load(line, seed)
        told = load.stated_dm2 / line.area_dm2
        assert abs(told / (1 + line.area_error) - 1) <= AREA_BY_LOAD
        assert abs(line.area_error) <= AREA_SHARED


def test_the_factor_of_a_line_is_that_of_areas_as_told() -> None:
    line = replace(draw_line(WORLDS["nominal"], 1), growth_um_per_a_min_dm2=0.3, area_error=0.04)
    assert line.factor_um_m2_per_c == pytest.approx(0.3 / 6000 * 1.04)


def test_a_gauge_errs_alike_in_all_readings_of_a_load() -> None:
    line = draw_line(WORLDS["nominal"], 1)
    load = replace(draw_load(line, 1), gauge_error=1.0, places=(1.0,) * GAUGE_READINGS)
    assert load.gauged_um(10.0) == pytest.approx([11.0] * 5)
    assert load.gauged_um(50.0) == pytest.approx([51.5] * 5)


def test_the_simulated_line_is_the_drawn_one() -> None:
    drawn = draw_line(WORLDS["hot"], 3)
    load = draw_load(drawn, 1)
    plan = planned(line_files()[1], drawn, load)
    supply, tank = plan.supplies["rectifier"], plan.tanks["acid"]
    assert (tank.start_c, tank.acid_g_per_l) == (drawn.bath_c, drawn.acid_g_per_l)
    assert (supply.load.area_dm2, supply.load.alloy) == (drawn.area_dm2, drawn.alloy)
    assert supply.load.growth_um_per_a_min_dm2 == load.growth_um_per_a_min_dm2
