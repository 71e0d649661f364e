"""The spine's costs, each as a ratio to a floor measured in the same run, so that it holds on any machine."""

from __future__ import annotations

from collections.abc import Iterator

from tests.benchmarks.core import core_figures
from tests.benchmarks.journal import journal_figures
from tests.benchmarks.link import link_figures
from tests.campaigns.figures import Figure, tell


def figures(quick: bool) -> Iterator[Figure]:
    """Measure every cost."""
    tell("core ...")
    yield from core_figures(scans=500 if quick else 5000)
    tell("link ...")
    yield from link_figures(transactions=100 if quick else 1000)
    tell("journal ...")
    yield from journal_figures(steps=500 if quick else 5000)
