"""The spine's figures: stops, charge, off latency, start, memory, and the speed of the harnesses."""

from __future__ import annotations

from collections.abc import Iterator

from tests.campaigns.figures import Figure, tell
from tests.campaigns.harnesses import harness_figures
from tests.campaigns.off_latency import off_latency_figures
from tests.campaigns.service import core_suite, demo_load_figures, first_reading
from tests.campaigns.stops import stop_figures


def spine_figures(quick: bool) -> Iterator[Figure]:
    """Measure every figure, the quick ones first."""
    tell("core suite, start of the service ...")
    yield core_suite()
    yield first_reading(runs=2 if quick else 10)
    tell("harnesses ...")
    yield from harness_figures(loads=1 if quick else 5)
    tell("a load at the demo's speed ...")
    yield from demo_load_figures(target="2 um" if quick else "20 um")
    tell("off latency ...")
    yield from off_latency_figures(samples=10 if quick else 200)
    tell("stops ...")
    yield from stop_figures(lines=2 if quick else 10, rounds=1 if quick else 5)
