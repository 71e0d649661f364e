"""What the metering of each supply costs its charge, in plain words: told by `check` and at every start."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import count

from supervisor.config.averages import RIPPLE_HZ, Averages
from supervisor.config.load import LineFile
from supervisor.config.model import SupplyTable
from supervisor.trade.metering import FULL_WAVE_FORM, UNKNOWN_RIPPLE, aliased, form_at_most, ripple_left
from supervisor.units import show

WORTH_TELLING = 0.001
"""Share of the charge below which nobody needs to hear of a ripple in phase."""


def metering_told(line: LineFile) -> Iterator[str]:
    """What the metering of each supply costs, in plain words: what, what follows, what to do."""
    for name, supply in line.document.supplies.items():
        averages = line.profiles[supply.device].averages
        if not averages.told:
            yield (
                f"Supply {name}: nobody says how its current meter averages. It counts as spot readings, and all of "
                "the ripple widens the charge: look into its manual and set averaging in the profile."
            )
        if supply.ripple is None:
            yield (
                f"Supply {name}: nobody says how much its current ripples. {UNKNOWN_RIPPLE:.0%} counts: look into its "
                f"manual and set supplies.{name}.ripple."
            )
        if averages.shows == "true rms":
            high = form_at_most(supply.ripple)
            plate = f", {FULL_WAVE_FORM - 1:.0%} where nothing smooths it" if supply.ripple is not None else ""
            yield (
                f"Supply {name}: its meter shows true rms, which reads up to {high - 1:.1%} above the mean of a "
                f"rectified current{plate}; only the mean grows a coat. The low bound of the charge allows for it."
            )
        table = line.document.devices[supply.device]
        yield from _aliasing(name, supply, averages, table.periods.get("current", table.period))


def _aliasing(name: str, supply: SupplyTable, averages: Averages, period_s: float) -> Iterator[str]:
    frequencies = RIPPLE_HZ[supply.mains]
    ripple = UNKNOWN_RIPPLE if supply.ripple is None else supply.ripple
    left = max(ripple_left(averages.averaging, averages.over_s, ripple, hz) for hz in frequencies)
    phased = [hz for hz in frequencies if aliased(period_s, hz)]
    if averages.averaging == "whole mains cycles" or not phased or left < WORTH_TELLING:
        return
    yield (
        f"Supply {name}: readings every {show(period_s, 'time', 'metric')} fall in phase with a ripple of "
        f"{' and '.join(f'{hz:g}' for hz in phased)} Hz, so their mean is no better than one of them: up to {left:.1%} "
        f"stands in the best charge too. Read it every {_out_of_phase_ms(period_s, frequencies)} ms."
    )


def _out_of_phase_ms(period_s: float, frequencies: tuple[float, ...]) -> int:
    """A period, ms, near this one or longer, whose readings spread over the ripple: a quarter or more out of phase."""
    first_ms = max(1, round(period_s * 1000))
    return next(
        ms for ms in count(first_ms) if all(abs((p := ms / 1000 * hz) - round(p)) >= 0.25 for hz in frequencies)
    )
