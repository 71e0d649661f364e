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

KNOWN: tuple[tuple[str, warming.Kind, bool], ...] = (
    ("to_60", "to 60", False),
    ("lidded", "lidded", False),
    ("open_learned", "open", True),
)
"""Tanks to 60 degC, tanks with a lid, and hot open ones at their second warm-up."""

ENDS: tuple[tuple[str, baths.Kind, bool], ...] = (
    ("without_cooling", "none", False),
    ("cooling_learned", "works", True),
    ("cooling_failed_learned", "failed", True),
)
"""Without cooling; with one that works, or has failed, at the second load: what it takes has been seen then. Control in
two positions leaves the end anywhere in its cycle."""


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


def error_c(one: EndSeen) -> float:
    """Error of a temperature foretold, K."""
    return abs(one.told.best - one.true_c)


def heat_figures(tanks: int) -> Iterator[Figure]:
    """Measure forecasts of this many tanks of each kind; the worst counts, and its 95th percentile stands beside it."""
    known = {name: [error_percent(one) for one in warmed(kind, tanks, again=again)] for name, kind, again in KNOWN}
    yield from _worst("warmup_error_percent", known, "<= 10")
    others = [one for told in (True, False) for one in warmed("open", tanks, told=told)]
    held = 100 * mean(one.ready.to_go_s.low <= one.true_s <= one.ready.to_go_s.high for one in others)
    yield Figure("warmup_band_coverage_percent", held, ">= 90", len(others), SEED, BASE, timing=False)
    weak = warmed("too weak", max(4, tanks // 5))
    told = all(math.isinf(one.ready.to_go_s.high) for one in weak)
    yield Figure("warmup_never_reached_told", told, "= true", len(weak), SEED, BASE, timing=False)
    seen = {name: ended(kind, tanks, again=again) for name, kind, again in ENDS}
    yield from _worst("bath_end_error_c", {name: [error_c(one) for one in of] for name, of in seen.items()}, "<= 0.5")
    first = [one for kind in ("works", "failed") for one in ended(kind, tanks, again=False)]
    p95 = percentile([error_c(one) for one in first], 0.95)
    yield Figure("bath_end_error_c_first_load_p95", p95, "report", len(first), SEED, BASE, timing=False)
    every = [*first, *(one for of in seen.values() for one in of)]
    held = 100 * mean(one.told.low <= one.true_c <= one.told.high for one in every)
    yield Figure("bath_end_band_coverage_percent", held, ">= 90", len(every), SEED, BASE, timing=False)


def _worst(name: str, errors: dict[str, list[float]], target: str) -> Iterator[Figure]:
    every = [error for of in errors.values() for error in of]
    yield Figure(name, max(every), target, len(every), SEED, BASE, timing=False)
    yield Figure(f"{name}_p95", percentile(every, 0.95), "report", len(every), SEED, BASE, timing=False)
    for part, of in errors.items():
        yield Figure(f"{name}_{part}", max(of), "report", len(of), SEED, BASE, timing=False)
