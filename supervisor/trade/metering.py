"""What a current meter makes of a rippled current: between which bounds the mean lies, and how far a reading lags.

Sources: a rectifier ripples at twice the mains frequency, by 1 to 10 % of its mean (from memory). Form factor of a
full-wave rectified sine pi / (2 sqrt 2), derived; a smoothed current's rms is at most sqrt(1 + ripple^2) of its mean,
derived. A filter of first order leaves 1 / sqrt(1 + (2 pi f tau)^2) of a ripple; a mean over a window leaves
|sin(pi f w)| / (pi f w), both derived. The mains frequency strays by 0.2 Hz at most from 50 Hz (Regulation (EU)
2017/1485, annex III, from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from supervisor.trade.charge import EXACTLY, NOTHING, Interval

Averaging = Literal["whole mains cycles", "filter", "spot"]
"""How a meter smooths: the mean over a window of whole mains cycles; a filter of first order; not at all."""

Shows = Literal["mean", "true rms"]

FULL_WAVE_FORM = math.pi / (2 * math.sqrt(2))
"""Rms over mean of an unsmoothed full-wave rectified current, 1.1107: no rectifier current reads higher."""

UNKNOWN_RIPPLE = 0.10
"""Counted where nobody says how much a current ripples: the most of what is usual (from memory)."""

MAINS_STRAYS = 0.004
"""Share by which the mains frequency may differ from its nominal one."""

ALIAS_WITHIN = 0.02
"""Readings whose period is this near, in ripple periods, to a whole number see the ripple stand still or crawl."""


@dataclass(frozen=True, slots=True)
class Meter:
    """What is true of the current when a reading, A, is shown.

    Attributes:
        share: the mean current over the reading.
        behind_s: charge that has flowed and is not in the readings yet, per ampere shown, s. It is no error that grows:
            when the reading is back at nought, so is it.
        turn_s: charge that a meter of true rms shows too much for every ampere by which its reading changes, s.
    """

    share: Interval = EXACTLY
    behind_s: Interval = NOTHING
    turn_s: float = 0.0


STEADY = Meter()
"""A meter on a current that does not ripple, or one that shows its mean at once."""


def meter(averaging: Averaging, over_s: float, ripple_share: float | None, ripple_hz: float, shows: Shows) -> Meter:
    """Describe a meter.

    Args:
        averaging: how it smooths.
        over_s: its window or its filter's time constant, s; 0 where it takes spot readings.
        ripple_share: greatest deviation of the current from its mean, of the mean; None where nobody knows, which
            counts as `UNKNOWN_RIPPLE` and, to a meter of true rms, as a current that is not smoothed at all.
        ripple_hz: twice the mains frequency; of several, the lowest.
        shows: the mean, or the root of the mean square.

    Raises ValueError where a reading says nothing of the mean: a ripple of all the current is left in it.
    """
    assumed = UNKNOWN_RIPPLE if ripple_share is None else ripple_share
    left = ripple_left(averaging, over_s, assumed, ripple_hz)
    if left >= 1:
        raise ValueError(f"a reading that ripples by {left:.0%} of its mean bounds no current")
    most_form = form_at_most(ripple_share) if shows == "true rms" else 1.0
    form = min(most_form, math.sqrt(1 + assumed**2 / 2)) if shows == "true rms" else 1.0
    share = Interval(1 / (most_form * (1 + left)), 1 / form, 1 / (1 - left))
    window, rms = averaging == "whole mains cycles", shows == "true rms"
    if averaging == "spot":
        return Meter(share)
    if window:
        return Meter(share, Interval(0.0, over_s / 2, over_s), over_s / 4 if rms else 0.0)
    # Of squares a filter shows less of a rise than of a fall: i = r sqrt(1 + 2 tau r'/r) lies between r and r + tau r'
    # while r rises, and between r + 2 tau r' and r + tau r' while it falls.
    return Meter(share, Interval(over_s, over_s, over_s), over_s if rms else 0.0)


def ripple_left(averaging: Averaging, over_s: float, ripple_share: float, ripple_hz: float) -> float:
    """Share of the mean by which a reading may still ripple, 0 or more; at most the current's own."""
    if averaging == "spot":
        return ripple_share
    lowest_hz = ripple_hz * (1 - MAINS_STRAYS)
    if averaging == "filter":
        return ripple_share / math.hypot(1, 2 * math.pi * lowest_hz * over_s)
    windows = over_s * ripple_hz
    strays = windows * MAINS_STRAYS
    apart = min(0.5, abs(windows - round(windows)) + strays)
    return ripple_share * min(1.0, math.sin(math.pi * apart) / (math.pi * (windows - strays)))


def form_at_most(ripple_share: float | None) -> float:
    """Rms over mean at most, 1 or more, of a current with this ripple; None where nobody knows it."""
    return FULL_WAVE_FORM if ripple_share is None else min(FULL_WAVE_FORM, math.hypot(1, ripple_share))


def aliased(period_s: float, ripple_hz: float) -> bool:
    """Whether readings so far apart, s, fall in phase with the ripple, so that their mean is no better than one."""
    periods = period_s * ripple_hz
    return abs(periods - round(periods)) <= ALIAS_WITHIN
