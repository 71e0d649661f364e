"""What a step of the core costs, and that it does not grow with the number of supplies on the line."""

from __future__ import annotations

import time
from collections.abc import Iterator

from tests.campaigns.figures import Figure
from tests.core.kit import SCAN_S, Bench
from tests.core.plain import line_setup

MOST_SUPPLIES = 4
TRIES = 5


def _step_s(supplies: int, scans: int) -> float:
    """CPU time of one step with a supply's readings, s, one operation running; the best of several tries."""
    best_s = float("inf")
    for _ in range(TRIES):
        bench = Bench(line_setup(supplies)).running(supply="main", target_um=30.0)
        events = []
        for _ in range(scans // TRIES):
            bench.later(SCAN_S)
            events.append(bench.supply_scan("main", bench.devices["main"]))
        began_s = time.process_time()
        for event in events:
            bench.line.step(event)
        best_s = min(best_s, (time.process_time() - began_s) / len(events))
    return best_s


def core_figures(scans: int) -> Iterator[Figure]:
    """Compare a line of one supply with one of four."""
    alone_s, among_s = _step_s(1, scans), _step_s(MOST_SUPPLIES, scans)
    yield Figure("core_step_us", 1e6 * alone_s, "report", scans, None, "CPU")
    yield Figure("core_growth_ratio", among_s / alone_s, "<= 1.5", scans, None, f"CPU, {MOST_SUPPLIES} supplies to 1")
