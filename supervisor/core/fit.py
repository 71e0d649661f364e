"""A linear law learned from readings as they come: a belief before, sums of what was seen, a belief after.

Source: Bayesian linear regression with a normal prior and known noise, as any textbook of statistics has it. What is
seen is kept as sums alone, so that a reading costs the same however many came before it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

Vector = tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Belief:
    """What is held of some factors: their means, and the rows of their covariance."""

    mean: Vector
    covariance: tuple[Vector, ...]

    def spread(self, along: Vector) -> float:
        """Standard deviation of a sum of the factors, each times its share."""
        return math.sqrt(max(0.0, _dot(along, _times(self.covariance, along))))

    def towards(self, along: Vector, deviations: float) -> Vector:
        """The likeliest factors of those that put a sum of them this many standard deviations off its mean."""
        spread = self.spread(along)
        if spread == 0:
            return self.mean
        moved = _times(self.covariance, along)
        return tuple(mean + deviations / spread * by for mean, by in zip(self.mean, moved, strict=True))

    def restarted(self, by: Vector) -> Belief:
        """The same for another run: each factor less sure by a standard deviation; of the last, a start, nothing."""
        last = len(by) - 1
        rows = (
            tuple((value if last not in {at, place} else 0.0) + (by[at] ** 2 if at == place else 0.0)
                  for place, value in enumerate(row))
            for at, row in enumerate(self.covariance)
        )  # fmt: skip
        return Belief((*self.mean[:last], 0.0), tuple(rows))


def independent(mean: Vector, spread: Vector) -> Belief:
    """Factors of which each is believed apart from the others; every spread above zero."""
    rows = (tuple(s**2 if at == place else 0.0 for place in range(len(spread))) for at, s in enumerate(spread))
    return Belief(mean, tuple(rows))


@dataclass(frozen=True, slots=True)
class Sums:
    """What was seen: shares times shares (its upper half, row by row), shares times outcome, and both's weight."""

    products: Vector
    outcomes: Vector
    weight: float = 0.0


def nothing(factors: int) -> Sums:
    """Nothing seen yet of a law of so many factors."""
    return Sums((0.0,) * (factors * (factors + 1) // 2), (0.0,) * factors)


def seen(sums: Sums, shares: Vector, outcome: float, weight: float, keeps: float = 1.0) -> Sums:
    """Take in one outcome of factors times shares; `keeps`: what is left of everything seen before, 0 to 1."""
    size = len(shares)
    weighted = [weight * share for share in shares]
    products = [one * shares[at] for row, one in enumerate(weighted) for at in range(row, size)]
    return Sums(
        tuple([keeps * old + new for old, new in zip(sums.products, products, strict=True)]),
        tuple([keeps * old + outcome * one for old, one in zip(sums.outcomes, weighted, strict=True)]),
        keeps * sums.weight + weight,
    )


def learned(before: Belief, sums: Sums, noise: float) -> Belief:
    """What is held of the factors after what was seen; `noise`: standard deviation of an outcome of weight one."""
    size = len(before.mean)
    precision = _inverse(before.covariance)
    known, outcomes = _times(precision, before.mean), sums.outcomes
    half = iter(sums.products)
    full = [list(row) for row in precision]
    for row in range(size):
        for column in range(row, size):
            more = next(half) / noise**2
            full[row][column] += more
            full[column][row] += more if row != column else 0.0
    covariance = _inverse(tuple(tuple(row) for row in full))
    pulled = tuple(old + new / noise**2 for old, new in zip(known, outcomes, strict=True))
    return Belief(_times(covariance, pulled), covariance)


def _dot(one: Vector, other: Vector) -> float:
    return sum(a * b for a, b in zip(one, other, strict=True))


def _times(rows: tuple[Vector, ...], by: Vector) -> Vector:
    return tuple(_dot(row, by) for row in rows)


def _inverse(rows: tuple[Vector, ...]) -> tuple[Vector, ...]:
    """Invert a symmetric matrix that is positive definite, which needs no search for pivots."""
    size = len(rows)
    left = [list(row) for row in rows]
    right = [[float(row == column) for column in range(size)] for row in range(size)]
    for at in range(size):
        for side in (right, left):
            side[at] = [value / left[at][at] for value in side[at]]
        for row in range(size):
            if row != at:
                share = left[row][at]
                for side in (left, right):
                    side[row] = [value - share * by for value, by in zip(side[row], side[at], strict=True)]
    return tuple(tuple(row) for row in right)
