"""Oxide thickness from charge per area: the 720 rule and its kin.

Source: "How to apply the 720 rule to current density anodizing", Products Finishing, Table 1:
mil = (A/ft2) x min / 720. In SI: 0.32774 um per A*min/dm2, or 5.4624e-5 um per C/m2. Empirical; published factors
for alloys of the 1xxx, 5xxx and 6xxx kind run from 0.30 to 0.33.
Valid for sulfuric acid near 20 degC while growth is steady and the coat stays well below its chalking limit.
Across a rack thickness scatters by 5-20 % either way (from memory); classes of thickness ask for a mean and for a least
local one (ISO 7599, from memory: 80 % of the mean).
"""

from __future__ import annotations

from supervisor.trade.charge import Interval

MIL_UM = 25.4
FOOT_M = 0.3048
RULE_720_UM_M2_PER_C = MIL_UM / 720 * FOOT_M**2 / 60


def thickness_um(charge_c: Interval, area_m2: float, growth_um_m2_per_c: Interval) -> Interval:
    """Mean coat thickness, um, on `area_m2` (above zero) after a charge, C, at a growth factor, um per C/m2."""
    per_area = Interval(charge_c.low / area_m2, charge_c.best / area_m2, charge_c.high / area_m2)
    return per_area.times(growth_um_m2_per_c)


def charge_for_c(target_um: float, area_m2: float, growth_um_m2_per_c: float) -> float:
    """Charge, C, that grows `target_um` on `area_m2` at a growth factor, um per C/m2 (above zero)."""
    return target_um * area_m2 / growth_um_m2_per_c


def spread_um(mean_um: Interval, spread: float) -> Interval:
    """From the thinnest to the thickest place to expect, um, about the best mean; `spread` is a share, 0 to below 1."""
    return Interval(mean_um.best * (1 - spread), mean_um.best, mean_um.best * (1 + spread))


def least_local_um(mean_um: Interval, spread: float) -> Interval:
    """Thickness, um, where the coat is thinnest, each bound of the mean less `spread`, a share, 0 to below 1."""
    return Interval(mean_um.low * (1 - spread), mean_um.best * (1 - spread), mean_um.high * (1 - spread))


def mean_for_um(least_um: float, spread: float) -> float:
    """Mean thickness, um, at which the thinnest place has `least_um`."""
    return least_um / (1 - spread)
