"""Five worlds of loads: what differs from line to line and from load to load, drawn by seed.

Sources of the ranges:

- Acid 165 to 180 g/L, 68 to 72 degF, 10 to 15 A/ft2: Metal Finishing Guidebook 2013 p. 425, decorative and protective
  work. Weak acid: below that, down to 130 g/L; hot and cold: up to and down to the limits that a line file would set
  (both common practice, no source).
- Growth by alloy: 0.30 um per A*min/dm2 (rule of thumb in Europe, from memory) to 0.33 (720 rule, Products Finishing,
  Table 1); 2xxx 0.7 to 0.85, 7xxx 0.9 to 1.0 and castings 0.6 to 0.85 of that (from memory). A bath of its own makes
  0.95 to 1.02 of it (from memory).
- Load to load 1.5 %, as standard deviation; area wrong by 2 % or 5 % (at most, uniform): common practice, no source.
- Leads 20 to 100 mohm on a bench; part 1 to 2.5 degC over its bath: from memory.
- Thickness gauge: larger of 1 um or 3 % as limit of error of a reading, five readings (common practice, no source).
"""

from __future__ import annotations

import random
from dataclasses import dataclass

from simulators.cell import ALLOYS

GAUGE_UM, GAUGE_SHARE, GAUGE_READINGS = 1.0, 0.03, 5
LOAD_TO_LOAD = 0.015
AREA_ERRORS = (0.02, 0.05)


@dataclass(frozen=True)
class World:
    """Ranges of one world: degC, g/L, the alloys hung there."""

    bath_c: tuple[float, float]
    acid_g_per_l: tuple[float, float]
    alloys: tuple[str, ...]


WORLDS = {
    "nominal": World((20.0, 22.2), (165.0, 180.0), ("6061",)),
    "hot": World((22.5, 24.0), (165.0, 180.0), ("6061",)),
    "cold": World((16.0, 18.5), (165.0, 180.0), ("6061",)),
    "weak acid": World((20.0, 22.2), (130.0, 150.0), ("6061",)),
    "other alloy": World((20.0, 22.2), (165.0, 180.0), ("2024", "7075", "cast 356")),
}


@dataclass(frozen=True)
class DrawnLine:
    """What is the same for every load of one line.

    Attributes:
        alloy: of its parts. bath_c: its bath. acid_g_per_l: its acid. leads_ohm: to its tank.
        growth_um_per_a_min_dm2: how this alloy grows in this bath, of which nobody knows.
        surface_over_bath_c: of the part, at 24 W/dm2. meter_error: share of the meter's limit of error, -1 to 1.
        area_error: limit of error of the areas people give.
    """

    alloy: str
    bath_c: float
    acid_g_per_l: float
    leads_ohm: float
    growth_um_per_a_min_dm2: float
    surface_over_bath_c: float
    meter_error: float
    area_error: float


@dataclass(frozen=True)
class DrawnLoad:
    """One load.

    Attributes:
        area_dm2: its true wetted area. stated_dm2: what the person gives for it.
        density_a_per_dm2, target_um: as ordered.
        growth_um_per_a_min_dm2: how this one grows.
        gauge_errors: of each gauge reading of it, as share of the limit of error, -1 to 1.
    """

    area_dm2: float
    stated_dm2: float
    density_a_per_dm2: float
    target_um: float
    growth_um_per_a_min_dm2: float
    gauge_errors: tuple[float, ...]

    def gauged_um(self, thickness_um: float) -> tuple[float, ...]:
        """What a gauge reads off a coat of this mean thickness, um."""
        limit_um = max(GAUGE_UM, GAUGE_SHARE * thickness_um)
        return tuple(thickness_um + limit_um * error for error in self.gauge_errors)


def draw_line(world: World, seed: int) -> DrawnLine:
    """A line of this world."""
    chance = random.Random(f"line {seed}")
    alloy = chance.choice(world.alloys)
    growth = chance.uniform(ALLOYS[alloy].growth_low, ALLOYS[alloy].growth_high) * chance.uniform(0.95, 1.02)
    return DrawnLine(
        alloy=alloy,
        bath_c=chance.uniform(*world.bath_c),
        acid_g_per_l=chance.uniform(*world.acid_g_per_l),
        leads_ohm=chance.uniform(0.02, 0.1),
        growth_um_per_a_min_dm2=growth,
        surface_over_bath_c=chance.uniform(1.0, 2.5),
        meter_error=chance.uniform(-1.0, 1.0),
        area_error=chance.choice(AREA_ERRORS),
    )


def draw_load(line: DrawnLine, seed: int, place: int) -> DrawnLoad:
    """The load of this place, from 0, on a line."""
    chance = random.Random(f"load {seed} {place}")
    area_dm2 = chance.uniform(0.8, 2.5)
    easy = ALLOYS[line.alloy].growth_high > 0.3  # what grows thin coats only is ordered thin and run gently
    return DrawnLoad(
        area_dm2=area_dm2,
        stated_dm2=area_dm2 * (1.0 + line.area_error * chance.uniform(-1.0, 1.0)),
        density_a_per_dm2=chance.uniform(1.1, 1.6),
        target_um=chance.uniform(10.0, 20.0) if easy else chance.uniform(5.0, 10.0),
        growth_um_per_a_min_dm2=line.growth_um_per_a_min_dm2 * chance.gauss(1.0, LOAD_TO_LOAD),
        gauge_errors=tuple(chance.uniform(-1.0, 1.0) for _ in range(GAUGE_READINGS)),
    )
