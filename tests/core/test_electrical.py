"""The electrical watch alone, on readings made up for one rule each; the physics is the campaign's business.

A load of 1.3 dm2 at 1.5 A/dm2 in 20 degC, read once a second with meters that err by 1 %.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import pytest

from supervisor.core import electrical
from supervisor.core.electrical import BARE, BURNING, CREEPING, HOT, LOST, TOUCHED, WRONG, Sample, Sight, Watch
from supervisor.trade.apparent_area import reading_doubt
from supervisor.trade.cell import surface_c, voltage_v
from supervisor.trade.coating import RULE_720_UM_M2_PER_C

AREA_M2 = 0.013
CURRENT_A = 1.95
BATH_C = 20.0
SIGHT = Sight(AREA_M2, 15.0, 15.0, RULE_720_UM_M2_PER_C, reading_doubt(0.01, 0.01))
WATCHED_S = electrical.SETTLING_S + electrical.LEARNING_S

Shape = Callable[[float], float]
"""Something over process time, s."""


def volts(share: float, current_a: float = CURRENT_A, bath_c: float = BATH_C) -> float:
    """What a load needs while this share of its area carries the current."""
    return voltage_v(current_a / (AREA_M2 * share), surface_c(bath_c), 15.0)


def played(
    share: Shape = lambda _: 1.0,
    until_s: float = 300.0,
    *,
    sight: Sight = SIGHT,
    period_s: float = 1.0,
    current_a: Shape = lambda _: CURRENT_A,
    bath_c: Shape = lambda _: BATH_C,
    shown_c: Shape | None = None,
    voltage_v: Shape | None = None,
    watch: Watch | None = None,
) -> Watch:
    """Let the watch see a load until it finds something."""
    watch = watch or electrical.begin(0.0, bath_c(0.0))
    at_s, charge = watch.at_s, CURRENT_A * watch.at_s / AREA_M2
    while at_s < until_s and not watch.found:
        at_s += period_s
        charge += current_a(at_s) * period_s / AREA_M2
        shown_v = voltage_v(at_s) if voltage_v else volts(share(at_s), current_a(at_s), bath_c(at_s))
        sample = Sample(at_s, current_a(at_s), shown_v, (shown_c or bath_c)(at_s), charge)
        watch = electrical.step(watch, sample, sight)
    return watch


def after(at_s: float, value: float, before: float = 1.0) -> Shape:
    return lambda now_s: value if now_s > at_s else before


def test_a_sound_load_is_called_nothing() -> None:
    assert played(until_s=2400.0, period_s=4.0).found == ()


@pytest.mark.parametrize("at_s", [WATCHED_S + 1.0, 150.0])
@pytest.mark.parametrize("period_s", [0.1, 1.0, 2.0])
@pytest.mark.parametrize("left", [0.5, 0.2])
def test_half_the_area_lost_at_held_current_is_told_within_10_s(at_s: float, period_s: float, left: float) -> None:
    watch = played(after(at_s, left), at_s + 60.0, period_s=period_s)
    assert watch.found == (LOST,)
    assert watch.at_s - at_s <= 10.0


def test_half_the_area_lost_at_held_volts_is_told_within_10_s() -> None:
    watch = played(current_a=after(200.0, CURRENT_A / 2, CURRENT_A), voltage_v=lambda _: volts(1.0))
    assert watch.found == (LOST,)
    assert watch.at_s <= 210.0


def test_the_start_transient_is_not_judged() -> None:
    assert played(after(electrical.SETTLING_S - 1.0, 0.75, 1.0), until_s=600.0).found == ()


def test_a_coat_that_takes_its_current_late_is_learned_once_it_has() -> None:
    # From memory: after a restart next to nothing flows for up to 120 s.
    def late(at_s: float) -> float:
        return 0.0 if at_s < 110.0 else min(1.0, 0.1 + (at_s - 110.0) / 30.0)

    watch = played(until_s=600.0, current_a=lambda at_s: CURRENT_A * late(at_s), voltage_v=lambda _: volts(1.0))
    assert watch.found == ()
    assert watch.settled is not None
    assert watch.settled.current_a == CURRENT_A


def test_the_least_detectable_loss_is_told_in_time_and_half_of_it_is_not() -> None:
    least = electrical.least_loss(SIGHT)
    watch = played(after(200.0, 1.0 - least))
    assert watch.found == (LOST,)
    assert watch.at_s <= 200.0 + electrical.WITHIN_S
    assert played(after(200.0, 1.0 - least / 2), until_s=240.0).found == ()


def test_worse_meters_see_less() -> None:
    worse = replace(SIGHT, doubt=reading_doubt(0.05, 0.02))
    assert electrical.least_loss(worse) > electrical.least_loss(SIGHT) > 0.0


def test_one_wrong_reading_decides_nothing() -> None:
    watch = played(until_s=200.0)
    for wrong_v in (200.0, 4.5):
        once = electrical.step(watch, Sample(201.0, CURRENT_A, wrong_v, BATH_C, 4e4), SIGHT)
        assert once.found == ()
        assert played(until_s=400.0, watch=once).found == ()


def test_a_bath_that_warms_is_no_gain_and_one_that_cools_no_loss() -> None:
    assert played(until_s=2400.0, period_s=4.0, bath_c=lambda at_s: BATH_C + at_s / 600.0).found == ()
    assert played(until_s=2400.0, period_s=4.0, bath_c=lambda at_s: BATH_C - at_s / 600.0).found == ()


def test_a_thermometer_that_jumps_is_no_contact_lost() -> None:
    assert played(until_s=2400.0, period_s=4.0, shown_c=after(300.0, BATH_C + 8.0, BATH_C)).found == ()


def test_2_v_of_drift_over_25_um_are_a_sound_coat() -> None:
    per_s = 2.0 / 25 * RULE_720_UM_M2_PER_C * CURRENT_A / AREA_M2
    assert played(until_s=2400.0, period_s=4.0, voltage_v=lambda at_s: volts(1.0) + per_s * at_s).found == ()


def test_a_contact_that_creeps_is_told_before_half_its_area_is_gone() -> None:
    watch = played(lambda at_s: 1.0 - max(0.0, at_s - 200.0) / 600.0, until_s=900.0)
    assert watch.found == (CREEPING,)
    assert watch.at_s <= 500.0


def test_a_slow_loss_that_would_heat_one_contact_by_15_w_is_a_hot_contact() -> None:
    large = replace(SIGHT, area_m2=100 * AREA_M2)
    shown = Sample(0.0, 100 * CURRENT_A, 0.0, BATH_C, 0.0)
    watch = electrical.begin(0.0, BATH_C)
    while not watch.found and watch.at_s < 900.0:
        at_s = watch.at_s + 1.0
        voltage = volts(1.0) + 0.01 * max(0.0, at_s - 200.0)
        watch = electrical.step(
            watch, shown._replace(at_s=at_s, voltage_v=voltage, charge_c_per_m2=150.0 * at_s), large
        )
    assert watch.found == (HOT,)


def test_volts_that_fall_at_held_current_are_burning() -> None:
    watch = played(lambda at_s: 1.0 + max(0.0, at_s - 200.0) / 300.0, until_s=600.0)
    assert watch.found == (BURNING,)


@pytest.mark.parametrize(("shown_v", "cause"), [(0.5, TOUCHED), (3.9, TOUCHED), (6.0, BARE)])
def test_full_current_without_the_volts_of_a_coat(shown_v: float, cause: str) -> None:
    watch = played(voltage_v=lambda _: shown_v)
    assert watch.found == (cause,)


def test_a_rack_that_touches_later_is_told_within_seconds_and_not_called_burning() -> None:
    watch = played(voltage_v=after(300.0, 1.0, volts(1.0)), until_s=400.0)
    assert watch.found == (TOUCHED,)
    assert watch.at_s <= 304.0


def test_a_barrier_that_is_still_forming_is_no_short() -> None:
    # 1.95 A on 1.3 dm2 pass 1000 C/m2 in 6.7 s.
    assert played(voltage_v=lambda at_s: min(2.5 * at_s, volts(1.0)), until_s=120.0).found == ()


@pytest.mark.parametrize(("share", "found"), [(0.5, (WRONG,)), (0.8, ()), (1.2, ()), (1.8, (WRONG,))])
def test_an_area_more_than_30_percent_off_is_told(share: float, found: tuple[str, ...]) -> None:
    assert played(lambda _: share).found == found


def test_where_no_alloy_is_named_any_of_them_may_explain_the_volts() -> None:
    unnamed = replace(SIGHT, low_v=14.5, high_v=26.0)
    assert played(lambda _: 0.5, sight=unnamed).found == ()
    assert played(lambda _: 0.15, sight=unnamed).found == (WRONG,)


def test_a_step_of_the_set_point_that_is_told_is_no_loss_and_half_the_area_is_seen_all_the_same() -> None:
    watch = electrical.disturbed(played(until_s=300.0), 300.0)
    dip = lambda at_s: 1.0 - 0.35 * math.exp(-(at_s - 300.0) / 3.0)  # noqa: E731
    lower = lambda _: 0.7 * CURRENT_A  # noqa: E731
    assert played(dip, until_s=900.0, current_a=lower, watch=watch).found == ()
    lost = played(after(310.0, 0.5), until_s=330.0, current_a=lower, watch=watch)
    assert lost.found == (LOST,)
    assert lost.at_s <= 320.0


def test_knobs_turned_down_by_30_percent_are_no_loss() -> None:
    by_hand = replace(SIGHT, by_hand=True)
    dip = lambda at_s: 1.0 - 0.35 * math.exp(-(at_s - 300.0) / 6.0) * (at_s > 300.0)  # noqa: E731
    assert played(dip, until_s=900.0, sight=by_hand, current_a=after(300.0, 0.7 * CURRENT_A, CURRENT_A)).found == ()


def test_what_is_older_or_without_current_or_volts_changes_nothing() -> None:
    watch = played(until_s=200.0)
    sample = Sample(201.0, CURRENT_A, volts(1.0), BATH_C, 4e4)
    for told in (sample._replace(at_s=200.0), sample._replace(current_a=0.0), sample._replace(voltage_v=0.0)):
        assert electrical.step(watch, told, SIGHT) is watch


def test_a_cause_is_found_once() -> None:
    watch = played(after(200.0, 0.5))
    more = electrical.step(watch, Sample(watch.at_s + 1.0, CURRENT_A, volts(0.5), BATH_C, 4e4), SIGHT)
    assert more.found == (LOST,)
