"""Outputs that are no supply's: what each was told, whether it did it, and its safe state sent until it has (R3)."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from supervisor.core.events import Switched

if TYPE_CHECKING:
    from supervisor.core.work import Work

SAFE_WITHIN_S = 5.0
"""Wire time in which an output must have confirmed its safe state: a board that was reset by the opening of its port
takes some seconds before it hears anything."""


@dataclass(frozen=True, slots=True)
class SwitchState:
    """One output.

    Attributes:
        on: what it was told last. number: of that action; 0 before the first. first: of the first that told it so.
        confirmed_s: process time at which its device confirmed it; None while it has not.
        asked_wire_s: wire time at which it was first told so. sent_wire_s: of the last sending.
        tried: whether a person exercised it in this run: then its safe state is seen to even while only watching.
    """

    on: bool
    number: int = 0
    confirmed_s: float | None = None
    asked_wire_s: float = 0.0
    sent_wire_s: float = 0.0
    tried: bool = False
    first: int = 0


def command(work: Work, name: str, *, on: bool) -> None:
    """Tell an output; the same again keeps what is known of it."""
    before, wire_s = work.state.outputs[name], work.at.wire_s
    number = work.number()
    if before.number and before.on is on:
        after = replace(before, number=number, sent_wire_s=wire_s)
    else:
        after = SwitchState(on, number, None, wire_s, wire_s, before.tried, number)
    work.put_switch(name, after)
    work.send_switch(name, number, on=on)


def make_safe(work: Work, name: str) -> None:
    """Tell an output its safe state."""
    command(work, name, on=work.setup.outputs[name].safe_on)


def switched(work: Work, event: Switched) -> None:
    """Take the fate of a command. A word on one from before the last change says nothing of what came after (R4)."""
    state = work.state.outputs.get(event.output)
    if state is None or not event.ok or event.on is not state.on or state.confirmed_s is not None:
        return
    if event.number < state.first:
        return
    work.put_switch(event.output, replace(state, confirmed_s=event.t_received_s))


def doubt(work: Work, name: str) -> None:
    """What was confirmed is history: the device began anew, and its outputs rest. Their safe state is sent again.

    Not by a supervisor that only watches: to it the output is as one that was never told anything. Either way no word
    on what it was told before counts any more.
    """
    state = work.state.outputs[name]
    work.put_switch(name, replace(state, number=0, confirmed_s=None, first=work.state.actions + 1))
    if work.state.watch_only and not state.tried:
        return
    make_safe(work, name)


def keep_telling(work: Work, name: str) -> list[float]:
    """Send again, now and then, what is not the safe state and not confirmed; the wire time at which that is due next.

    For what is better on than off once it is wanted, such as a fan. A heater's on is never repeated.
    """
    state = work.state.outputs[name]
    if state.on is work.setup.outputs[name].safe_on or state.confirmed_s is not None:
        return []
    if work.at.wire_s - state.sent_wire_s >= SAFE_WITHIN_S:
        command(work, name, on=state.on)
    return [work.state.outputs[name].sent_wire_s + SAFE_WITHIN_S]


def settle(work: Work, name: str) -> None:
    """Send a safe state again that is not confirmed, and tell of one that stays so."""
    state, setup, wire_s = work.state.outputs[name], work.setup.outputs[name], work.at.wire_s
    waits = state.on is setup.safe_on and state.confirmed_s is None and state.number > 0
    if waits and wire_s - state.sent_wire_s >= setup.resend_s and (not work.state.watch_only or state.tried):
        make_safe(work, name)
    work.alarm(name, failed_cause(work, name), waits and wire_s - state.asked_wire_s >= SAFE_WITHIN_S)


def failed_cause(work: Work, name: str) -> str:
    """The alarm of an output whose safe state is not confirmed: what can do harm is told with more weight."""
    return "urgent-switch-failed" if work.setup.outputs[name].role in {"contactor", "heater"} else "switch-failed"


def wakes(work: Work, name: str) -> list[float]:
    """Wire times at which this output must be looked at again."""
    state, setup = work.state.outputs[name], work.setup.outputs[name]
    if state.on is not setup.safe_on or state.confirmed_s is not None or state.number == 0:
        return []
    again = [] if work.state.watch_only and not state.tried else [state.sent_wire_s + setup.resend_s]
    return [*again, state.asked_wire_s + SAFE_WITHIN_S]
