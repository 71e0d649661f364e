"""What acid takes from a coat, against published figures where there are any."""

from __future__ import annotations

import math

import pytest

from supervisor.trade import dissolution
from supervisor.trade.alloys import ALLOYS, Alloy, least_plausible_v, wall_limit_nm

PER_MINUTE = 60.0


# Source: Russ. J. Inorg. Chem. 66(2), 258, 2021, DOI 10.1134/S0036023621020182: 53.2 and 83.3 kJ/mol; derived from
# them: 2.06 and 3.09 times as fast at 30 as at 20 degC.
@pytest.mark.parametrize(("under_current", "times"), [(True, 2.06), (False, 3.09)])
def test_ten_degrees_more_dissolve_so_much_faster(under_current: bool, times: float) -> None:
    cool, warm = (dissolution.wall_loss_nm_per_s(at_c, under_current=under_current) for at_c in (20.0, 30.0))
    assert warm / cool == pytest.approx(times, abs=0.01)


# From memory: 0.07-0.08 nm/min in 10 % acid at 27 degC, without current.
def test_the_absolute_loss_of_the_wall_at_27_degrees() -> None:
    per_minute = dissolution.wall_loss_nm_per_s(27.0, under_current=False) * PER_MINUTE
    assert 0.07 < per_minute < 0.08


# From memory: a coat loses about 0.1 % of its mass per minute in acid at 20 degC, thickness unchanged.
def test_a_fresh_coat_loses_about_a_thousandth_of_its_mass_in_a_minute() -> None:
    loss_nm = dissolution.wall_loss_nm_per_s(20.0, under_current=False) * PER_MINUTE
    assert dissolution.lost_share(loss_nm) == pytest.approx(0.001, rel=0.25)


def test_a_fresh_coat_is_about_a_tenth_pore_and_one_without_walls_is_packed_circles() -> None:
    assert dissolution.porosity(0.0) == pytest.approx(0.093, abs=0.001)
    assert dissolution.porosity(1000.0) == pytest.approx(0.9069, abs=1e-4)  # pi / (2 sqrt 3)


# Source: AAMA 611, class I: 18 um and 4.18 mg/cm2, which is 41.8 g/m2.
def test_mass_and_thickness_of_the_architectural_class() -> None:
    assert dissolution.mass_g_per_m2(18.0, 0.0) == pytest.approx(41.8, abs=0.1)


def test_mass_falls_with_the_walls_while_thickness_stays() -> None:
    whole, worn = dissolution.mass_g_per_m2(20.0, 0.0), dissolution.mass_g_per_m2(20.0, 2.0)
    assert worn == pytest.approx(whole * (1 - dissolution.lost_share(2.0)))
    assert worn < whole
    assert dissolution.chalked_share(3.0, 2.0, 4.0) == 0.0


@pytest.mark.parametrize(
    ("outer", "mean", "limit", "share"),
    [(4.0, 2.0, 4.0, 0.0), (5.0, 2.5, 4.0, 0.2), (8.0, 4.0, 4.0, 0.5), (6.0, 5.0, 4.0, 1.0), (5.0, 5.0, 4.0, 1.0)],
)
def test_beyond_the_limit_the_oldest_part_of_the_coat_is_gone(
    outer: float, mean: float, limit: float, share: float
) -> None:
    assert dissolution.chalked_share(outer, mean, limit) == pytest.approx(share)


def test_the_limit_of_an_alloy_is_its_thickest_coat_at_the_usual_density_and_bath() -> None:
    alloy = ALLOYS["6061"]
    grows_s = dissolution.longest_in_acid_s(wall_limit_nm(alloy), (70 - 32) / 1.8)
    per_area_c = grows_s * 12 / 0.3048**2
    assert per_area_c * alloy.growth.best == pytest.approx(alloy.coat_limit_um)


def test_a_warmer_bath_leaves_less_time_until_the_coat_chalks() -> None:
    limit = wall_limit_nm(ALLOYS["6061"])
    cool, warm = (dissolution.longest_in_acid_s(limit, at_c) for at_c in (20.0, 25.0))
    assert cool / warm == pytest.approx(1.442, abs=0.01)  # 53.2 kJ/mol


@pytest.mark.parametrize("alloy", ALLOYS.values(), ids=lambda alloy: alloy.name)
def test_a_rack_on_the_cathode_is_below_the_plausible_voltage_and_the_alloy_at_30_degrees_above(alloy: Alloy) -> None:
    usual = 12 / 0.3048**2
    assert least_plausible_v(alloy.voltage_v, usual) > 4.0  # full current at 0-4 V
    for density in (usual / 4, usual, 2 * usual):
        warm_v = alloy.voltage_v * (density / usual) ** 0.4 * math.exp(-0.028 * (30 - 21))  # from memory
        assert least_plausible_v(alloy.voltage_v, density) < 0.6 * warm_v
    assert least_plausible_v(alloy.voltage_v, 0.0) == 0.0
