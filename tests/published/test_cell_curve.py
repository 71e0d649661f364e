"""The cell's curve against figures of practice and of papers; each source stands beside its check."""

from __future__ import annotations

import pytest

from supervisor.trade.alloys import ALLOYS
from supervisor.trade.cell import REFERENCE_A_PER_M2, REFERENCE_C, density_a_per_m2, surface_c, voltage_v

SIXTY = ALLOYS["6061"].voltage_v


def test_an_alloy_has_its_volts_at_12_a_per_ft2_and_70_degf() -> None:
    # From memory: 15 V for 6061 at 12 A/ft2, 15 wt %, 70 degF.
    assert voltage_v(REFERENCE_A_PER_M2, REFERENCE_C, SIXTY) == pytest.approx(15.0)


@pytest.mark.parametrize(("density", "volts"), [(100.0, 13.0), (200.0, 17.5)])
def test_6061_needs_13_v_at_1_and_17_5_v_at_2_a_per_dm2(density: float, volts: float) -> None:
    # From memory: "about 13 and 17.5 V" at 20 degC.
    assert voltage_v(density, surface_c(20.0), SIXTY) == pytest.approx(volts, rel=0.06)


def test_at_fixed_voltage_the_current_rises_by_6_to_7_percent_per_degc() -> None:
    # J. Surf. Finish. Soc. Jpn, sfj 20-207: 0.44 eV, about 6 %; practice 6-7 %.
    rise = density_a_per_m2(15.0, 21.0, SIXTY) / density_a_per_m2(15.0, 20.0, SIXTY) - 1
    assert 0.055 <= rise <= 0.07


def test_at_fixed_current_the_voltage_falls_by_2_to_3_percent_per_degc() -> None:
    # Derived from the two above; practice 2-3 %.
    fall = 1 - voltage_v(150.0, 21.0, SIXTY) / voltage_v(150.0, 20.0, SIXTY)
    assert 0.02 <= fall <= 0.03


@pytest.mark.parametrize("volts", [8.0, 15.0, 26.0])
@pytest.mark.parametrize("bath_c", [16.0, 24.0])
def test_volts_and_density_are_each_the_other_way_round(volts: float, bath_c: float) -> None:
    assert voltage_v(density_a_per_m2(volts, bath_c, SIXTY), bath_c, SIXTY) == pytest.approx(volts)
