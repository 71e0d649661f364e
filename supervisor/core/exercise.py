"""An output tried out by a person who looks on: away from its safe state for a moment, while nothing else can run.

A contactor is tried only while its supply is surely off. Through an open contactor no current flows whatever the supply
does, so its low current alone says nothing: its own word, where it gives one, must be off as well.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from supervisor.core import causes, switches
from supervisor.core.actions import Note
from supervisor.core.events import Request
from supervisor.core.permissives import fresh
from supervisor.core.state import Exercise

if TYPE_CHECKING:
    from supervisor.core.work import Work

LONGEST_S = 1.5
"""Wire time from decision to decision, so that on the wire it stays within 2 s."""


def begin(work: Work, request: Request) -> None:
    """Switch one output out of its safe state, or refuse with every reason."""
    name = request.output
    reasons = _against(work, request)
    if reasons:
        work.answer(request.id, reasons)
        return
    until_s = work.at.wire_s + LONGEST_S
    work.put_switch(name, replace(work.state.outputs[name], tried=True))
    work.state = replace(work.state, exercise=Exercise(name, until_s))
    switches.command(work, name, on=not work.setup.outputs[name].safe_on)
    work.answer(request.id, output=name)


def release(work: Work, request: Request) -> None:
    """Bring the output back to its safe state; harmless where it is there already."""
    if work.state.exercise is not None and work.state.exercise.output == request.output:
        end(work)
    work.answer(request.id, output=request.output)


def end(work: Work) -> None:
    """End whatever is under trial."""
    exercise = work.state.exercise
    if exercise is None:
        return
    work.state = replace(work.state, exercise=None)
    switches.make_safe(work, exercise.output)
    work.actions.append(Note("output", exercise.output, f"{exercise.output}: back to its safe state."))


def settle(work: Work) -> None:
    """End it when its time is over; a contactor's at once where current flows, a heater's where a cause stands."""
    exercise = work.state.exercise
    if exercise is None:
        return
    over = work.at.wire_s >= exercise.until_wire_s or bool(_cold(work, exercise.output))
    if over or any(_may_flow(work, supply) for supply in _broken_by(work, exercise.output)):
        end(work)


def _cold(work: Work, output: str) -> list[str]:
    """The alarms because of which a heater must be off; none for what is no heater of a tank."""
    setup = work.setup.outputs[output]
    return causes.against_heat(work, setup.tank) if setup.role == "heater" and setup.tank else []


def _broken_by(work: Work, output: str) -> list[str]:
    return [name for name, supply in work.setup.supplies.items() if supply.contactor == output]


def _may_flow(work: Work, name: str) -> bool:
    """Whether a supply is not surely off by its newest readings: one that is not good does not count as off (R9)."""
    setup, now_s = work.supply_setup(name), work.at.process_s
    current_a = fresh(work.state, setup.current, now_s, setup.silent_after_s)
    if current_a is None or abs(current_a) >= setup.off_threshold_a:
        return True
    if not setup.output_state:
        return False
    age_limit_s = work.setup.channels[setup.output_state].age_limit_s
    state = fresh(work.state, setup.output_state, now_s, age_limit_s)
    return state is None or state >= 1


def _against(work: Work, request: Request) -> tuple[str, ...]:
    name, reasons = request.output, []
    if not work.state.watch_only:
        reasons.append("watching only: outputs are exercised while only watching; start with run --watch-only.")
    if work.state.ending:
        reasons.append("not ending: this supervisor was told to end.")
    if work.state.exercise is not None:
        reasons.append(f"one at a time: {work.state.exercise.output} is being exercised.")
    if name not in work.state.outputs:
        known = ", ".join(work.state.outputs) or "none"
        why = "is a supply output, which is never exercised" if name in work.setup.outputs else "is no output"
        reasons.append(f"output: {name} {why}; this line has {known}.")
        return tuple(reasons)
    reasons += [f"no trip: {alarm} stands, and {name} is a heater." for alarm in _cold(work, name)]
    for supply in _broken_by(work, name):
        if not work.supply(supply).output.proven_off or _may_flow(work, supply):
            reasons.append(f"off proven: {name} is in the circuit of {supply}, whose off is not proven.")
        unasked = work.state.alarms.get(f"{supply}/current-without-operation")
        if unasked is not None and (unasked.standing or unasked.latched):
            reasons.append(
                f"nothing unasked: {supply} was on although nothing ran. Switch it off at itself, then reset the alarm "
                f"{unasked.name}."
            )
        if work.supply_setup(supply).control != "remote" and not request.confirmed:
            reasons.append(
                f"own switch off: closing {name} puts {supply} onto its tank. Switch {supply} off at itself, turn its "
                "knobs down, and say so with --confirmed."
            )
    return tuple(reasons)
