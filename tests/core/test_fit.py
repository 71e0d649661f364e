"""What is learned from sums is what a solver finds that sees every reading at once."""

from __future__ import annotations

import math
import random

import numpy as np
import pytest

from supervisor.core import fit

BEFORE = fit.independent((1.0, 0.5, 0.0), (0.3, 0.2, 2.0))
NOISE = 0.1


def drawn(count: int) -> list[tuple[fit.Vector, float, float]]:
    """Shares, outcomes and weights of a law whose factors are 1.2, 0.4 and 0.7."""
    chance = random.Random(3)
    made: list[tuple[fit.Vector, float, float]] = []
    for _ in range(count):
        shares = (chance.uniform(0, 5), chance.uniform(-2, 2), 1.0)
        outcome = 1.2 * shares[0] + 0.4 * shares[1] + 0.7 + chance.gauss(0.0, NOISE)
        made.append((shares, outcome, chance.uniform(0.1, 1.0)))
    return made


def summed(outcomes: list[tuple[fit.Vector, float, float]]) -> fit.Sums:
    sums = fit.nothing(3)
    for shares, outcome, weight in outcomes:
        sums = fit.seen(sums, shares, outcome, weight)
    return sums


@pytest.mark.parametrize("count", [1, 3, 40])
def test_a_belief_is_what_a_least_squares_solver_finds(count: int) -> None:
    outcomes = drawn(count)
    # The belief before is three more outcomes: each factor seen by itself, as sure as it is believed.
    rows = [np.array(shares) * weight**0.5 / NOISE for shares, _, weight in outcomes]
    right = [outcome * weight**0.5 / NOISE for _, outcome, weight in outcomes]
    spread = np.sqrt(np.diag(np.array(BEFORE.covariance)))
    rows += list(np.diag(1 / spread))
    right += list(np.array(BEFORE.mean) / spread)
    solved, *_ = np.linalg.lstsq(np.array(rows), np.array(right), rcond=None)
    held = fit.learned(BEFORE, summed(outcomes), NOISE)
    assert held.mean == pytest.approx(tuple(solved), rel=1e-9)
    covariance = np.linalg.inv(np.array(rows).T @ np.array(rows))
    assert np.array(held.covariance) == pytest.approx(covariance, rel=1e-7)


def test_nothing_seen_leaves_the_belief() -> None:
    held = fit.learned(BEFORE, fit.nothing(3), NOISE)
    assert held.mean == pytest.approx(BEFORE.mean)
    assert held.spread((0.0, 1.0, 0.0)) == pytest.approx(0.2)


def test_what_is_forgotten_weighs_less() -> None:
    sums = fit.seen(fit.nothing(1), (1.0,), 5.0, 1.0)
    sums = fit.seen(sums, (1.0,), 2.0, 1.0, keeps=0.5)
    assert sums == fit.Sums((1.5,), (4.5,), 1.5)


def test_the_likeliest_factors_off_the_mean_are_that_far_off_along_what_is_asked() -> None:
    held, along = fit.learned(BEFORE, summed(drawn(4)), NOISE), (1.0, -2.0, 0.5)
    moved = held.towards(along, 1.6)
    off = sum(share * (a - b) for share, a, b in zip(along, moved, held.mean, strict=True))
    assert off == pytest.approx(1.6 * held.spread(along))


def test_of_a_sum_that_hangs_on_nothing_the_mean_is_left() -> None:
    assert BEFORE.towards((0.0, 0.0, 0.0), 1.6) == BEFORE.mean


def test_for_another_run_a_belief_is_less_sure_and_knows_no_start() -> None:
    held = fit.learned(BEFORE, summed(drawn(40)), NOISE)
    again = held.restarted((0.4, 0.0, 2.0))
    assert again.mean == (*held.mean[:2], 0.0)
    assert again.spread((1.0, 0.0, 0.0)) == pytest.approx(math.hypot(held.spread((1.0, 0.0, 0.0)), 0.4))
    assert again.spread((0.0, 1.0, 0.0)) == held.spread((0.0, 1.0, 0.0))
    assert again.spread((0.0, 0.0, 1.0)) == 2.0
    assert again.covariance[0][2] == again.covariance[2][1] == 0.0
