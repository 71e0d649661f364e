"""Energising in two steps, and the soft start: the only file that commands on (R1)."""

from __future__ import annotations

from dataclasses import replace

from supervisor.core import alloyed, contactor, dose, electrical, in_acid, knobs, watching, zero
from supervisor.core.actions import Note, Record
from supervisor.core.anodize import Operation, Ramp, State, Trigger, move, set_points
from supervisor.core.coat import Coat
from supervisor.core.events import Recorded, Written
from supervisor.core.load import REMEMBERED_LOADS, Load
from supervisor.core.permissives import failing
from supervisor.core.plan import Plan
from supervisor.core.state import Pending
from supervisor.core.work import Work

RECORD_WITHIN_S = 1.0
"""Wire time an intent may take to become durable; after it the request is refused (R11)."""

SMOOTHING = 0.5
"""Weight of the newest set point in the smoothed lead from decision to effect."""


def intend(work: Work, name: str, pending: Pending) -> None:
    """First step: ask for the intent to be recorded. Nothing is energised yet."""
    work.put(name, replace(work.supply(name), pending=pending))
    plan = pending.plan
    work.actions.append(Record(pending.intent, name, pending.operation, plan.current_a, plan.voltage_v))


def recorded(work: Work, event: Recorded) -> str | None:
    """Second step: the intent is durable, so check every permissive again and energise. Returns the supply touched."""
    found = next(
        (name for name, supply in work.state.supplies.items() if _waits_for(supply.pending, event.intent)), None
    )
    if found is None:
        return None
    pending = work.supply(found).pending
    if pending is None or work.at.wire_s >= pending.deadline_wire_s:
        return found  # `expire` refuses it in this same step
    work.put(found, replace(work.supply(found), pending=None))
    reasons = failing(work.setup, work.state, found, pending.what, work.at.process_s)
    if reasons:
        work.answer(pending.request, reasons)
    else:
        _energise(work, found, pending)
    return found


def _waits_for(pending: Pending | None, intent: str) -> bool:
    return pending is not None and pending.intent == intent


def expire(work: Work, name: str) -> None:
    """Refuse an intent that did not become durable in time."""
    pending = work.supply(name).pending
    if pending is None or work.at.wire_s < pending.deadline_wire_s:
        return
    work.put(name, replace(work.supply(name), pending=None))
    text = "journal keeps records: the record was not durable within 1 s; nothing was switched on. Check the disk."
    work.answer(pending.request, (text,))


def _energise(work: Work, name: str, pending: Pending) -> None:
    zero.note(work, name)
    held = work.supply(name).operation
    operation = move(held or _begin(work, name, pending), Trigger.RESTART if held else Trigger.START)
    assert operation is not None, "the permissives held a moment ago"
    if held is None:
        work.put(name, replace(work.supply(name), coat=Coat()))
    notice = in_acid.resume(work, name, operation) if held else " ".join(alloyed.notices(operation.plan))
    setup = work.supply_setup(name)
    fresh = replace(work.supply(name), operation=operation, voltage_held=None, counted_from=None)
    work.put(name, fresh)
    work.note_move(name, operation, "")
    least_loss = electrical.least_loss(watching.sight(work.setup, setup, operation.plan))
    work.answer(
        pending.request,
        operation=operation.id,
        load=operation.load,
        supply=name,
        notice=notice,
        stops_on=operation.plan.stops_on,
        least_loss_share=f"{least_loss:.3f}",
    )
    if notice:
        work.actions.append(Note("operation", name, notice, {"load": operation.load, "operation": operation.id}))
    if setup.control != "remote":
        work.wanted_on(name)
    if setup.contactor is not None:
        contactor.close(work, name)
    elif setup.control == "remote":
        _switch_on(work, name, operation)
    else:
        knobs.begin(work, name, operation)


def _switch_on(work: Work, name: str, operation: Operation) -> None:
    """Begin the soft start: the first set points, and on."""
    now_s, step_s = work.at.process_s, work.setup.anodize.ramp_step_s
    current_a, voltage_v = set_points(operation.plan, work.supply_setup(name), 0.0, step_s)
    # At every energising: a supply whose mains were off since the service started has forgotten its time-out.
    work.arm(name)
    number = work.set_points(name, current_a, voltage_v)
    work.switch_on(name)
    ramp = Ramp(now_s, now_s + step_s, current_a, voltage_v, number, now_s)
    work.put_operation(name, replace(operation, ramp=ramp))


def follow_contactor(work: Work, name: str) -> None:
    """Third step, where a contactor had to close first: check every permissive once more, then switch on (R1)."""
    setup, supply = work.supply_setup(name), work.supply(name)
    operation = supply.operation
    if supply.closing is None or operation is None or not operation.energised or setup.contactor is None:
        return
    if contactor.failed(work, name):
        return  # too late is not at all; the cause holds the load in this same step
    if contactor.shows(work, setup.contactor) is not True:
        return
    work.put(name, replace(supply, closing=None))
    if setup.control != "remote":
        knobs.begin(work, name, operation)
    elif failing(work.setup, work.state, name, "on", work.at.process_s):
        work.fault(name, "not-ready")
    else:
        _switch_on(work, name, operation)


def _begin(work: Work, name: str, pending: Pending) -> Operation:
    """Make the operation and its load; off is proven, so nothing has flowed up to now."""
    now_s, plan = work.at.process_s, pending.plan
    tank = work.supply_setup(name).tank
    load = Load(pending.load, plan.area_m2, plan.target_um, pending.operation, alloy=plan.alloy, tank=tank)
    kept = list(work.state.loads.items())[1 - REMEMBERED_LOADS :]
    work.state = replace(work.state, loads={**dict(kept), load.id: load})
    return Operation(
        id=pending.operation,
        load=load.id,
        plan=plan,
        state=State.IDLE,
        dose=dose.begin(dose.Dose(), now_s),
        began_s=now_s,
        counted_s=now_s,
    )


def written(work: Work, event: Written) -> None:
    """A command's fate: confirmation of set points and of on carry the soft start on; a failed on is a fault."""
    operation = work.supply(event.supply).operation
    if operation is None or operation.ramp is None or not operation.energised:
        return
    if event.command == "on" and not event.ok:
        work.fault(event.supply, "command-failed")
        work.actions.append(Note("output", event.supply, f"{event.supply}: on was not confirmed: {event.problem}"))
    elif event.command == "on":
        _is_on(work, event, operation, operation.ramp)
    elif event.command == "set points" and event.ok and event.number >= operation.ramp.number:
        _is_set(work, event, operation, operation.ramp)


def _is_on(work: Work, event: Written, operation: Operation, ramp: Ramp) -> None:
    """Count the soft start from here: the current began between request and confirmation."""
    began_s = (event.t_sent_s + event.t_received_s) / 2
    next_s = None if ramp.next_s is None else began_s + work.setup.anodize.ramp_step_s
    ramp = replace(ramp, began_s=began_s, next_s=next_s, on_s=event.t_received_s)
    work.put_operation(event.supply, replace(operation, ramp=ramp, dose=dose.stepped(operation.dose, began_s)))


def _is_set(work: Work, event: Written, operation: Operation, ramp: Ramp) -> None:
    """Date the change of the set point, learn how long a command takes, and end the soft start at its final value."""
    changed_s = (event.t_sent_s + event.t_received_s) / 2
    counted = dose.stepped(operation.dose, changed_s) if ramp.on_s is not None else operation.dose
    final = _is_final(operation.plan, ramp)
    ramp = replace(ramp, set_s=event.t_received_s, next_s=None if final else ramp.next_s)
    supply = work.supply(event.supply)
    lead_s = supply.lead_s + SMOOTHING * (changed_s - ramp.sent_s - supply.lead_s)
    work.put(event.supply, replace(supply, lead_s=lead_s, operation=replace(operation, ramp=ramp, dose=counted)))
    if final:
        work.move(event.supply, Trigger.RAMPED)


def _is_final(plan: Plan, ramp: Ramp) -> bool:
    return (ramp.current_a, ramp.voltage_v) == (plan.current_a, plan.voltage_v)


def climb(work: Work, name: str) -> None:
    """Send the next set points of the soft start when they are due; the final ones again until they are confirmed."""
    operation = work.supply(name).operation
    if operation is None or not operation.energised or operation.ramp is None:
        return
    ramp, now_s, step_s = operation.ramp, work.at.process_s, work.setup.anodize.ramp_step_s
    if ramp.next_s is None or now_s < ramp.next_s:
        return
    current_a, voltage_v = set_points(operation.plan, work.supply_setup(name), now_s - ramp.began_s, step_s)
    number = work.set_points(name, current_a, voltage_v)
    if (current_a, voltage_v) == (ramp.current_a, ramp.voltage_v):
        # Sent again, so a late word on the earlier sending confirms them too.
        number = ramp.number
    ramp = replace(
        ramp, current_a=current_a, voltage_v=voltage_v, number=number, sent_s=now_s, set_s=None, next_s=now_s + step_s
    )
    work.put_operation(name, replace(operation, ramp=ramp))
