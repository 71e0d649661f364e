"""The figures of dose and thickness: charge intervals, bands and what is learned, contacts, heat, cost of an update."""

from __future__ import annotations

import os
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor

from tests.campaigns.agreement import agreement_figures
from tests.campaigns.electrical import electrical_figures
from tests.campaigns.estimator import estimator_figures
from tests.campaigns.figures import Figure, tell
from tests.campaigns.heat import heat_figures
from tests.campaigns.judged_loads import load_figures, play
from tests.campaigns.loads import LOADS_OF_A_LINE
from tests.campaigns.profiles import profile_figures


def measurement_figures(quick: bool) -> Iterator[Figure]:
    """Measure every figure, the quick ones first; loads are shared among the processors."""
    tell("what an update costs ...")
    yield from estimator_figures(quick)
    tell("warm-ups, and baths at the end of a load ...")
    yield from heat_figures(4 if quick else 200)
    tell("contacts, sound and lost ...")
    yield from electrical_figures(quick)
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        tell("profiles of current ...")
        yield from profile_figures(quick, pool)
        tell("loads over ptys ...")
        yield from agreement_figures(1 if quick else 20, pool)
        tell("loads of five worlds ...")
        yield from load_figures(play(2 * LOADS_OF_A_LINE if quick else 1000, pool))
