"""A supply's meter as it is fitted: it carries its operation's whole current, no other, and the right way round.

Three points beside a reference meter around the cable to the work: nothing while the supply is off and the others are
on, so that no other current goes through it; two currents, one at least twice the other, at which it follows the
reference, so that none goes round it. Within 5 %: what a clamp meter and its reading can be off by (common practice, no
source), so a path that takes less than that is not found. What is found is kept and shown; no decision reads it.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from supervisor.core import calibrated, calibrating
from supervisor.core.actions import Note
from supervisor.core.calibrated import STEADY_OF_RATING, Commissioned
from supervisor.core.events import Request

if TYPE_CHECKING:
    from supervisor.core.setup import ChannelSetup
    from supervisor.core.work import Work
    from supervisor.trade.calibration import Point

AGREES = 0.05
"""Share of the true current by which meter and reference may differ, beside the meter's own limit of error."""

APART = 2.0
"""How many times the smaller current the larger must be at least."""


def take(work: Work, request: Request, name: str) -> None:
    """Keep what was seen of the meter of a supply, or refuse it with every reason."""
    supply = work.supply_setup(name)
    channel = work.setup.channels[supply.current]
    instrument = calibrated.instruments(work.setup)[supply.current]
    reasons = (
        *calibrating.against(work.setup, work.state, instrument),
        *_against_points(request.points, channel, supply.rated_current_a),
        *(() if request.reference else ("reference: say which meter told the truth.",)),
        *(() if request.confirmed else (_unsaid(name),)),
    )
    if reasons:
        work.answer(request.id, reasons)
        return
    found = Commissioned(
        name, channel.device, channel.point, request.points, request.reference, work.at.wall_s, request.who
    )
    work.state = replace(work.state, commissioned={**work.state.commissioned, name: found})
    beside = ", ".join(f"{point.shown:.4g} A at {point.true:.4g} A" for point in request.points)
    text = (
        f"{name}: its meter {channel.name} carries the current of {name} alone, all of it within {AGREES:.0%}, the "
        f"right way round: {beside}, beside {request.reference}, says {request.who}."
    )
    work.actions.append(Note("output", name, text))
    work.answer(request.id, supply=name, notice=text)


def _unsaid(name: str) -> str:
    return (
        "confirmed: only a person sees where the reference sits; say with --confirmed that it went around the one "
        f"cable from {name} to the work, its arrow toward the work, and every other supply was on while {name} was off."
    )


def _against_points(points: tuple[Point, ...], channel: ChannelSetup, rated_a: float) -> list[str]:
    """Every reason why these points do not show it."""
    foreign = [point for point in points if point.unit != "A"]
    if foreign:
        return [f"points: {calibrating.foreign_to(point, channel.name, 'A')}" for point in foreign]
    reasons = [reason for point in points for reason in _against_point(point, channel, rated_a)]
    currents = sorted(point.true for point in points if point.true > 0)
    if not any(point.true == 0 for point in points):
        reasons.append("points: one is needed with the supply off, where the reference shows 0 A.")
    if len(currents) < 2 or currents[-1] < APART * currents[0]:
        reasons.append(f"points: two currents are needed, one at least {APART:g} times the other.")
    return reasons


def _against_point(point: Point, channel: ChannelSetup, rated_a: float) -> list[str]:
    accuracy, reasons = channel.accuracy, []
    own_a = accuracy.of_reading * abs(point.shown) + accuracy.absolute
    beside = f"points: {channel.name} shows {point.shown:.4g} A where the reference shows {point.true:.4g} A"
    if point.true < 0:
        reasons.append(f"{beside}: turn the reference's arrow toward the work.")
    elif point.true == 0 and abs(point.shown) > own_a:
        reasons.append(f"{beside}: another current goes through it, or it is off its zero.")
    elif point.true > 0 and point.shown < -own_a:
        reasons.append(f"{beside}: it is the wrong way round; exchange its two sense wires.")
    elif point.true - point.shown > AGREES * point.true + own_a:
        reasons.append(f"{beside}: current goes round it, or it is scaled for another shunt.")
    elif point.shown - point.true > AGREES * point.true + own_a:
        reasons.append(f"{beside}: another current goes through it too, or it is scaled for another shunt.")
    if not point.spread <= STEADY_OF_RATING * rated_a:
        reasons.append(f"{beside}: it moved by {point.spread:.3g} A meanwhile; wait until it is steady.")
    return reasons
