"""The growth of the coat against published figures; each source stands beside its check."""

from __future__ import annotations

import pytest

from supervisor.trade.charge import Interval
from supervisor.trade.coating import (
    FOOT_M,
    MIL_UM,
    RULE_720_UM_M2_PER_C,
    charge_for_c,
    least_local_um,
    mean_for_um,
    spread_um,
    thickness_um,
)

INCH_M = 0.0254
RULE = Interval(RULE_720_UM_M2_PER_C, RULE_720_UM_M2_PER_C, RULE_720_UM_M2_PER_C)


def grown_um(charge_c: float, area_m2: float) -> float:
    return thickness_um(Interval(charge_c, charge_c, charge_c), area_m2, RULE).best


# Source: "How to apply the 720 rule to current density anodizing", Products Finishing, Table 1.
@pytest.mark.parametrize(("a_per_ft2", "minutes"), [(12, 60), (18, 40), (24, 30), (30, 24), (40, 18)])
def test_the_720_rule_grows_one_mil_in_the_printed_time(a_per_ft2: float, minutes: float) -> None:
    assert grown_um(a_per_ft2 * minutes * 60, FOOT_M**2) == pytest.approx(MIL_UM, rel=1e-12)
    assert charge_for_c(MIL_UM, FOOT_M**2, RULE_720_UM_M2_PER_C) / (a_per_ft2 * 60) == pytest.approx(minutes)


# Derived from the 720 rule with 1 ft = 0.3048 m and 1 mil = 25.4 um, both exact.
def test_the_720_rule_in_metric_form() -> None:
    ampere_minute_per_dm2 = 60.0 / 0.01  # C/m2
    metric = RULE_720_UM_M2_PER_C * ampere_minute_per_dm2
    assert metric == pytest.approx(0.32774, abs=5e-6)
    per_mil = MIL_UM / metric
    assert per_mil == pytest.approx(77.50, abs=5e-3)
    c_per_cm2_um = 1.0 / RULE_720_UM_M2_PER_C / 1e4
    assert c_per_cm2_um == pytest.approx(1.8307, abs=5e-5)


# Source: Ajeel and Mohammad, Eng. & Tech. Journal 26(11), 2008: AA6063, 2.5 A/dm2, 13 vol % acid, 20 degC, 36 min:
# 27.78 um, so 0.3087 um per A*min/dm2. Rule of thumb in Europe: 0.30 (from memory).
def test_the_aa6063_experiment_lies_between_the_rule_of_thumb_and_the_720_rule() -> None:
    measured = 27.78 / (2.5 * 36)
    assert measured == pytest.approx(0.3087, abs=5e-5)
    rule = RULE_720_UM_M2_PER_C * 6000.0
    assert measured < rule
    assert measured > 0.30
    assert grown_um(2.5 * 36 * 60, 0.01) == pytest.approx(27.78, rel=0.07)


# Common practice, no source: about 18 in2 at 1.67 A for 60 min gives about 1 mil. Area and rule are both rounded.
def test_the_common_practice_pair_is_met_within_fifteen_percent() -> None:
    assert grown_um(1.67 * 3600, 18 * INCH_M**2) == pytest.approx(MIL_UM, rel=0.15)


def test_thickness_and_charge_are_inverse_to_each_other() -> None:
    assert grown_um(charge_for_c(20.0, 0.013, RULE_720_UM_M2_PER_C), 0.013) == pytest.approx(20.0)


def test_the_band_of_a_thickness_joins_that_of_charge_and_growth() -> None:
    band = thickness_um(Interval(90.0, 100.0, 110.0), 0.01, Interval(5e-5, 5.5e-5, 6e-5))
    assert (band.low, band.best, band.high) == pytest.approx((0.45, 0.55, 0.66))


def test_mean_spread_and_least_local_are_three_numbers_of_one_coat() -> None:
    mean = Interval(9.0, 10.0, 11.0)
    assert spread_um(mean, 0.2) == Interval(8.0, 10.0, 12.0)
    assert least_local_um(mean, 0.2) == Interval(7.2, 8.0, 8.8)


# Source: ISO 7599 (from memory): the least local thickness is 80 % of the class's mean.
def test_the_mean_for_a_least_local_thickness_is_its_inverse() -> None:
    assert mean_for_um(20.0, 0.2) == pytest.approx(25.0)
    assert least_local_um(Interval(25.0, 25.0, 25.0), 0.2).best == pytest.approx(20.0)
