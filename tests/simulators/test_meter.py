"""A simulated meter against the same current in fine steps."""

from __future__ import annotations

import math

import pytest

from simulators.meter import Meter, MeterPlan

FINE_S = 1e-4
STRETCHES = [
    (0.0, 0.3, 0.0, 0.0),
    (0.3, 0.5, 0.0, 3.0),
    (0.5, 1.1, 3.0, 3.0),
    (1.1, 1.13, 1.0, 1.0),
    (1.13, 1.6, 1.0, 0.0),
]
"""Began and ended, s; from and to, A."""


def flows_a(at_s: float, ripple: float) -> float:
    """The rippling current at a moment."""
    began_s, ended_s, from_a, to_a = next((s for s in STRETCHES if s[0] <= at_s < s[1]), (0.0, 1.0, 0.0, 0.0))
    mean_a = from_a + (to_a - from_a) * (at_s - began_s) / (ended_s - began_s)
    return mean_a * (1 + ripple * math.sin(2 * math.pi * 100.0 * at_s))


def told(plan: MeterPlan, until_s: float) -> float:
    """What the meter shows once it was told of every stretch up to a moment."""
    meter, now_a = Meter(plan), 0.0
    for began_s, ended_s, from_a, to_a in STRETCHES:
        if began_s < until_s:
            share = min(1.0, (until_s - began_s) / (ended_s - began_s))
            now_a = from_a + share * (to_a - from_a)
            meter.pass_current(began_s, share * (ended_s - began_s), from_a, now_a)
    return meter.shown_a(now_a, until_s)


def fine(plan: MeterPlan, until_s: float) -> float:
    """The same by adding up fine steps."""
    power = 2 if plan.shows == "true rms" else 1
    currents = [flows_a((n + 0.5) * FINE_S, plan.ripple_share) ** power for n in range(round(until_s / FINE_S))]
    if plan.averaging == "window":
        width = round(plan.over_s / FINE_S)
        value = sum(currents[-width:]) / width
    else:
        keep, value = math.exp(-FINE_S / plan.over_s), 0.0
        for current in currents:
            value = keep * value + (1 - keep) * current
    return math.pow(value, 1 / power)


@pytest.mark.parametrize("shows", ["mean", "true rms"])
@pytest.mark.parametrize(("averaging", "over_s"), [("window", 0.02), ("window", 0.1), ("filter", 0.05)])
@pytest.mark.parametrize("until_s", [0.2, 0.4, 0.8, 1.117, 1.2, 1.6])
def test_a_meter_shows_what_fine_steps_add_up_to(shows: str, averaging: str, over_s: float, until_s: float) -> None:
    plan = MeterPlan(averaging, over_s, shows, ripple_share=0.3)
    assert told(plan, until_s) == pytest.approx(fine(plan, until_s), abs=0.02)


def test_a_window_of_whole_ripples_shows_no_ripple_and_a_spot_reading_all_of_it() -> None:
    window, spot = MeterPlan("window", 0.1, ripple_share=0.1), MeterPlan(ripple_share=0.1)
    for shift_s in (0.0, 0.0025, 0.0075):
        assert told(window, 0.9 + shift_s) == pytest.approx(3.0, rel=1e-9)
    assert told(spot, 0.9025) == pytest.approx(3.3)
    assert told(spot, 0.9075) == pytest.approx(2.7)


def test_true_rms_of_an_unsmoothed_current_reads_eleven_per_cent_high() -> None:
    # A full-wave rectified sine has the rms of a sine ripple of 68 % (pi^2 / 8 = 1 + 0.683^2 / 2).
    share = math.sqrt(2 * (math.pi**2 / 8 - 1))
    assert told(MeterPlan("window", 0.1, "true rms", ripple_share=share), 0.9) == pytest.approx(3.0 * 1.1107, rel=1e-4)
