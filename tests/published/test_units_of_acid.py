"""The strength of acid by weight, against the handbook's densities."""

from __future__ import annotations

import pytest

from supervisor.config.acid import by_weight_g_per_l


# Density of sulfuric acid at 20 degC, CRC Handbook of Chemistry and Physics: 10 % 1.0661, 12 % 1.0802, 15 % 1.1020,
# 16 % 1.1094, 18 % 1.1245, 20 % 1.1398 g/cm3; g/L = percent x density x 10.
@pytest.mark.parametrize(
    ("percent", "g_per_l"), [(10, 106.61), (12, 129.624), (15, 165.30), (16, 177.504), (18, 202.41), (20, 227.96)]
)
def test_percent_by_weight_is_density_times_share(percent: float, g_per_l: float) -> None:
    assert by_weight_g_per_l(percent) == pytest.approx(g_per_l, rel=1e-6)


# Myhre et al., J. Chem. Eng. Data 43 (1998) 617, derived: a second source for the values between the rows.
@pytest.mark.parametrize(("percent", "g_per_l"), [(14.97, 165.0), (16.20, 180.0), (17.81, 200.0)])
def test_between_the_rows_a_second_source_agrees(percent: float, g_per_l: float) -> None:
    assert by_weight_g_per_l(percent) == pytest.approx(g_per_l, rel=1.5e-3)


@pytest.mark.parametrize("percent", [0.0, 9.99, 20.01, 96.0])
def test_outside_the_table_there_is_no_value(percent: float) -> None:
    with pytest.raises(ValueError, match="outside 10 to 20"):
        by_weight_g_per_l(percent)
