"""Loads with a truth and a gauge, for what is learned from them: what chance decides, and nothing else.

Sources: growth by alloy and how it moves from load to load from the published factors; an area told
from a drawing is wrong by the same share in every load of that part, and by another one in each (parts that were
counted wrong, tape, rack); a gauge is wrong by up to the larger of 1 um and 3 % in the whole set of readings, as after
a zero on another alloy (common practice, no source).
"""

from __future__ import annotations

import random
from dataclasses import dataclass

from supervisor.trade.charge import Interval
from supervisor.trade.learning import GAUGE_LIMIT_SHARE, GAUGE_LIMIT_UM, Errors

READINGS = 5
TRUTH = Errors()
METER_SHARE = 0.001


@dataclass(frozen=True, slots=True)
class Parts:
    """What stays from load to load: growth, um per C/m2, and by which share their true area is above the one told."""

    growth: float
    area_error: float

    @property
    def factor(self) -> float:
        """Thickness over charge per area as told, without what differs from load to load."""
        return self.growth / (1 + self.area_error)


@dataclass(frozen=True, slots=True)
class Gauged:
    """One load: the charge per area as told, C/m2, within its limits; its true mean thickness and the readings, um."""

    charge_c: Interval
    thickness_um: float
    readings_um: tuple[float, ...]


def parts(chance: random.Random, growth: Interval, errors: Errors = TRUTH) -> Parts:
    """Draw parts: growth between its bounds, area within its limit."""
    return Parts(chance.uniform(growth.low, growth.high), chance.uniform(-1, 1) * errors.area_limit)


def load(chance: random.Random, of: Parts, charge_c: float, errors: Errors = TRUTH, rack_share: float = 0.0) -> Gauged:
    """Draw a load of 1 m2 after a charge, C. `rack_share` is the standard deviation of single places on the rack."""
    area_m2 = (1 + of.area_error) * (1 + chance.uniform(-1, 1) * errors.area_by_load_limit)
    thickness_um = of.growth * chance.gauss(1.0, errors.load_sd) * charge_c / area_m2
    wrong_um = chance.uniform(-1, 1) * max(GAUGE_LIMIT_UM, GAUGE_LIMIT_SHARE * thickness_um)
    readings_um = tuple(thickness_um * chance.gauss(1.0, rack_share) + wrong_um for _ in range(READINGS))
    limit_c = charge_c * METER_SHARE
    read_c = charge_c + chance.uniform(-1, 1) * limit_c
    return Gauged(Interval(read_c - limit_c, read_c, read_c + limit_c), thickness_um, readings_um)
