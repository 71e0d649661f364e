"""Five worlds of loads: what differs from line to line and from load to load, drawn by seed.

Sources of the ranges:

- Acid 165 to 180 g/L, 68 to 72 degF, 10 to 15 A/ft2: Metal Finishing Guidebook 2013 p. 425, decorative and protective
  work. Weak acid: below that, down to 130 g/L; hot and cold: up to and down to the limits that a line file would set
  (both common practice, no source).
- Growth by alloy: 0.30 um per A*min/dm2 (rule of thumb in Europe, from memory) to 0.33 (720 rule, Products Finishing,
  Table 1); 2xxx 0.7 to 0.85, 7xxx 0.9 to 1.0 and castings 0.6 to 0.85 of that (from memory). A bath of its own makes
  0.95 to 1.02 of it (from memory).
- Load to load 1.5 %, as standard deviation. Area told wrong by up to 5 % that is the same in every load of a line (a
  part drawn too small, a rack never counted), and by up to 2 % anew in each (tape, parts counted wrong), uniform:
  common practice, no source. The true area stays the same from load to load, as parts of one order do.
- Leads 20 to 100 mohm on a bench; part 1 to 2.5 degC over its bath; ripple of a smoothed supply up to 2 %: from memory.
- Thickness gauge: larger of 1 um or 3 % as limit of error, the same in all five readings of a load, as after a zero on
  another alloy; single places on a rack scatter by 5 % (both common practice, no source).
- Readings: 1 in 100 answers lost, up to two gaps of 5 s in a load, its service killed in 3 of 10 and back within a
  minute: figures of the campaign, not of the trade.
- Profiles of current: soft start of 30 s, up to three steps of 30 % either way, 5 % of ripple, at 50 or 60 Hz, 40 min:
  figures of the campaign; ripple within the 1 to 10 % of a rectifier (from memory).
"""

from __future__ import annotations

import random
from dataclasses import dataclass

from simulators.cell import ALLOYS

GAUGE_UM, GAUGE_SHARE, GAUGE_READINGS = 1.0, 0.03, 5
RACK_SPREAD = 0.05
LOAD_TO_LOAD = 0.015
AREA_SHARED, AREA_BY_LOAD = 0.05, 0.02
LOST_SHARE, GAP_S, MOST_GAPS = 0.01, 5.0, 2
KILLED_SHARE, AWAY_S = 0.3, (5.0, 60.0)
FIRST_TROUBLE_S, LAST_TROUBLE_S = 100.0, 1500.0
PROFILE_S, PROFILE_RAMP_S, MOST_STEPS, STEP_SHARE, PROFILE_RIPPLE = 2400.0, 30.0, 3, 0.3, 0.05


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
        ripple: of its current, share. area_dm2: true wetted area of its loads. area_error: by which share people tell
            it too great in every load.
    """

    alloy: str
    bath_c: float
    acid_g_per_l: float
    leads_ohm: float
    growth_um_per_a_min_dm2: float
    surface_over_bath_c: float
    meter_error: float
    ripple: float
    area_dm2: float
    area_error: float

    @property
    def factor_um_m2_per_c(self) -> float:
        """Thickness over charge per area as told, um per C/m2, without what differs from load to load."""
        return self.growth_um_per_a_min_dm2 / 6000.0 * (1.0 + self.area_error)


@dataclass(frozen=True)
class DrawnLoad:
    """One load.

    Attributes:
        stated_dm2: what the person gives for its area.
        density_a_per_dm2, target_um: as ordered.
        growth_um_per_a_min_dm2: how this one grows.
        gauge_error: of its gauge in all readings, as share of the limit of error, -1 to 1. places: of each reading,
            thickness there over the mean. gaps_s: moments, s after the start, at which nothing is read for a while.
        killed_s, away_s: when its service dies, if ever, and for how long.
    """

    stated_dm2: float
    density_a_per_dm2: float
    target_um: float
    growth_um_per_a_min_dm2: float
    gauge_error: float
    places: tuple[float, ...]
    gaps_s: tuple[float, ...]
    killed_s: float | None
    away_s: float

    def gauged_um(self, thickness_um: float) -> tuple[float, ...]:
        """What a gauge reads off a coat of this mean thickness, um."""
        limit_um = max(GAUGE_UM, GAUGE_SHARE * thickness_um)
        return tuple(thickness_um * place + limit_um * self.gauge_error for place in self.places)


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
        ripple=chance.uniform(0.0, 0.02),
        area_dm2=chance.uniform(0.8, 2.5),
        area_error=AREA_SHARED * chance.uniform(-1.0, 1.0),
    )


def draw_load(line: DrawnLine, seed: int) -> DrawnLoad:
    """A load on a line."""
    chance = random.Random(f"load {seed}")
    easy = ALLOYS[line.alloy].growth_high > 0.3  # what grows thin coats only is ordered thin and run gently
    error = (1.0 + line.area_error) * (1.0 + AREA_BY_LOAD * chance.uniform(-1.0, 1.0))
    return DrawnLoad(
        stated_dm2=line.area_dm2 * error,
        density_a_per_dm2=chance.uniform(1.1, 1.6),
        target_um=chance.uniform(10.0, 20.0) if easy else chance.uniform(5.0, 10.0),
        growth_um_per_a_min_dm2=line.growth_um_per_a_min_dm2 * chance.gauss(1.0, LOAD_TO_LOAD),
        gauge_error=chance.uniform(-1.0, 1.0),
        places=tuple(chance.gauss(1.0, RACK_SPREAD) for _ in range(GAUGE_READINGS)),
        gaps_s=_moments(chance, chance.randint(0, MOST_GAPS)),
        killed_s=_moments(chance, 1)[0] if chance.random() < KILLED_SHARE else None,
        away_s=chance.uniform(*AWAY_S),
    )


def _moments(chance: random.Random, count: int) -> tuple[float, ...]:
    return tuple(sorted(chance.uniform(FIRST_TROUBLE_S, LAST_TROUBLE_S) for _ in range(count)))


@dataclass(frozen=True)
class DrawnProfile:
    """A current over time: A at full, moments, s, and shares of it from then on, and the frequency of its ripple, Hz.

    `phase_s` is by how much its readings are late of round moments.
    """

    full_a: float
    steps: tuple[tuple[float, float], ...]
    ripple_hz: float
    phase_s: float


def draw_profile(seed: int) -> DrawnProfile:
    """A profile of current for one load."""
    chance = random.Random(f"profile {seed}")
    moments = sorted(chance.uniform(PROFILE_RAMP_S, PROFILE_S - 100.0) for _ in range(chance.randint(0, MOST_STEPS)))
    steps = tuple((moment, 1.0 + chance.choice((-1.0, 1.0)) * STEP_SHARE) for moment in moments)
    return DrawnProfile(chance.uniform(1.0, 4.0), steps, chance.choice((100.0, 120.0)), chance.uniform(0.0, 0.1))
