"""The figures of every wire: faults, requests, a broker away, and thermocouples."""

from __future__ import annotations

from collections.abc import Iterator

from tests.campaigns.broker import broker_figures
from tests.campaigns.cold_junction import cold_junction_error
from tests.campaigns.fault_matrix import matrix_figures
from tests.campaigns.figures import Figure, tell
from tests.campaigns.merging import merged_requests
from tests.campaigns.thermocouples import thermocouple_figures


def breadth_figures(quick: bool) -> Iterator[Figure]:
    """Measure every figure, the quick ones first."""
    tell("thermocouples, merged requests ...")
    yield from thermocouple_figures()
    yield cold_junction_error()
    yield merged_requests()
    tell("every driver against every fault ...")
    yield from matrix_figures(quick)
    tell("a broker that is away ...")
    yield from broker_figures(quick)
