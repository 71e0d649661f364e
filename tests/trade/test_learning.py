"""The learned growth factor against scipy, and how often its bands hold the truth."""

from __future__ import annotations

import math
import random
from statistics import median

import numpy as np
import pytest
from scipy import integrate, optimize, stats

from supervisor.trade import learning
from supervisor.trade.band import mean_band
from supervisor.trade.charge import Interval
from supervisor.trade.coating import RULE_720_UM_M2_PER_C
from supervisor.trade.learning import Errors, FactorBelief, Seen, belief, seen
from tests.harness import gauged

USUAL = Interval(0.30 / 6000, 0.315 / 6000, 0.33 / 6000)
"""Published factors of 1xxx, 5xxx and 6xxx alloys, um per A*min/dm2 (rule of thumb in Europe; 720 rule, rounded up)."""

CASTING = Interval(0.18 / 6000, 0.23 / 6000, 0.28 / 6000)
FIVE = tuple(Seen(share * RULE_720_UM_M2_PER_C, sd) for share, sd in
             ((0.97, 0.02), (0.93, 0.03), (0.98, 0.03), (0.95, 0.02), (0.96, 0.025)))  # fmt: skip
ROOT_3 = math.sqrt(3.0)


def by_scipy(published: Interval, loads: tuple[Seen, ...], errors: Errors) -> tuple[float, float]:
    """Mean of ln factor, and the share of single loads that `belief` puts below its upper bound.

    The density is written from the model's sentences, with scipy's distributions and integrals.
    """
    upper = math.log(belief(published, loads, errors).of_load.high)
    begin, end = math.log(published.low), math.log(published.high)
    theta = np.linspace(begin - 0.36, end + 0.36, 1001)
    middle = np.linspace(begin, end, 1001)
    drawn = stats.uniform(begin, end - begin).pdf(middle) * stats.norm.pdf(
        theta[:, None], middle, stats.uniform(0, 2 * errors.area_limit).std()
    )
    prior = 0.99 * integrate.simpson(drawn, x=middle, axis=1) + 0.01 * stats.uniform(
        theta[0], theta[-1] - theta[0]
    ).pdf(theta)
    whole = first = below = 0.0
    for scale, weight in zip(learning.SCALES, learning.SCALE_WEIGHTS, strict=True):
        load_sd = scale * math.hypot(errors.load_sd, stats.uniform(0, 2 * errors.area_by_load_limit).std())
        density = prior * weight
        for one in loads:
            off, sd = math.log(one.factor) - theta, math.hypot(one.sd, load_sd)
            density = density * (0.95 * stats.norm.pdf(off, 0, sd) + 0.05 * stats.norm.pdf(off, 0, 5 * sd))
        whole += float(integrate.simpson(density, x=theta))
        first += float(integrate.simpson(density * theta, x=theta))
        below += float(integrate.simpson(density * stats.norm.cdf(upper, theta, load_sd), x=theta))
    return first / whole, below / whole


@pytest.mark.parametrize("published", [USUAL, CASTING])
@pytest.mark.parametrize("loads", [FIVE[:1], FIVE])
def test_the_posterior_is_that_of_scipy(published: Interval, loads: tuple[Seen, ...]) -> None:
    mine = belief(published, loads, Errors())
    mean, below = by_scipy(published, loads, Errors())
    assert math.log(mine.factor.best) == pytest.approx(mean, abs=1e-3)
    assert below == pytest.approx(0.95, abs=0.01)


def test_with_bounds_far_apart_the_best_value_is_that_of_least_squares(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(learning, "SCALES", (1.0,))
    monkeypatch.setattr(learning, "SCALE_WEIGHTS", (1.0,))
    monkeypatch.setattr(learning, "OUTLIER_SHARE", 1e-9)
    errors = Errors()
    mine = belief(Interval(0.1 / 6000, 0.2 / 6000, 0.8 / 6000), FIVE, errors)
    sd = [math.hypot(one.sd, errors.by_load_sd) for one in FIVE]
    logs = [math.log(one.factor) for one in FIVE]
    (mean,), ((variance,),) = optimize.curve_fit(lambda _, k: [k] * 5, range(5), logs, (-9.0,), sd, absolute_sigma=True)
    assert math.log(mine.factor.best) == pytest.approx(mean, abs=1e-5)
    half = float(stats.norm.ppf(0.95)) * math.sqrt(variance)
    assert math.log(mine.factor.high / mine.factor.best) == pytest.approx(half, rel=0.03)
    assert math.log(mine.factor.best / mine.factor.low) == pytest.approx(half, rel=0.03)


def test_before_any_load_the_published_factor_is_the_best_one_and_its_bounds_are_wider_than_published() -> None:
    before = belief(USUAL, (), Errors())
    assert before.factor.best == before.of_load.best == USUAL.best
    assert before.of_load.low < before.factor.low
    assert before.factor.high < before.of_load.high
    assert before.factor.low < USUAL.low
    assert before.factor.high > USUAL.high


def test_a_set_of_readings_is_no_better_than_its_gauge() -> None:
    one, many = (seen((20.0,) * count, Interval(1e4, 1e4, 1e4), 0.03) for count in (1, 100))
    assert one.factor == many.factor == pytest.approx(20.0 * 0.03 / 1e4)
    assert many.sd == pytest.approx(0.05 / ROOT_3, rel=0.01)  # 1 um of 20 um, a limit of error
    assert one.sd > 1.5 * many.sd  # one place says little of a rack
    thick = seen((50.0,) * 100, Interval(1e4, 1e4, 1e4), 0.03)
    assert thick.sd == pytest.approx(0.03 / ROOT_3, rel=0.02)


def test_a_set_of_readings_is_no_better_than_the_charge() -> None:
    sure, unsure = (seen((20.0,) * 5, Interval(low, 1e4, high), 0.03) for low, high in ((1e4, 1e4), (8e3, 1.2e4)))
    assert unsure.sd == pytest.approx(math.hypot(sure.sd, 0.2 / ROOT_3))


def test_scattered_readings_say_less_than_ones_that_agree() -> None:
    agreeing, scattered = (seen(readings, Interval(1e4, 1e4, 1e4), 0.03) for readings in (
        (20.0, 20.2, 19.8, 20.1, 19.9), (24.0, 16.0, 20.0, 25.0, 15.0)))  # fmt: skip
    assert scattered.sd > 1.8 * agreeing.sd


def test_one_load_out_of_line_moves_nothing_and_is_told() -> None:
    without = belief(USUAL, FIVE, Errors())
    slip = Seen(1.6 * RULE_720_UM_M2_PER_C, 0.02)
    found = belief(USUAL, (*FIVE, slip), Errors())
    assert found.factor.best == pytest.approx(without.factor.best, rel=0.005)
    assert found.fits[-1] < 0.01
    assert min(found.fits[:-1]) > 0.9


def test_loads_that_agree_far_from_what_is_published_are_believed() -> None:
    copper = tuple(Seen(0.75 * one.factor, one.sd) for one in FIVE)
    found = belief(USUAL, copper, Errors())
    assert found.factor.best == pytest.approx(0.75 * belief(USUAL, FIVE, Errors()).factor.best, rel=0.03)


def test_a_factor_beyond_all_sense_leaves_a_finite_belief() -> None:
    for wild in (1e-12, 1.0):
        found = belief(USUAL, (Seen(wild, 0.02),), Errors())
        assert USUAL.low * 0.6 < found.of_load.low < found.of_load.best < found.of_load.high < USUAL.high * 1.6


def test_loads_that_differ_more_than_assumed_widen_the_band() -> None:
    wide = tuple(Seen(one.factor * (1 + 0.12 * (-1) ** at), 0.02) for at, one in enumerate(FIVE))
    assert width(belief(USUAL, wide, Errors())) > 1.5 * width(belief(USUAL, FIVE, Errors()))


def width(found: FactorBelief) -> float:
    return (found.of_load.high - found.of_load.low) / 2 / found.of_load.best


def test_bounds_that_are_one_value_can_be_learned_from_too() -> None:
    one = Interval(USUAL.best, USUAL.best, USUAL.best)
    found = belief(one, FIVE, Errors(area_limit=0.0))
    assert one.best * 0.9 < found.factor.best < one.best * 1.1


CHARGES_C = (0.20e6, 0.30e6, 0.40e6, 0.47e6)
"""On 1 m2: 10 to 25 um, what is usual for protective and dyed work."""


def test_the_band_holds_the_truth_in_nine_of_ten_loads_before_and_after_learning() -> None:
    held, widths, wrong = {0: 0, 5: 0}, {0: [], 5: []}, []  # type: ignore[var-annotated]
    worlds, before = 400, belief(USUAL, (), Errors())
    for seed in range(worlds):
        chance = random.Random(seed)
        parts = gauged.parts(chance, USUAL)
        loads = [gauged.load(chance, parts, chance.choice(CHARGES_C)) for _ in range(6)]
        for learned in (0, 5):
            known = tuple(seen(load.readings_um, load.charge_c, 1.0) for load in loads[:learned])
            found = belief(USUAL, known, Errors()) if learned else before
            band = mean_band(loads[5].charge_c, 1.0, found.of_load)
            held[learned] += band.low <= loads[5].thickness_um <= band.high
            widths[learned].append((band.high - band.low) / 2 / band.best)
        wrong.append(abs(found.factor.best / parts.factor - 1))
    assert 0.87 <= held[0] / worlds <= 0.93
    assert 0.87 <= held[5] / worlds <= 0.93
    assert median(widths[0]) <= 0.12
    assert median(widths[5]) <= 0.05
    assert median(wrong) <= 0.02


def test_the_band_of_a_load_joins_that_of_factor_and_charge_each_side_for_itself() -> None:
    factor = Interval(0.9, 1.0, 1.2)
    exact = mean_band(Interval(10.0, 10.0, 10.0), 0.5, factor)
    assert (exact.low, exact.best, exact.high) == pytest.approx((18.0, 20.0, 24.0))
    gap = mean_band(Interval(10.0, 10.0, 15.0), 0.5, factor)
    assert gap.low == exact.low
    limit_um = 10.0 * float(stats.norm.ppf(0.95)) * stats.uniform(-1, 2).std()
    assert gap.high == pytest.approx(20.0 + math.hypot(4.0, limit_um))


def test_a_band_never_goes_below_nothing() -> None:
    band = mean_band(Interval(0.0, 1.0, 10.0), 1.0, Interval(0.1, 1.0, 1.2))
    assert band.low == pytest.approx(0.0, abs=0.1)
    assert mean_band(Interval(0.0, 0.0, 0.0), 1.0, Interval(0.9, 1.0, 1.1)) == Interval(0.0, 0.0, 0.0)
