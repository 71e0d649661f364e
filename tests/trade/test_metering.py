"""What a meter makes of ripple: figures against closed forms, and sums over a sampled wave."""

from __future__ import annotations

import math

import pytest

from supervisor.trade.charge import NOTHING, Interval
from supervisor.trade.metering import FULL_WAVE_FORM, aliased, form_at_most, meter, ripple_left


def test_a_full_wave_rectified_sine_reads_eleven_per_cent_high() -> None:
    wave = [abs(math.sin(math.pi * (n + 0.5) / 10_000)) for n in range(10_000)]
    mean, rms = sum(wave) / len(wave), math.sqrt(sum(x * x for x in wave) / len(wave))
    assert pytest.approx(rms / mean, rel=1e-6) == FULL_WAVE_FORM == form_at_most(None)


@pytest.mark.parametrize("ripple", [0.01, 0.05, 0.1, 0.3])
def test_no_wave_that_strays_so_far_has_a_greater_form_factor(ripple: float) -> None:
    square = math.sqrt(((1 + ripple) ** 2 + (1 - ripple) ** 2) / 2)  # the worst of them all
    assert form_at_most(ripple) == pytest.approx(square)


@pytest.mark.parametrize(("over_s", "hz"), [(0.02, 100.0), (0.1, 100.0), (0.1, 120.0), (1 / 60, 120.0)])
def test_whole_mains_cycles_leave_what_the_mains_strays_by(over_s: float, hz: float) -> None:
    left = ripple_left("whole mains cycles", over_s, 0.05, hz)
    for strays in (0.996, 0.999, 1.0, 1.002, 1.004):
        assert left >= 0.05 * abs(math.sin(math.pi * hz * strays * over_s) / (math.pi * hz * strays * over_s)) - 1e-12
    assert left < 0.05 * 0.005


def test_a_window_that_is_no_whole_number_of_cycles_leaves_much_more() -> None:
    # 100 ms suits both mains; 1/60 s at 50 Hz is 1 2/3 ripples.
    assert ripple_left("whole mains cycles", 1 / 60, 0.05, 100.0) > 0.05 * 0.15


def test_a_filter_leaves_what_a_first_order_leaves_and_a_spot_reading_all() -> None:
    assert ripple_left("filter", 0.05, 0.05, 100.0) == pytest.approx(0.05 / math.hypot(1, 2 * math.pi * 99.6 * 0.05))
    assert ripple_left("spot", 0.0, 0.05, 100.0) == 0.05


def test_a_spot_reading_at_crest_or_trough_holds_the_mean() -> None:
    share = meter("spot", 0.0, 0.05, 100.0, "mean").share
    assert 1.05 * share.low == pytest.approx(1.0) == 0.95 * share.high
    assert share.best == 1.0


def test_an_unknown_ripple_counts_as_ten_per_cent_and_to_true_rms_as_unsmoothed() -> None:
    assert meter("spot", 0.0, None, 100.0, "mean") == meter("spot", 0.0, 0.1, 100.0, "mean")
    assert meter("whole mains cycles", 0.1, None, 100.0, "true rms").share.low < 1 / FULL_WAVE_FORM


def test_a_steady_current_is_shown_as_it_is_and_lags_by_the_averaging() -> None:
    assert meter("spot", 0.0, 0.0, 100.0, "mean").behind_s == NOTHING
    assert meter("whole mains cycles", 0.1, 0.0, 100.0, "mean").behind_s == Interval(0.0, 0.05, 0.1)
    assert meter("filter", 0.1, 0.0, 100.0, "mean").behind_s == Interval(0.1, 0.1, 0.1)


def test_a_ripple_of_the_whole_current_bounds_nothing_at_a_spot() -> None:
    with pytest.raises(ValueError, match="bounds no current"):
        meter("spot", 0.0, 1.0, 100.0, "mean")


@pytest.mark.parametrize(
    ("period_s", "hz", "told"),
    [(0.1, 100.0, True), (0.1, 120.0, True), (0.5, 120.0, True), (0.103, 100.0, False), (0.1042, 120.0, False)],
)
def test_ten_readings_a_second_fall_in_phase_with_both_ripples(period_s: float, hz: float, told: bool) -> None:
    assert aliased(period_s, hz) is told
