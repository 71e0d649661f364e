"""A current meter and what it makes of a rippling current: a spot reading, a mean over a window, or a filter's.

The current is I(t) (1 + ripple sin wt), with I(t) piecewise straight; what a meter of true rms squares is that, term by
term. Nothing here is taken from the supervisor's own bounds.
"""

from __future__ import annotations

import cmath
import math
from collections import deque
from dataclasses import dataclass

AVERAGINGS = ("spot", "window", "filter")
SHOWS = ("mean", "true rms")
# A filter takes a current that changes in steps of this share of its time constant.
_PIECE = 0.1


@dataclass(frozen=True, slots=True)
class MeterPlan:
    """How a meter reads.

    Attributes:
        averaging: `spot`, `window` (the mean of the last `over_s`), or `filter` (first order, time constant `over_s`).
        over_s: s. shows: `mean` or `true rms`. zero_a: what is added to every reading, A.
        ripple_share: amplitude over mean. ripple_hz: its frequency.
    """

    averaging: str = "spot"
    over_s: float = 0.0
    shows: str = "mean"
    zero_a: float = 0.0
    ripple_share: float = 0.0
    ripple_hz: float = 100.0


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Current going straight from one value to another, A, between two moments, s."""

    began_s: float
    ended_s: float
    from_a: float
    to_a: float

    def after(self, moment_s: float) -> _Stretch:
        """The part after a moment."""
        if moment_s <= self.began_s:
            return self
        return self.part((moment_s - self.began_s) / (self.ended_s - self.began_s), 1.0)

    def part(self, from_share: float, to_share: float) -> _Stretch:
        """The part between two shares of its length."""
        long_s, rise_a = self.ended_s - self.began_s, self.to_a - self.from_a
        return _Stretch(
            self.began_s + from_share * long_s,
            self.began_s + to_share * long_s,
            self.from_a + from_share * rise_a,
            self.from_a + to_share * rise_a,
        )


class Meter:
    """One meter, told of every stretch of true current."""

    def __init__(self, plan: MeterPlan) -> None:
        self._plan = plan
        share = plan.ripple_share
        squares = plan.shows == "true rms"
        self._power = 2 if squares else 1
        # i or i squared over I or I squared: a steady part, one at the ripple's frequency, one at twice that.
        self._parts = (1.0 + share**2 / 2, 2 * share, -(share**2) / 2) if squares else (1.0, share, 0.0)
        self._omega = 2.0 * math.pi * plan.ripple_hz
        self._stretches: deque[_Stretch] = deque()
        self._filtered = [0j, 0j, 0j]

    def pass_current(self, began_s: float, step_s: float, from_a: float, to_a: float) -> None:
        """Let a stretch of current pass, from and to A, within step_s, s."""
        if self._plan.averaging == "spot" or step_s <= 0.0:
            return
        stretch = _Stretch(began_s, began_s + step_s, from_a, to_a)
        if self._plan.averaging == "filter":
            pieces = 1 if from_a == to_a else math.ceil(step_s / (_PIECE * self._plan.over_s))
            for n in range(pieces):
                self._filter(stretch.part(n / pieces, (n + 1) / pieces))
            return
        self._stretches.append(stretch)
        while self._stretches[0].ended_s <= stretch.ended_s - self._plan.over_s:
            self._stretches.popleft()

    def shown_a(self, now_a: float, now_s: float) -> float:
        """What it shows now, A, before its own gain and zero: `now_a` is the mean of what flows now."""
        plan = self._plan
        if plan.averaging == "spot":
            value = now_a * (1.0 + plan.ripple_share * math.sin(self._omega * now_s))
        elif plan.averaging == "window":
            began_s = now_s - plan.over_s
            value = sum(self._passed(stretch.after(began_s)) for stretch in self._stretches) / plan.over_s
        else:
            value = sum(part * z for part, z in zip(self._parts, self._shown(), strict=True))
        return math.sqrt(max(0.0, value)) if self._power == 2 else value

    def _passed(self, of: _Stretch) -> float:
        """Integral of the current, or of its square, over a stretch."""
        if of.ended_s <= of.began_s or of.from_a == of.to_a == 0.0:
            return 0.0
        steady, first, second = self._parts
        level = self._level(of)
        swings = first * self._sine(of, 1) + second * self._cosine(of, 2)
        return level * (steady * (of.ended_s - of.began_s) + swings)

    def _level(self, of: _Stretch) -> float:
        """Mean of I, or of its square, over a stretch."""
        if self._power == 1:
            return (of.from_a + of.to_a) / 2
        return (of.from_a**2 + of.from_a * of.to_a + of.to_a**2) / 3

    def _sine(self, of: _Stretch, times: int) -> float:
        omega = times * self._omega
        return (math.cos(omega * of.began_s) - math.cos(omega * of.ended_s)) / omega

    def _cosine(self, of: _Stretch, times: int) -> float:
        omega = times * self._omega
        return (math.sin(omega * of.ended_s) - math.sin(omega * of.began_s)) / omega

    def _filter(self, of: _Stretch) -> None:
        """First order: z' = (level e^iwt - z) / tau, for each frequency by its closed form."""
        tau_s, level = self._plan.over_s, self._level(of)
        kept = math.exp(-(of.ended_s - of.began_s) / tau_s)
        for times in range(3):
            omega = times * self._omega
            gain = level / (1 + 1j * omega * tau_s)
            began, ended = cmath.exp(1j * omega * of.began_s), cmath.exp(1j * omega * of.ended_s)
            self._filtered[times] = gain * ended + (self._filtered[times] - gain * began) * kept

    def _shown(self) -> tuple[float, float, float]:
        """What came out of the filter: a steady part, the sine of the ripple, the cosine at twice its frequency."""
        steady, first, second = self._filtered
        return steady.real, first.imag, second.real
