"""How each bath goes on: time to its band while it is heated, its temperature at the end of a load under current.

What a tank does is learned from its good readings (`warm_up.py`, `bath_end.py`) and kept from one run to the next, over
restarts of the service as well. The early warning stands while a bath under current would be at its high-high limit
before the load is done; it switches nothing: the limit itself does.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from supervisor.core import bath_end, coat, warm_up, words
from supervisor.core.actions import Note
from supervisor.core.bath_end import Ahead, Run
from supervisor.core.fit import Belief
from supervisor.core.heating import HeatingState
from supervisor.core.warm_up import WarmUp
from supervisor.trade.heat import cell_heat_w

if TYPE_CHECKING:
    from supervisor.core.setup import LineSetup, SupplySetup
    from supervisor.core.state import LineState, SupplyState
    from supervisor.core.tank_setup import TankSetup
    from supervisor.core.work import Work

LOOKED_EVERY_S = 10.0
"""Process time between two looks ahead for the early warning."""

_FLOWS_SHARE = 0.5
"""Share of the planned current below which a soft start tells nothing of the time still to go."""


@dataclass(frozen=True, slots=True)
class TankForecast:
    """What is known of how one tank goes on.

    Attributes:
        warm: the warm-up under way; None while there is none. warmed: what earlier ones taught; None before the first.
        run: the operation under way; None while no current flows. ran: what earlier ones taught.
        overheats: whether the limit comes before the end. looked_s: process time of the last look for that.
    """

    warm: WarmUp | None = None
    warmed: Belief | None = None
    run: Run | None = None
    ran: Belief | None = None
    overheats: bool = False
    looked_s: float | None = None


@dataclass(frozen=True, slots=True)
class End:
    """A bath under current: its law and belief, where it stands, degC, and what lies before it."""

    of: bath_end.Law
    held: Belief
    now_c: float
    ahead: Ahead


def state_of(state: LineState, tank: str) -> TankForecast:
    """Return what is known of a tank."""
    return state.forecasts.get(tank, TankForecast())


def restarted(setup: LineSetup, state: LineState) -> dict[str, TankForecast]:
    """What is left of the tanks there are after a start of the service: what was learned."""
    known = {tank: of for tank, of in state.forecasts.items() if tank in setup.tanks}
    return {tank: TankForecast(warmed=of.warmed, ran=of.ran) for tank, of in known.items()}


def judge(work: Work, tank: str) -> None:
    """Take in a new good reading of a tank's temperature, and let the early warning follow."""
    channel = work.setup.tanks[tank].temperature
    latest, known = work.state.channels.get(channel), state_of(work.state, tank)
    if latest is not None and latest.good_s is not None:
        known = _warming(work, tank, known, latest.good_s, latest.good_value)
        _put(work, tank, _running(work, tank, known, latest.good_s, latest.good_value))
    if any(supply.tank == tank for supply in work.setup.supplies.values()):
        _put(work, tank, _overheating(work, tank))
        work.alarm(tank, "bath-will-overheat", state_of(work.state, tank).overheats)


def ready(setup: LineSetup, state: LineState, tank: str) -> warm_up.Ready | None:
    """When a heated tank will be as warm as it is to be held; None while it does not warm up."""
    of, warm = setup.tanks[tank], state_of(state, tank).warm
    if warm is None or of.heating is None:
        return None
    law, held = warm_up.law(of, of.heating, warm.began_c), warm_up.belief(warm)
    return warm_up.ready(held, law, warm_up.now_c(warm, law, held), ready_c(of))


def ready_c(of: TankSetup) -> float:
    """The temperature, degC, from which a heated tank is as warm as it is to be held."""
    assert of.heating is not None, "asked of heated tanks alone"
    return max(of.band.warn_low_c, of.heating.hold_c - of.heating.band_c / 2)


def end(setup: LineSetup, state: LineState, tank: str, now_s: float) -> End | None:
    """How a bath under current goes on; None while too little was seen, or too little flows."""
    known, of = state_of(state, tank), setup.tanks[tank]
    run, flowing = known.run, _flowing(setup, state, tank)
    seen_s = bath_end.LEAST_SEEN_S if known.ran is None else bath_end.SETTLES_S
    left_s = [_left_s(state, of_supply, supply) for of_supply, supply in flowing]
    if run is None or not left_s or None in left_s or run.last_s - run.began_s < seen_s:
        return None
    law, held, cools = bath_end.law(of), bath_end.belief(run), _cools(state, of)
    heat_w = _heat_w(setup, state, tank)
    now_c = bath_end.now_c(run, law, held, heat_w, cools=cools)
    cooling = None
    if of.cooling is not None and tank in state.cooling:
        cooling = bath_end.cooling(run, cools, now_s - state.cooling[tank].cooler.since_s, of.cooling)
    return End(law, held, now_c, Ahead(heat_w, max(one for one in left_s if one is not None), cooling))


def _warming(work: Work, tank: str, known: TankForecast, at_s: float, now_c: float) -> TankForecast:
    """Follow a warm-up from the first reading with the heater on to what is to be held, or while it is wanted."""
    of, warm = work.setup.tanks[tank], known.warm
    if of.heating is None or (warm is not None and at_s <= warm.last_s):
        return known
    demanded = work.state.heating.get(tank, HeatingState()).demanded
    lost = warm is not None and at_s - warm.last_s > warm_up.LONGEST_GAP_S
    if warm is not None and (not demanded or now_c >= ready_c(of) or lost):
        return replace(known, warm=None, warmed=warm_up.kept(warm) or known.warmed)
    output = work.state.outputs[of.heating.output]
    on = output.on and output.confirmed_s is not None and at_s >= output.confirmed_s
    if warm is not None:
        law = warm_up.law(of, of.heating, warm.began_c)
        return replace(known, warm=warm_up.read(warm, law, at_s, now_c, on=on))
    if not demanded or not on or now_c >= ready_c(of) - of.heating.band_c:
        return known
    return replace(known, warm=warm_up.begin(known.warmed or warm_up.first(of), at_s, now_c))


def _running(work: Work, tank: str, known: TankForecast, at_s: float, now_c: float) -> TankForecast:
    """Follow a bath while current flows; a hold ends it, and the restart begins with what it taught."""
    run, flowing = known.run, _flowing(work.setup, work.state, tank)
    if run is None and not flowing:
        return known
    operation = " ".join(supply.operation.id for _, supply in flowing if supply.operation is not None)
    if run is not None and (run.operation != operation or at_s - run.last_s > bath_end.LONGEST_GAP_S):
        known = replace(known, run=None, ran=bath_end.kept(run) or known.ran)
    elif run is not None and at_s <= run.last_s:
        return known
    elif run is not None:
        of, heat_w = work.setup.tanks[tank], _heat_w(work.setup, work.state, tank)
        read = bath_end.read(run, bath_end.law(of), at_s, now_c, heat_w, cools=_cools(work.state, of))
        return replace(known, run=read)
    if not flowing:
        return known
    return replace(known, run=bath_end.begin(operation, known.ran or bath_end.FIRST, at_s, now_c))


def _overheating(work: Work, tank: str) -> TankForecast:
    """Look ahead now and then; who warned already goes on until the bath stays a deadband below its limit."""
    now_s, known = work.at.process_s, state_of(work.state, tank)
    if known.run is None:
        return replace(known, overheats=False, looked_s=None)
    if known.looked_s is not None and now_s - known.looked_s < LOOKED_EVERY_S:
        return known
    found, band = end(work.setup, work.state, tank, now_s), work.setup.tanks[tank].band
    if found is None:
        return replace(known, looked_s=now_s)
    limit_c = band.trip_high_c - (band.deadband_c if known.overheats else 0.0)
    course = bath_end.course(found.held.mean, found.of, found.now_c, found.ahead, limit_c)
    if course.limit_s is not None and not known.overheats:
        text = _told(work, tank, found, course.limit_s)
        work.actions.append(Note("tank", tank, text, {"limit_s": f"{course.limit_s:.0f}"}))
    return replace(known, overheats=course.limit_s is not None, looked_s=now_s)


def bearable_a(setup: LineSetup, state: LineState, tank: str, found: End) -> float | None:
    """The largest current, A, in all, with which a bath stays below its limit to the end; None: no such current."""
    limit_c = setup.tanks[tank].band.trip_high_c
    share = bath_end.bearable_share(found.held.mean, found.of, found.now_c, found.ahead, limit_c)
    flowing = _flowing(setup, state, tank)
    return None if share is None else share * sum(_value(state, supply.current) for supply, _ in flowing)


def _told(work: Work, tank: str, found: End, limit_s: float) -> str:
    units, band = work.setup.units, work.setup.tanks[tank].band
    current_a = bearable_a(work.setup, work.state, tank, found)
    does = "No smaller current avoids it: cool the bath, or hold the load."
    if current_a is not None:
        does = f"With {current_a:.3g} A instead it stays below."
    return (
        f"{tank}: it will be at {words.temperature(band.trip_high_c, units)} in {words.duration(limit_s)}, before the "
        f"load is done in {words.duration(found.ahead.left_s)}. {does}"
    )


def _flowing(setup: LineSetup, state: LineState, tank: str) -> list[tuple[SupplySetup, SupplyState]]:
    """The supplies of a tank under which an operation is energised."""
    return [
        (setup.supplies[name], supply)
        for name, supply in state.supplies.items()
        if setup.supplies[name].tank == tank and supply.operation is not None and supply.operation.energised
    ]


def _left_s(state: LineState, of: SupplySetup, supply: SupplyState) -> float | None:
    """Process time a load still takes at the current that flows; None while too little does to tell."""
    operation, current_a = supply.operation, _value(state, of.current)
    assert operation is not None, "asked of energised ones alone"
    if current_a < _FLOWS_SHARE * operation.plan.expected_a:
        return None
    return coat.missing_c(operation, supply.coat, operation.dose.charge) / current_a


def _heat_w(setup: LineSetup, state: LineState, tank: str) -> float:
    """Heat that comes into a bath now, W: its cells' and its heater's."""
    of = setup.tanks[tank]
    heat_w = sum(
        cell_heat_w(_value(state, supply.current), _value(state, supply.voltage))
        for supply, _ in _flowing(setup, state, tank)
    )
    if of.heating is not None and state.outputs[of.heating.output].on:
        heat_w += of.heating.rise_c_per_s / bath_end.law(of).per_w
    return heat_w


def _value(state: LineState, channel: str) -> float:
    """The newest good value of a channel; nothing before the first."""
    latest = state.channels.get(channel)
    return 0.0 if latest is None or latest.good_s is None else latest.good_value


def _cools(state: LineState, of: TankSetup) -> bool:
    return of.cooling is not None and of.cooling.output in state.outputs and state.outputs[of.cooling.output].on


def _put(work: Work, tank: str, known: TankForecast) -> None:
    if known != state_of(work.state, tank):
        work.state = replace(work.state, forecasts={**work.state.forecasts, tank: known})
