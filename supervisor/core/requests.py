"""What a person asks for: checked for age, repetition and sense, then done or refused with every reason (R4)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Literal

from supervisor.core import (
    air,
    alarm_requests,
    anodize,
    bath,
    calibrating,
    coat,
    commissioning,
    exercise,
    gauging,
    in_acid,
    knobs,
    switches,
)
from supervisor.core.anodize import State, Trigger
from supervisor.core.energise import RECORD_WITHIN_S, intend
from supervisor.core.events import Order, Request, RequestKind
from supervisor.core.permissives import failing
from supervisor.core.plan import Plan, make_plan
from supervisor.core.state import LineState, Pending
from supervisor.core.work import Work

REMEMBERED = 256
"""Ids of the newest requests kept to refuse a repeated one; older ones have expired."""

_MOVES = {"hold": Trigger.HOLD, "stop": Trigger.STOP, "abort": Trigger.ABORT}

_OF_NO_SUPPLY: dict[RequestKind, Callable[[Work, Request], None]] = {
    "heat": bath.take,
    "rest": bath.take,
    "filled": bath.take,
    "exercise": exercise.begin,
    "release": exercise.release,
    "gauge": gauging.take,
    "gauge forget": gauging.take,
    "calibrate": calibrating.take,
    "calibrate forget": calibrating.take,
}

LOWERING = frozenset({"hold", "stop", "abort", "off", "rest"})
RAISING = frozenset({"start", "restart", "heat", "confirm"})
"""Of two requests of one moment that contradict each other the one that takes energy away counts, in either order."""


def take(work: Work, request: Request) -> None:
    """Do one request or refuse it."""
    stale = _stale(work, request)
    if stale:
        work.answer(request.id, stale)
        return
    work.state = replace(
        work.state, requests=(*work.state.requests, request.id)[-REMEMBERED:], attended_s=work.at.process_s
    )
    if request.what in LOWERING:
        before_s = work.state.lowered_wire_s
        newest_s = request.made_wire_s if before_s is None else max(before_s, request.made_wire_s)
        work.state = replace(work.state, lowered_wire_s=newest_s)
    if request.what.startswith("alarm "):
        alarm_requests.take(work, request)
    elif request.what == "off":
        _off(work, request)
    elif request.what in _OF_NO_SUPPLY:
        _OF_NO_SUPPLY[request.what](work, request)
    else:
        name, reasons = which_supply(work.state, request.supply)
        if reasons:
            work.answer(request.id, reasons)
        else:
            _operation(work, request, name)


def _stale(work: Work, request: Request) -> tuple[str, ...]:
    """Every reason why this message must not be acted on at all."""
    reasons = []
    if request.retained:
        reasons.append("fresh: this is a stored copy of an old request.")
    if not work.at.wire_s < request.expires_wire_s:  # said so that a figure that is no number fails too
        reasons.append("fresh: the request has expired; ask again.")
    if not request.made_wire_s <= work.at.wire_s + 1.0:
        reasons.append("fresh: the request says it was made in the future.")
    if request.id in work.state.requests:
        reasons.append("fresh: this request came before and is done only once.")
    lowered_s = work.state.lowered_wire_s
    if request.what in RAISING and lowered_s is not None and request.made_wire_s <= lowered_s:
        reasons.append(
            f"fresh: something was told to go off at the same moment or since; ask for {request.what} again."
        )
    return tuple(reasons)


def which_supply(state: LineState, asked: str) -> tuple[str, tuple[str, ...]]:
    """Name the supply meant; with several, one must be named."""
    names = tuple(state.supplies)
    if asked in names:
        return asked, ()
    if asked:
        return "", (f"supply: there is no supply {asked}; this line has {', '.join(names)}.",)
    if len(names) == 1:
        return names[0], ()
    return "", (f"supply: this line has several; name one of {', '.join(names)}.",)


def _operation(work: Work, request: Request, name: str) -> None:
    if request.what == "start":
        _start(work, request, name)
    elif request.what == "restart":
        _restart(work, request, name)
    elif request.what == "reset":
        _reset(work, request, name)
    elif request.what == "confirm":
        why = knobs.confirm(work, name)
        work.answer(request.id, (why,) if why else (), supply=name)
    elif request.what == "commission":
        commissioning.take(work, request, name)
    elif request.what == "out":
        why = in_acid.take_out(work, name)
        work.answer(request.id, (why,) if why else (), supply=name)
    else:
        why = f"{request.what} asked for by {request.who}"
        # An intent on its way is withdrawn first: a stop must never be followed by a start that was asked for earlier.
        withdrawn = _withdraw(work, name, why)
        moved = work.move(name, _MOVES[request.what], why)
        work.answer(request.id, () if moved or withdrawn else (_does_nothing(work, name, request.what),), supply=name)


def _does_nothing(work: Work, name: str, what: str) -> str:
    operation = work.supply(name).operation
    stands = operation.state if operation else State.IDLE
    can = [
        trigger.value
        for trigger in (*_MOVES.values(), Trigger.START, Trigger.RESTART, Trigger.RESET)
        if anodize.TABLE[stands][trigger]
    ]
    return f"operation: {name} is {stands}, where {what} does nothing; it takes {', '.join(can) or 'no request now'}."


def _start(work: Work, request: Request, name: str) -> None:
    order = request.order
    if order is None:
        work.answer(request.id, ("order: a start needs an area and a target.",))
        return
    plan, reasons = make_plan(work.setup, work.supply_setup(name), order, work.state.gauged)
    reasons = (
        *reasons,
        *_load_free(work.state, order),
        *_ready(work, name, "start"),
        *_knobs_down(work, request, name),
    )
    if plan is None or reasons:
        work.answer(request.id, reasons)
        air.ask(work, name)
        return
    operations = work.state.operations + 1
    work.state = replace(work.state, operations=operations)
    load = order.load or _next_load(work)
    _pend(work, request, name, "start", f"{work.setup.name}-{operations}", load, plan)


def _next_load(work: Work) -> str:
    """Number a load nobody named, past any that a person gave such a name."""
    taken = {*work.state.loads, *_promised(work.state)}
    number = work.state.numbered_loads + 1
    while f"load-{number}" in taken:
        number += 1
    work.state = replace(work.state, numbered_loads=number)
    return f"load-{number}"


def _promised(state: LineState) -> tuple[str, ...]:
    """Loads of starts that are on their way."""
    return tuple(supply.pending.load for supply in state.supplies.values() if supply.pending is not None)


def _load_free(state: LineState, order: Order) -> tuple[str, ...]:
    if order.load and order.load in _promised(state):
        return (f"load: a start of {order.load} is on its way; give the new one another name.",)
    if order.load and order.load in state.loads:
        before = state.loads[order.load].operation
        return (f"load: {order.load} was anodized already as {before}; give the new one another name.",)
    return ()


def _ready(work: Work, name: str, what: str) -> tuple[str, ...]:
    reasons = failing(work.setup, work.state, name, what, work.at.process_s)
    if work.supply(name).pending is not None:
        return (*reasons, "operation: another start or restart is on its way.")
    return reasons


def _knobs_down(work: Work, request: Request, name: str) -> tuple[str, ...]:
    """Only a person can see to it that a supply with knobs begins at nought."""
    if work.supply_setup(name).control == "remote" or request.confirmed:
        return ()
    text = f"knobs down: turn current and voltage of {name} fully down, then say so with --confirmed."
    return (text,)


def _restart(work: Work, request: Request, name: str) -> None:
    reasons = (*_ready(work, name, "restart"), *_knobs_down(work, request, name))
    operation = work.supply(name).operation
    if reasons or operation is None:
        work.answer(request.id, reasons)
        return
    _pend(work, request, name, "restart", operation.id, operation.load, operation.plan)


def _pend(
    work: Work, request: Request, name: str, what: Literal["start", "restart"], operation: str, load: str, plan: Plan
) -> None:
    deadline_s = work.at.wire_s + RECORD_WITHIN_S
    intend(work, name, Pending(f"{operation}/{request.id}", request.id, what, operation, load, plan, deadline_s))


def _reset(work: Work, request: Request, name: str) -> None:
    operation = work.supply(name).operation
    if not work.move(name, Trigger.RESET):
        work.answer(request.id, (_does_nothing(work, name, "reset"),))
        return
    if operation is not None and operation.load in work.state.loads:
        load = replace(work.state.loads[operation.load], grew=coat.grew(operation, work.supply(name).coat))
        work.state = replace(work.state, loads={**work.state.loads, load.id: load})
    work.put_operation(name, None)
    work.answer(request.id, supply=name)


def _withdraw(work: Work, name: str, why: str) -> bool:
    """Refuse an intent on its way because something against it was asked for meanwhile."""
    pending = work.supply(name).pending
    if pending is None:
        return False
    work.put(name, replace(work.supply(name), pending=None))
    work.answer(pending.request, (f"operation: {why} meanwhile.",))
    return True


def _off(work: Work, request: Request) -> None:
    """Off for one supply or all, whatever runs: it stops, and off is sent even where off was proven before."""
    names = [request.supply] if request.supply in work.state.supplies else list(work.state.supplies)
    if request.supply and request.supply not in names:
        work.answer(request.id, which_supply(work.state, request.supply)[1])
        return
    why = f"off asked for by {request.who}"
    for name in names:
        _withdraw(work, name, why)
        operation = work.supply(name).operation
        energised = operation is not None and operation.energised
        work.move(name, Trigger.STOP, why)
        if not energised:  # otherwise the move has commanded it, and a second one would only keep the link busy
            work.switch_off(name)
            setup = work.supply_setup(name)
            if setup.control == "remote" and setup.contactor is not None:
                switches.make_safe(work, setup.contactor)
    for name, output in () if request.supply else work.setup.outputs.items():
        if output.role == "heater":
            switches.make_safe(work, name)
    if not request.supply:
        bath.off(work, why)
    work.answer(request.id, supplies=", ".join(names))
