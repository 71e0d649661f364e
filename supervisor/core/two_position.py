"""Two-position control: on beyond one edge of a band, off beyond the other, and not more often than the load bears.

Source: common practice of a thermostat with differential; a compressor must rest some minutes between two starts so
that its pressures even out (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from supervisor.core import switches

if TYPE_CHECKING:
    from supervisor.core.work import Work


@dataclass(frozen=True, slots=True)
class Told:
    """What a control last knew of its output: the number of the action that began it, and since which process time."""

    first: int = 0
    since_s: float = 0.0


def look(work: Work, output: str, told: Told) -> Told:
    """See whether something else than its control has told an output anything: then its time begins anew."""
    first = work.state.outputs[output].first
    return told if first == told.first else Told(first, work.at.process_s)


def tell(work: Work, output: str, *, on: bool) -> Told:
    """Tell an output, by its control."""
    switches.command(work, output, on=on)
    return Told(work.state.outputs[output].first, work.at.process_s)


def wants(on: bool, beyond_c: float, band_c: float, for_s: float, least_on_s: float, least_off_s: float) -> bool:
    """Whether an output is to be on next.

    Args:
        on: whether it is.
        beyond_c: how far the bath is beyond what is to be held, in the direction the output drives it, K.
        band_c: width of the band around what is held, K.
        for_s: how long it has been as it is, process time, s.
        least_on_s: how long it stays on at least, process time, s.
        least_off_s: how long it stays off at least, process time, s.
    """
    if on:
        return beyond_c <= band_c / 2 or for_s < least_on_s
    return beyond_c < -band_c / 2 and for_s >= least_off_s
