"""Times to a tank's band and temperatures of baths at the end of a load, over drawn tanks of the simulators."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from statistics import mean

from tests.campaigns.figures import Figure, percentile
from tests.harness import baths, warming
from tests.harness.baths import EndSeen
from tests.harness.warming import Seen

SEED = 1
BASE = "process, tank and forecast alone"

KNOWN: tuple[tuple[warming.Kind, bool], ...] = (("to 60", False), ("lidded", False), ("open", True))
"""Tanks to 60 degC, tanks with a lid, and hot open ones at their second warm-up."""

ENDS: tuple[tuple[baths.Kind, bool], ...] = (("none", False), ("works", True), ("failed", True))
"""Without cooling; with one that works, or has failed, at the second load: what it takes has been seen then."""


def warmed(kind: warming.Kind, tanks: int, *, told: bool = True, again: bool = False) -> list[Seen]:
    """Forecasts from a quarter of the rise on, of some tanks; of their second warm-ups where `again`."""
    found: list[Seen] = []
    for seed in range(SEED, SEED + tanks):
        drawn = warming.draw(kind, random.Random(seed), told=told)
        forecasts, kept = warming.warms_up(drawn, seed)
        found += warming.warms_up(drawn, seed + tanks, kept)[0] if again else forecasts
    return found


def ended(kind: baths.Kind, count: int, *, again: bool) -> list[EndSeen]:
    """What was foretold from half way on of some baths; of their second loads where `again`."""
    found: list[EndSeen] = []
    for seed in range(SEED, SEED + count):
        drawn = baths.draw(kind, random.Random(seed))
        told, kept = baths.runs(drawn, seed)
        found += baths.runs(drawn, seed + count, kept)[0] if again else told
    return found


def error_percent(one: Seen) -> float:
    """Error of a forecast in percent of the time that was still to go."""
    return 100 * abs(one.ready.to_go_s.best / one.true_s - 1)


def heat_figures(tanks: int) -> Iterator[Figure]:
    """Measure forecasts of this many tanks of each kind; the worst counts, and its 95th percentile stands beside it."""
    known = [one for kind, again in KNOWN for one in warmed(kind, tanks, again=again)]
    yield from _worst("warmup_error_percent", [error_percent(one) for one in known], "<= 10")
    others = [one for told in (True, False) for one in warmed("open", tanks, told=told)]
    held = 100 * mean(one.ready.to_go_s.low <= one.true_s <= one.ready.to_go_s.high for one in others)
    yield Figure("warmup_band_coverage_percent", held, ">= 90", len(others), SEED, BASE, timing=False)
    weak = warmed("too weak", max(4, tanks // 5))
    told = all(math.isinf(one.ready.to_go_s.high) for one in weak)
    yield Figure("warmup_never_reached_told", told, "= true", len(weak), SEED, BASE, timing=False)
    seen = [one for kind, again in ENDS for one in ended(kind, tanks, again=again)]
    yield from _worst("bath_end_error_c", [abs(one.told.best - one.true_c) for one in seen], "<= 0.5")
    first = [one for kind in ("works", "failed") for one in ended(kind, tanks, again=False)]
    p95 = percentile([abs(one.told.best - one.true_c) for one in first], 0.95)
    yield Figure("bath_end_error_c_first_load_p95", p95, "report", len(first), SEED, BASE, timing=False)
    held = 100 * mean(one.told.low <= one.true_c <= one.told.high for one in (*seen, *first))
    yield Figure("bath_end_band_coverage_percent", held, ">= 90", len(seen) + len(first), SEED, BASE, timing=False)


def _worst(name: str, errors: list[float], target: str) -> Iterator[Figure]:
    yield Figure(name, max(errors), target, len(errors), SEED, BASE, timing=False)
    yield Figure(f"{name}_p95", percentile(errors, 0.95), "report", len(errors), SEED, BASE, timing=False)
