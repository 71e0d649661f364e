"""Whether a good reading of a bath's temperature can be true; why it is doubted where it cannot.

Sources: a bath of 8 to 200 L moves by itself by 0.2 degC/min at most; more than 0.3 degC within 2 s of an output's
switching is electrical, a grounded junction or a sensor without isolation (both from memory). A sensor that wavers from
reading to reading and then shows one and the same value is frozen; that allows for its resolution, since one that does
not waver by a step of its own may well stand still (common practice, no source).

A doubted reading is no good one (R9): it permits nothing and clears nothing. What it shows may still raise an alarm:
a bath that truly gets hot so fast is told in time.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from supervisor.core.tank_setup import BelieveSetup

SWITCHED_WITHIN_S = 2.0
"""Process time after an output's switching in which a jump is electrical."""

WINDOW_S = 300.0
"""Process time over which a creeping rate is judged, and for which new readings must agree before they are believed
again: then it was the bath that had moved, or the sensor was put elsewhere."""

ALIKE = 30
"""So many equal readings in a row are frozen where the sensor wavers by its step: by chance once in 10^12."""

WAVERS = 1.0
"""Mean change from reading to reading, in steps of the sensor, from which it must waver on."""

_MOVES_OVER = 50.0

TOO_FAST = "it moves faster than a bath can"
ELECTRICAL = "it jumped as an output was switched, which is electrical: a grounded junction, or no isolation"
FROZEN = "it wavered and now stands still, which is frozen"
APART = "the tank's two sensors are apart"


@dataclass(frozen=True, slots=True)
class Belief:
    """What a channel's readings have shown.

    Attributes:
        anchor_c, anchor_s: a believed reading, degC, up to `WINDOW_S` ago, and its process time. last_c, last_s: the
            newest believed one. new_c, new_s: where those that are doubted now began; `new_s` None while none are.
        shown_c: newest reading, believed or not. alike: how many after it have shown the same. step_c: the least change
            seen; None before any. moves_c: mean change from reading to reading.
        apart_s: process time since when the tank's two sensors are apart; None while they agree.
        why: why the newest reading is doubted; "" where it is believed. by: the output whose switching it came with.
    """

    anchor_c: float
    anchor_s: float
    last_c: float
    last_s: float
    shown_c: float
    new_c: float = 0.0
    new_s: float | None = None
    alike: int = 0
    step_c: float | None = None
    moves_c: float = 0.0
    apart_s: float | None = None
    why: str = ""
    by: str = ""


def first(shown_c: float, at_s: float) -> Belief:
    """Believe the first reading, degC: there is nothing to hold it against."""
    return Belief(shown_c, at_s, shown_c, at_s, shown_c)


def read(
    belief: Belief,
    shown_c: float,
    at_s: float,
    of: BelieveSetup,
    switched_s: Mapping[str, float],
    other_c: float | None,
) -> Belief:
    """Judge a good reading.

    Args:
        belief: what the readings before it have shown.
        shown_c: it, degC.
        at_s: process time of its sample, after that of the one before.
        of: what is true of this bath and sensor.
        switched_s: process time of the newest switching, by output.
        other_c: what the tank's second sensor shows, degC; None where there is none, or it says nothing good.
    """
    belief = _apart(_wavering(belief, shown_c), at_s, of, other_c)
    if belief.by:
        if switched_s[belief.by] <= (belief.new_s or 0.0):
            return belief
        belief = _anew(belief, at_s)  # what came with the output went with it
    if belief.step_c and belief.alike >= ALIKE and belief.moves_c >= WAVERS * belief.step_c:
        return replace(belief, why=FROZEN)
    if belief.apart_s is not None and at_s - belief.apart_s >= of.apart_for_s:
        return replace(belief, why=APART)
    near = _fits(belief.last_c, belief.last_s, shown_c, at_s, of)
    if near and _fits(belief.anchor_c, belief.anchor_s, shown_c, at_s, of):
        return _believed(belief, at_s)
    return _doubted(belief, at_s, of, switched_s)


def _fits(from_c: float, from_s: float, to_c: float, to_s: float, of: BelieveSetup) -> bool:
    return abs(to_c - from_c) <= of.jump_c + of.fastest_c_per_s * (to_s - from_s)


def _wavering(belief: Belief, shown_c: float) -> Belief:
    """Count equal readings; for the mean change they count once they have ended, or a frozen sensor never wavered."""
    change_c = abs(shown_c - belief.shown_c)
    if change_c == 0.0:
        return replace(belief, alike=belief.alike + 1)
    moves_c = (_MOVES_OVER * belief.moves_c + change_c) / (_MOVES_OVER + 1 + belief.alike)
    return replace(belief, shown_c=shown_c, alike=0, step_c=min(belief.step_c or change_c, change_c), moves_c=moves_c)


def _apart(belief: Belief, at_s: float, of: BelieveSetup, other_c: float | None) -> Belief:
    if other_c is None or abs(belief.shown_c - other_c) <= of.apart_c:
        return replace(belief, apart_s=None)
    return belief if belief.apart_s is not None else replace(belief, apart_s=at_s)


def _believed(belief: Belief, at_s: float) -> Belief:
    after = replace(belief, last_c=belief.shown_c, last_s=at_s, new_s=None, why="")
    old = at_s - belief.anchor_s >= WINDOW_S
    return replace(after, anchor_c=belief.shown_c, anchor_s=at_s) if old else after


def _anew(belief: Belief, at_s: float) -> Belief:
    """Believe from here on, as from a first reading; how the sensor wavers is still known."""
    after = first(belief.shown_c, at_s)
    return replace(after, alike=belief.alike, step_c=belief.step_c, moves_c=belief.moves_c, apart_s=belief.apart_s)


def _doubted(belief: Belief, at_s: float, of: BelieveSetup, switched_s: Mapping[str, float]) -> Belief:
    """Doubt what moves too fast; believe a new level once it has held for long: then it was the bath, or the sensor."""
    if belief.new_s is None or not _fits(belief.new_c, belief.new_s, belief.shown_c, at_s, of):
        by = "" if belief.new_s is not None else _switched(belief, at_s, switched_s)
        return replace(belief, new_c=belief.shown_c, new_s=at_s, why=ELECTRICAL if by else TOO_FAST, by=by)
    if at_s - belief.new_s >= WINDOW_S:
        return _anew(belief, at_s)
    return replace(belief, why=TOO_FAST)


def _switched(belief: Belief, at_s: float, switched_s: Mapping[str, float]) -> str:
    """The output that was switched just before: within 2 s, or since the reading before where those are rarer."""
    within_s = max(SWITCHED_WITHIN_S, at_s - belief.last_s)
    return next((name for name, moment_s in switched_s.items() if 0 <= at_s - moment_s <= within_s), "")
