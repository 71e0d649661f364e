"""How a current meter averages, as its profile says: what its readings are worth where the current ripples."""

from __future__ import annotations

from dataclasses import dataclass

from supervisor.config.mistakes import Told
from supervisor.config.model import PointTable, SupplyTable
from supervisor.trade.metering import Averaging, Meter, Shows, meter

RIPPLE_HZ: dict[str | None, tuple[float, ...]] = {"50 Hz": (100.0,), "60 Hz": (120.0,), None: (100.0, 120.0)}
"""Twice the mains frequency; both where the line file does not say which."""


@dataclass(frozen=True, slots=True)
class Averages:
    """What a profile says of its current meter: how it smooths, over how long, s, and what it shows; `told`: if it did.

    What nobody says is taken from the careful side: spot readings, whose ripple is wholly in doubt.
    """

    averaging: Averaging = "spot"
    over_s: float = 0.0
    shows: Shows = "mean"
    told: bool = False


UNTOLD = Averages()


def averages_of(name: str, table: PointTable, told: Told) -> Averages:
    """Read how a point averages; every mistake is told."""
    where = ("points", name)
    given = [key for key in ("averaging", "averaging_time", "shows") if getattr(table, key) is not None]
    if given and name != "current":
        told((*where, given[0]), f"{name} is not the current that is metered", f"remove {' and '.join(given)}")
        return UNTOLD
    averaging, over_s = table.averaging or "spot", table.averaging_time
    if averaging == "spot" and over_s is not None:
        told((*where, "averaging_time"), "a spot reading takes no time", "remove it, or say how the meter averages")
    elif averaging != "spot" and over_s is None:
        right = 'add the window, like "20 ms"' if averaging == "whole mains cycles" else "add the time constant"
        told((*where, "averaging_time"), "it is missing: the readings lag by it", right)
    if averaging == "spot" and table.shows == "true rms":
        told((*where, "shows"), "a spot reading has no root of a mean square", "say how the meter averages")
    return Averages(averaging, over_s or 0.0, table.shows or "mean", told=table.averaging is not None)


def meter_of(supply: SupplyTable, averages: Averages) -> Meter:
    """What the core is to think of a supply's current meter."""
    lowest_hz = min(RIPPLE_HZ[supply.mains])
    return meter(averages.averaging, averages.over_s, supply.ripple, lowest_hz, averages.shows)
