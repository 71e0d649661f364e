"""The figures of alarms and interlocks: tables and rules explored, trips timed, whole days, dips, chance, mutants."""

from __future__ import annotations

from collections.abc import Iterator

from tests.campaigns.days import day_figures
from tests.campaigns.dips import dip_figures
from tests.campaigns.exploration import exploration_figures
from tests.campaigns.figures import Figure, tell
from tests.campaigns.histories import history_figures
from tests.campaigns.mutation import mutation_figures
from tests.campaigns.trip_latency import trip_latency_figures


def alarm_figures(quick: bool) -> Iterator[Figure]:
    """Measure every figure, the quick ones first."""
    tell("every state and every transition ...")
    yield from exploration_figures(quick)
    tell("mains dips ...")
    yield from dip_figures(quick)
    tell("trips from the limit to the wire ...")
    yield from trip_latency_figures(quick)
    tell("days without a fault, and with one ...")
    yield from day_figures(quick)
    tell("random histories ...")
    yield from history_figures(quick)
    tell("mutants of the core ...")
    yield from mutation_figures(quick)
