"""R5 with meters as they are: ripple, lag, spot readings, true rms, samples whose moment is not quite known."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import accumulate

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from supervisor.core.dose import Dose, Metering, begin, read
from supervisor.core.setup import Accuracy
from supervisor.trade.charge import Interval
from supervisor.trade.metering import Averaging, Shows, meter

PERIOD_S, MOST_A, FINE_S = 0.02, 10.0, 1e-3
RIPPLE_HZ = 100.0
NOISE_C = 1e-4
"""What the fine steps and the last of a filter's memory at a turn may do, C."""


@dataclass(frozen=True)
class Kind:
    """A meter under test."""

    averaging: Averaging
    over_s: float
    shows: Shows


KINDS = (
    Kind("whole mains cycles", 0.02, "mean"),
    Kind("whole mains cycles", 0.1, "mean"),
    Kind("filter", 0.05, "mean"),
    Kind("spot", 0.0, "mean"),
    Kind("whole mains cycles", 0.1, "true rms"),
    Kind("filter", 0.05, "true rms"),
)


class Truth:
    """A current in fine steps, off at both ends, and what a meter makes of it; nothing here knows the bounds."""

    def __init__(self, levels_a: list[float], each_s: float, ramp_s: float, ripple: float, phase: float) -> None:
        """Go from level to level, each held for `each_s`, within `ramp_s`; the last one is off."""
        self.means_a, before_a = [], 0.0
        for level_a in (*levels_a, 0.0):
            steps = round(each_s / FINE_S)
            rising = max(1, round(ramp_s / FINE_S))
            self.means_a += [before_a + (level_a - before_a) * min(1.0, n / rising) for n in range(1, steps + 1)]
            before_a = level_a
        swing = [1 + ripple * math.sin(2 * math.pi * RIPPLE_HZ * n * FINE_S + phase) for n in range(len(self.means_a))]
        self.flows_a = [mean * share for mean, share in zip(self.means_a, swing, strict=True)]
        self.charges_c = [0.0, *accumulate(flow * FINE_S for flow in self.flows_a)]

    def until_c(self, at_s: float) -> float:
        """Charge up to a moment."""
        return self.charges_c[min(len(self.flows_a), round(at_s / FINE_S))]

    def meter(self, kind: Kind) -> Callable[[float], float]:
        """What a meter without any error of its own shows at a moment."""
        power = 2 if kind.shows == "true rms" else 1
        flows = [flow**power for flow in self.flows_a]
        if kind.averaging == "spot":
            shown = flows
        elif kind.averaging == "filter":
            keep = math.exp(-FINE_S / kind.over_s)
            shown = list(accumulate(flows, lambda z, flow: keep * z + (1 - keep) * flow, initial=0.0))[1:]
        else:
            width, sums = round(kind.over_s / FINE_S), [0.0, *accumulate(flows)]
            shown = [(sums[n] - sums[max(0, n - width)]) / width for n in range(1, len(sums))]
        return lambda at_s: shown[max(0, min(len(shown), round(at_s / FINE_S)) - 1)] ** (1 / power)


def metered(
    truth: Truth, kind: Kind, ripple: float | None, moments: list[tuple[float, float]], error: float
) -> tuple[Dose, Metering]:
    """Read at moments that are said to be (first) and are (second), with an error that is this share of the limit."""
    accuracy = Accuracy(0.002, 0.001)
    of = meter(kind.averaging, kind.over_s, ripple, RIPPLE_HZ, kind.shows)
    metering = Metering(accuracy, PERIOD_S, MOST_A, meter=of)
    shows, dose = truth.meter(kind), begin(Dose(), 0.0)
    for said_s, real_s in moments:
        shown_a = shows(real_s)
        shown_a += error * (shown_a * accuracy.of_reading + accuracy.absolute) / (1 + accuracy.of_reading)
        dose = read(dose, shown_a, said_s, replace(metering, doubt_s=abs(said_s - real_s)))
    return dose, metering


def every_period(truth: Truth, until_s: float = 1e9, period_s: float = PERIOD_S) -> list[tuple[float, float]]:
    """The moments of readings that all come, exactly when they are said to."""
    ends_s = min(until_s, len(truth.flows_a) * FINE_S)
    return [(n * period_s, n * period_s) for n in range(1, round(ends_s / period_s) + 1)]


def holds(charge: Interval, true_c: float) -> bool:
    return charge.low - NOISE_C <= true_c <= charge.high + NOISE_C


@settings(max_examples=60, derandomize=True, deadline=None)
@given(
    kind=st.sampled_from(KINDS),
    levels_a=st.lists(st.floats(0.5, 5.0), min_size=1, max_size=3),
    ramp_s=st.sampled_from([FINE_S, 0.3]),
    ripple=st.sampled_from([0.0, 0.05, 0.3]),
    phase=st.sampled_from([0.0, 1.5, 4.7]),
    error=st.sampled_from([-1.0, 0.0, 1.0]),
    known=st.booleans(),
    shifts=st.sampled_from([(0.0,), (-0.005,), (0.005,), (0.0, 0.005, -0.005), (0.003, -0.002)]),
    lost=st.sets(st.integers(1, 40).map(lambda n: 2 * n), max_size=6),
)
def test_the_interval_holds_what_a_real_meter_metered(
    kind: Kind, levels_a: list[float], ramp_s: float, ripple: float, phase: float, error: float, known: bool,
    shifts: tuple[float, ...], lost: set[int],
) -> None:  # fmt: skip
    truth = Truth(levels_a, 1.0, ramp_s, ripple, phase)
    moments = [
        (said_s, said_s + shifts[n % len(shifts)]) for n, (said_s, _) in enumerate(every_period(truth)) if n not in lost
    ]
    dose, _ = metered(truth, kind, ripple if known or ripple > 0.1 else None, moments, error)
    assert holds(dose.charge, truth.until_c(1e9))
    assert dose.charge.low <= dose.charge.best <= dose.charge.high


@pytest.mark.parametrize(
    "kind", [*KINDS[:3], *KINDS[4:]], ids=lambda kind: f"{kind.shows}, {kind.averaging} {kind.over_s:g} s"
)
def test_while_current_flows_the_interval_holds_what_the_reading_does_not_show_yet(kind: Kind) -> None:
    truth = Truth([4.0], 1.0, FINE_S, 0.0, 0.0)
    for error, until_s in ((-1.0, 0.04), (-1.0, 0.9), (1.0, 0.04), (1.0, 0.9)):
        dose, _ = metered(truth, kind, 0.0, every_period(truth, until_s), error)
        assert holds(dose.charge, truth.until_c(until_s))


def test_an_averaging_meter_costs_its_own_accuracy_and_next_to_nothing_else() -> None:
    # 0.2 % in total, 10 readings a second, 5 % ripple: the width is 0.4 % and must stay below 0.5 %.
    truth, period_s = Truth([2.0], 20.0, 0.5, 0.05, 1.0), 0.1
    accuracy, kind = Accuracy(0.002, 0.0), KINDS[1]
    of = meter(kind.averaging, kind.over_s, 0.05, RIPPLE_HZ, kind.shows)
    shows, dose = truth.meter(kind), begin(Dose(), 0.0)
    for said_s, real_s in every_period(truth, period_s=period_s):
        dose = read(dose, shows(real_s), said_s, Metering(accuracy, period_s, MOST_A, meter=of))
    true_c, started_c = truth.until_c(1e9), 2 * 2.0 * period_s  # a start and an end weigh more in this short run
    assert dose.charge.high - dose.charge.low <= 0.005 * true_c + started_c
    assert dose.charge.best == pytest.approx(true_c, rel=2e-3)


def test_spot_readings_in_phase_with_the_ripple_are_wrong_together_and_the_interval_knows() -> None:
    truth = Truth([2.0], 5.0, FINE_S, 0.05, 1.5)
    dose, _ = metered(truth, KINDS[3], 0.05, every_period(truth), 0.0)
    true_c = truth.until_c(1e9)
    assert abs(dose.charge.best / true_c - 1) > 0.03
    assert holds(dose.charge, true_c)


def test_true_rms_of_a_current_nobody_smooths_reads_eleven_per_cent_high() -> None:
    kind, ripple = Kind("whole mains cycles", 0.1, "true rms"), math.sqrt(2 * (math.pi**2 / 8 - 1))
    truth = Truth([2.0], 5.0, FINE_S, ripple, 0.0)
    shown_a = truth.meter(kind)(4.0)
    assert shown_a / 2.0 == pytest.approx(1.1107, abs=1e-3)
    dose, _ = metered(truth, kind, None, every_period(truth), 0.0)
    true_c = truth.until_c(1e9)
    assert dose.charge.high > 1.1 * true_c
    assert holds(dose.charge, true_c)


@pytest.mark.parametrize("kind", KINDS[4:], ids=lambda kind: f"{kind.averaging} {kind.over_s:g} s")
def test_a_meter_of_true_rms_shows_too_much_of_every_turn(kind: Kind) -> None:
    # Read so often that the steps between readings hide nothing.
    truth = Truth([4.0, 0.5, 4.0, 0.5], 1.0, FINE_S, 0.0, 0.0)
    dose, _ = metered(truth, kind, 0.0, every_period(truth, period_s=0.002), 1.0)
    assert holds(dose.charge, truth.until_c(1e9))


def test_a_known_step_is_counted_where_the_meter_shows_it() -> None:
    # The charge is not counted twice: once by the step's own time and once by what the meter is behind.
    for kind in KINDS[:3]:
        truth = Truth([4.0], 1.0, FINE_S, 0.0, 0.0)
        of = meter(kind.averaging, kind.over_s, 0.0, RIPPLE_HZ, kind.shows)
        dose, shows = replace(begin(Dose(), 0.0), steps_s=(0.0,)), truth.meter(kind)
        for said_s, real_s in every_period(truth, 0.9):
            dose = read(dose, shows(real_s), said_s, Metering(Accuracy(0.0, 0.0), PERIOD_S, MOST_A, meter=of))
        assert dose.charge.best == pytest.approx(4.0 * 0.9, abs=0.08), kind


def test_a_reading_taken_at_an_unknown_moment_of_its_transaction_may_shift_a_step() -> None:
    sharp, blurred = (
        read(read(begin(Dose(), 0.0), 0.0, 1.0, metering(doubt_s)), 4.0, 1.2, metering(doubt_s))
        for doubt_s in (0.0, 0.05)
    )
    assert blurred.charge.high == pytest.approx(sharp.charge.high + 0.05 * 4.0)
    later = [read(dose, 4.0, 1.4, metering(0.0)) for dose in (sharp, blurred)]
    assert later[1].charge.low == pytest.approx(later[0].charge.low - 0.05 * 4.0)


def metering(doubt_s: float) -> Metering:
    return Metering(Accuracy(0.0, 0.0), 0.4, MOST_A, doubt_s=doubt_s)


def test_the_fine_truth_is_what_it_says() -> None:
    # Its own check: 2 A for 5 s, and a ripple that is nothing over whole periods.
    truth = Truth([2.0], 5.0, FINE_S, 0.2, 0.0)
    assert truth.until_c(1e9) == pytest.approx(10.0, rel=1e-3)
