"""A supply with knobs: the person turns them, and says so; the core counts, watches and ends.

R6 cannot be enforced on a knob: too much current trips instead. R8 counts what the supply can give, as nothing is set.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from supervisor.core import dose
from supervisor.core.actions import Note
from supervisor.core.anodize import Operation, Ramp, State, Trigger
from supervisor.core.setup import SupplySetup

if TYPE_CHECKING:
    from supervisor.core.work import Work

HAND_S = 60.0
"""Process time beyond the soft start in which a person should have said that the knobs are set."""

OFF_PLAN_SHARE = 0.1
"""A current further than this from the plan is told, after the delay of its row (common practice, no source)."""


def begin(work: Work, name: str, operation: Operation) -> None:
    """Current can flow from here on: the contactor has closed, or the person switches on. Tell what to turn up to."""
    now_s, plan = work.at.process_s, operation.plan
    ramp = Ramp(now_s, None, plan.current_a, plan.voltage_v, 0, now_s, on_s=now_s)
    counted = dose.stepped(operation.dose, now_s)
    work.put_operation(name, replace(operation, ramp=ramp, dose=counted))
    text = (
        f"{name}: turn the current up to {plan.current_a:.3g} A within {plan.ramp_s:.0f} s, the voltage to at most "
        f"{plan.voltage_v:.3g} V; then say so: ampminder anodize confirm"
    )
    work.actions.append(Note("output", name, text, {"current_a": f"{plan.current_a:.6g}"}))


def waits_for_hands(setup: SupplySetup, operation: Operation | None) -> bool:
    """Whether the person has yet to say that the knobs are set."""
    if setup.control == "remote" or operation is None or not operation.energised:
        return False
    return operation.ramp is not None and operation.ramp.set_s is None


def confirm(work: Work, name: str) -> str:
    """Take the person's word that the knobs are set; return why not, "" if it was taken."""
    setup, operation = work.supply_setup(name), work.supply(name).operation
    if setup.control == "remote":
        return f"confirm: {name} is set over its wire; there is nothing to confirm."
    if operation is None or operation.ramp is None or not waits_for_hands(setup, operation):
        return f"confirm: nothing is waited for at {name}."
    ramp = replace(operation.ramp, set_s=work.at.process_s)
    work.put_operation(name, replace(operation, ramp=ramp))
    if operation.state is State.RESTARTING:
        work.move(name, Trigger.RAMPED)
    return ""


def late_s(operation: Operation) -> float:
    """Process time from which a soft start by hand that nobody confirmed is told."""
    assert operation.ramp is not None
    return operation.ramp.began_s + operation.plan.ramp_s + HAND_S


def judge(work: Work, name: str) -> None:
    """Let the alarms of a supply with knobs follow what its person does."""
    setup, supply = work.supply_setup(name), work.supply(name)
    if setup.control == "remote":
        return
    operation = supply.operation
    waits = waits_for_hands(setup, operation)
    late = operation is not None and waits and work.at.process_s >= late_s(operation)
    work.alarm(name, "ramp-not-confirmed", late)
    work.alarm(name, "current-off-plan", _off_plan(work, setup, operation))
    by_hand = setup.control == "none" and not supply.output.wanted_on and not supply.output.proven_off
    asked = supply.output.asked_wire_s is not None and operation is not None and not operation.over
    work.alarm(name, "switch-off-by-hand", by_hand and asked)


def _off_plan(work: Work, setup: SupplySetup, operation: Operation | None) -> bool:
    """Whether the newest good current is far from the plan, once somebody has set it."""
    latest = work.state.channels.get(setup.current)
    if operation is None or not operation.energised or operation.ramp is None or waits_for_hands(setup, operation):
        return False
    if work.supply(setup.name).coat.awaited_v is not None:
        return False  # a restart on a coat, whose current comes once its voltage does
    if latest is None or latest.good_s is None or latest.good_s < operation.ramp.began_s:
        return False
    wanted_a = operation.plan.expected_a
    return abs(latest.good_value - wanted_a) > OFF_PLAN_SHARE * wanted_a
