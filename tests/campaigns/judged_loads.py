"""What a thousand played loads come to: charge, bands, growth learned, false reports."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from concurrent.futures import Executor
from statistics import median

from tests.campaigns.figures import Figure, percentile, tell
from tests.campaigns.loads import LOADS_OF_A_LINE, LineSeen, LoadSeen, play_line
from tests.campaigns.worlds import WORLDS

SEED = 1
BASE = "process, the direct harness as in life"
GAUGED = LOADS_OF_A_LINE - 1


def seeds_by_line(loads: int) -> list[range]:
    """Seeds 1 to `loads`, so many to a line; the last line may have fewer."""
    return [range(first, min(first + LOADS_OF_A_LINE, loads + 1)) for first in range(1, loads + 1, LOADS_OF_A_LINE)]


def play(loads: int, pool: Executor) -> list[LineSeen]:
    """Play loads, every line from its first one on."""
    seeds, seen = seeds_by_line(loads), []
    for number, line in enumerate(pool.map(play_line, range(len(seeds)), seeds), 1):
        seen.append(line)
        if number % 20 == 0:
            tell(f"  {number} of {len(seeds)} lines")
    return seen


def load_figures(lines: Sequence[LineSeen]) -> Iterator[Figure]:
    """Judge the loads of these lines."""
    loads = [load for line in lines for load in line.loads]
    charges = [charge for load in loads for charge in load.charges]
    held = share(charge.contains for charge in charges)
    yield _logical("interval_contains_truth_percent", held, ">= 100", len(charges))
    yield _logical("interval_unbounded_percent", share(charge.unbounded for charge in charges), "report", len(charges))
    yield _logical("interval_loads", len(loads), "report", len(loads))
    yield _logical("interval_restarts", sum(load.restarts for load in loads), "report", len(loads))
    yield from _bands(loads)
    yield from _learning(lines, loads)
    reports = sum(bool(load.reports) for load in loads)
    yield _logical("false_reports_core", reports, "<= 0", len(loads))


def _bands(loads: Sequence[LoadSeen]) -> Iterator[Figure]:
    yield _sampled("band_coverage_percent", share(load.covered for load in loads), "87..93", len(loads))
    for world in WORLDS:
        of = [load.covered for load in loads if load.world == world]
        if of:
            yield _sampled(f"band_coverage_percent_{world.replace(' ', '_')}", share(of), ">= 80", len(of))
    for when, gauged, target in (("before", 0, "<= 12"), ("after", GAUGED, "<= 5")):
        widths = [load.half_width_percent for load in loads if load.gauged == gauged]
        covered = share(load.covered for load in loads if load.gauged == gauged)
        yield _sampled(f"band_half_width_percent_{when}", median(widths), target, len(widths))
        yield _sampled(f"band_coverage_percent_{when}", covered, "report", len(widths))


def _learning(lines: Sequence[LineSeen], loads: Sequence[LoadSeen]) -> Iterator[Figure]:
    factors = [line.factor_error_percent for line in lines if line.factor_error_percent is not None]
    yield _sampled("factor_error_percent", median(factors), "<= 2", len(factors))
    yield _sampled("factor_error_percent_p90", percentile(factors, 0.9), "report", len(factors))
    for when, gauged in (("before", 0), ("after", GAUGED)):
        errors = [load.error_percent for load in loads if load.gauged == gauged]
        yield _sampled(f"thickness_error_{when}_percent", median(errors), "report", len(errors))
        yield _sampled(f"thickness_error_{when}_percent_p90", percentile(errors, 0.9), "report", len(errors))


def share(of: Iterator[bool] | Sequence[bool]) -> float:
    """Share of the true ones, percent. Raises ValueError where there is none."""
    found = list(of)
    if not found:
        raise ValueError("nothing was measured")
    return 100 * sum(found) / len(found)


def _logical(name: str, value: float, target: str, count: int) -> Figure:
    return Figure(name, value, target, count, SEED, BASE, timing=False)


def _sampled(name: str, value: float, target: str, count: int) -> Figure:
    """A share or a median: a quick run's sample is too small to decide it."""
    return Figure(name, value, target, count, SEED, BASE)
