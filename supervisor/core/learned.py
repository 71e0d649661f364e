"""What gauged loads taught of the growth factor of an alloy in a tank's bath; an operation takes it once, at its start.

The model is trade/learning.py. The newest loads alone count: a bath takes up aluminium and loses acid, and what it did
a year ago says little of today.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from supervisor.core.alloyed import published_growth
from supervisor.core.load import Gauged
from supervisor.core.setup import LineSetup
from supervisor.trade.charge import Interval
from supervisor.trade.learning import Errors, FactorBelief, Seen, belief, seen

LEARNED_FROM = 20
"""Gauged loads of an alloy and a tank that count, the newest; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Learned:
    """What is believed of one factor, the published bounds it began from, and the loads it was learned from."""

    published: Interval
    believed: FactorBelief
    loads: tuple[Gauged, ...]

    @property
    def growth(self) -> Interval:
        """Growth for a plan, um per C/m2: as published until something was learned, then as a single load may do."""
        return self.believed.of_load if self.loads else self.published


def learned(setup: LineSetup, gauged: Mapping[str, Gauged], alloy: str, tank: str) -> Learned:
    """Work out what is believed of loads of an alloy ("" where nobody said) in a tank."""
    fitting = [one for one in gauged.values() if (one.alloy, one.tank) == (alloy, tank) and not one.suspect]
    loads = tuple(fitting[-LEARNED_FROM:])
    published = published_growth(setup, alloy)
    shown = tuple(seen(one.readings_um, one.grew, one.area_m2) for one in loads)
    errors = Errors(setup.growth.area_limit, setup.growth.area_by_load_limit)
    return Learned(published, _belief(published, shown, errors), loads)


@lru_cache(maxsize=64)
def _belief(published: Interval, shown: tuple[Seen, ...], errors: Errors) -> FactorBelief:
    """Some ten milliseconds the first time; a start must not cost them each time."""
    return belief(published, shown, errors)
