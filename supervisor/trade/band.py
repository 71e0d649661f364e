"""The band of a load's mean thickness: from a charge known within limits and a factor known within a credible interval.

Source: a limit of error is taken as equally likely all over, so its standard deviation is a root of three smaller
(GUM, JCGM 100:2008, 4.3.7), and independent spreads add by their squares (5.1.2). What lies below and above the best
value is added up each for itself, because a gap in the readings widens one side alone.
"""

from __future__ import annotations

import math

from supervisor.trade.charge import Interval

_NINETY = 1.6448536
"""Standard deviations on each side of the middle that hold 90 % of a normal distribution."""


def mean_band(charge_c: Interval, area_m2: float, factor_of_load: Interval) -> Interval:
    """Mean thickness, um, with its 90 % band.

    Args:
        charge_c: between limits of error, C.
        area_m2: as ordered, above zero.
        factor_of_load: 90 % interval of a load's thickness over its charge per ordered area, um per C/m2, best > 0.
    """
    factor = factor_of_load
    best_um = factor.best * charge_c.best / area_m2
    below = math.hypot(
        best_um * (1 - factor.low / factor.best), _limit_um(charge_c.best - charge_c.low, factor, area_m2)
    )
    above = math.hypot(
        best_um * (factor.high / factor.best - 1), _limit_um(charge_c.high - charge_c.best, factor, area_m2)
    )
    return Interval(max(0.0, best_um - below), best_um, best_um + above)


def _limit_um(limit_c: float, factor: Interval, area_m2: float) -> float:
    """What a limit of error of the charge, C, adds to a 90 % band, um."""
    return _NINETY / math.sqrt(3.0) * limit_c * factor.best / area_m2
