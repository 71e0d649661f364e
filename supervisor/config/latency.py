"""How long it may take from a bath beyond its trip limit to off on the wire, from the line file alone."""

from __future__ import annotations

from dataclasses import dataclass

from supervisor.config.load import LineFile
from supervisor.config.setup import line_setup, worst_off_delays


@dataclass(frozen=True, slots=True)
class TripLatency:
    """One tank's, in seconds, while every device answers.

    Attributes:
        period_s: between two readings of its temperature. filter_s: for which the limit must be crossed to count.
        off_s: worst delay of the off command that comes last, first try.
    """

    period_s: float
    filter_s: float
    off_s: float

    @property
    def total_s(self) -> float:
        """The sum."""
        return self.period_s + self.filter_s + self.off_s


def trip_latencies(line: LineFile) -> dict[str, TripLatency]:
    """The latency of each tank's trip at its high-high limit, by tank; left out where nothing there can be cut."""
    setup, delays, found = line_setup(line), worst_off_delays(line), {}
    cut = {supply.tank: supply.output or supply.contactor or "" for supply in setup.supplies.values()}
    for name, tank in setup.tanks.items():
        outputs = (cut.get(name, ""), tank.heating.output if tank.heating else "")
        off_s = [delays[output].total_s for output in outputs if output in delays]
        if off_s:
            filter_s = setup.interlocks["bath-high-high"].on_delay_s
            found[name] = TripLatency(setup.channels[tank.temperature].period_s, filter_s, max(off_s))
    return found
