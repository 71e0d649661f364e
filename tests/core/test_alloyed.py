"""What the alloy of a load means for its plan."""

from __future__ import annotations

from dataclasses import replace

import pytest

from supervisor.core.alloyed import notices
from supervisor.core.events import Order
from supervisor.core.plan import Plan, make_plan
from supervisor.core.setup import LineSetup, TargetMeans
from supervisor.trade.alloys import ALLOYS
from supervisor.trade.coating import FOOT_M
from tests.core.plain import line_setup

SETUP = line_setup()
GOOD = Order(0.013, 10.0, alloy="6061")


def setup(**anodize: object) -> LineSetup:
    return replace(SETUP, anodize=replace(SETUP.anodize, **anodize))  # type: ignore[arg-type]


def plan(order: Order, line: LineSetup = SETUP) -> Plan:
    made, reasons = make_plan(line, line.supplies["main"], order)
    assert made is not None, reasons
    return made


def refused(order: Order, line: LineSetup = SETUP) -> str:
    made, (reason,) = make_plan(line, line.supplies["main"], order)
    assert made is None
    return reason


def test_the_growth_of_the_alloy_sets_the_charge_for_the_target() -> None:
    made = plan(GOOD)
    assert made.alloy == "6061"
    assert made.growth == ALLOYS["6061"].growth
    assert made.target_c == pytest.approx(10.0 * 0.013 / ALLOYS["6061"].growth.best)


def test_without_an_alloy_the_growth_of_the_line_file_serves() -> None:
    made = plan(replace(GOOD, alloy=""))
    assert (made.alloy, made.wall_limit_nm) == ("", None)
    assert made.growth is not None
    assert made.growth.best == SETUP.growth.best_um_m2_per_c


def test_the_line_names_an_alloy_for_orders_that_name_none() -> None:
    line = setup(alloy="7075")
    assert plan(replace(GOOD, alloy=""), line).alloy == "7075"
    assert plan(GOOD, line).alloy == "6061"


def test_an_unknown_alloy_is_refused_with_the_nearest_and_with_every_other_reason() -> None:
    _, reasons = make_plan(SETUP, SETUP.supplies["main"], replace(GOOD, alloy="6062", area_m2=-1.0))
    assert any("6062" in reason and "6061" in reason for reason in reasons)
    assert "The area must be above zero." in reasons


def test_a_density_the_alloy_does_not_bear_is_refused() -> None:
    made, reasons = make_plan(SETUP, SETUP.supplies["main"], Order(0.013, 5.0, alloy="cast 380"))
    assert made is None
    assert reasons == ("The density of 1.5 A/dm² is above cast 380's highest of 1.29 A/dm².",)


def test_in_voltage_mode_the_current_is_capped_at_what_the_alloy_bears() -> None:
    order = Order(0.013, 5.0, alloy="cast 380", mode="voltage", density_a_per_m2=120.0)
    assert plan(order).current_a <= 0.013 * 12 / FOOT_M**2
    assert plan(replace(order, alloy="")).current_a == pytest.approx(0.013 * 200.0)


def test_the_stricter_of_line_and_alloy_bounds_density_and_coat() -> None:
    loose, strict = setup(highest_density_a_per_m2=400.0), setup(highest_density_a_per_m2=160.0, thickest_um=9.0)
    assert "above 6061's highest" in refused(replace(GOOD, density_a_per_m2=300.0), loose)
    assert "above this line's highest" in refused(replace(GOOD, density_a_per_m2=180.0, target_um=8.0), strict)
    assert "this line's limit is 9 µm" in refused(GOOD, strict)
    assert "6061's limit is 30 µm" in refused(replace(GOOD, target_um=31.0))


def test_the_soft_start_is_the_longer_of_line_and_alloy_unless_the_order_says() -> None:
    assert plan(GOOD).ramp_s == ALLOYS["6061"].ramp_s
    assert plan(GOOD, setup(ramp_s=90.0)).ramp_s == 90.0
    assert plan(replace(GOOD, ramp_s=20.0)).ramp_s == 20.0


def test_a_coat_that_would_chalk_before_it_is_thick_enough_is_refused() -> None:
    slow = replace(GOOD, target_um=28.0, density_a_per_m2=100.0)
    reason = refused(slow)
    assert "6061 begins to chalk after" in reason
    assert "at most" in reason
    assert plan(replace(slow, density_a_per_m2=190.0)).target_um == 28.0
    assert plan(replace(slow, target_um=15.0)).target_um == 15.0


def test_the_plan_leaves_a_twentieth_of_its_time_before_the_coat_chalks() -> None:
    longest = plan(replace(GOOD, target_um=28.0))
    chalks_s = longest.longest_s  # R8 ends it there, see below
    um_per_s = 28.0 / (longest.expected_s - longest.ramp_s / 2)
    at_s = {share: um_per_s * (chalks_s / share - longest.ramp_s / 2) for share in (1.04, 1.06)}
    slow = replace(GOOD, density_a_per_m2=110.0)
    ratio = 110.0 / 150.0
    assert plan(replace(slow, target_um=ratio * at_s[1.06])).longest_s == pytest.approx(chalks_s)
    assert "chalk" in refused(replace(slow, target_um=ratio * at_s[1.04]))


def test_the_target_named_in_that_refusal_is_one_that_is_taken() -> None:
    reason = refused(replace(GOOD, target_um=28.0, density_a_per_m2=100.0))
    named_um = float(reason.partition("at most ")[2].partition(" ")[0])
    assert plan(replace(GOOD, target_um=named_um - 0.1, density_a_per_m2=100.0)).target_um < 28.0


def test_a_warmer_band_leaves_less_time() -> None:
    order = replace(GOOD, target_um=25.0)
    tank = SETUP.tanks["main-acid"]
    warm = replace(tank, band=replace(tank.band, warn_high_c=27.0, trip_high_c=29.0))
    assert plan(order).target_um == 25.0
    assert "27.0 °C" in refused(order, replace(SETUP, tanks={tank.name: warm}))


def test_the_longest_time_ends_before_the_coat_chalks() -> None:
    order = replace(GOOD, target_um=28.0)
    assert plan(order).longest_s < SETUP.anodize.margin * plan(order).expected_s
    assert plan(order).longest_s >= plan(order).expected_s
    assert plan(GOOD).longest_s == pytest.approx(SETUP.anodize.margin * plan(GOOD).expected_s)


@pytest.mark.parametrize(("means", "mean_um"), [("mean", 10.0), ("least local", 12.5)])
def test_the_target_says_which_thickness_it_means(means: TargetMeans, mean_um: float) -> None:
    made = plan(GOOD, setup(target_means=means, rack_spread=0.2))
    assert (made.target_um, made.means, made.spread) == (10.0, means, 0.2)
    assert made.growth is not None
    assert made.target_c == pytest.approx(mean_um * 0.013 / made.growth.best)


def test_a_least_local_target_is_refused_where_the_mean_for_it_is_too_thick() -> None:
    line = setup(target_means="least local", rack_spread=0.2)
    assert refused(replace(GOOD, target_um=25.0), line).startswith(
        "To have 25 µm everywhere takes 31.25 µm in the mean."
    )


def test_the_person_is_told_of_mixed_alloys_of_what_is_special_and_of_volts_that_do_not_suffice() -> None:
    line = setup(density_a_per_m2=110.0)
    assert notices(plan(GOOD)) == ()
    assert notices(plan(replace(GOOD, alloy=""))) == ()
    (mixed,) = notices(plan(replace(GOOD, alloy="6061, cast 356"), line))
    assert "Different alloys" in mixed
    special, volts = notices(plan(replace(GOOD, target_um=5.0, alloy="cast 413"), line))
    assert "silicon" in special
    assert "22 V is the most" in volts
