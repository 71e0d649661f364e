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


REFRESHED_S = 30.0
"""Wire time after which a safe state is told again: a relay board that was without power for a moment rests, says
nothing of it, and may have let a fan go."""


@dataclass(frozen=True, slots=True)
class SwitchState:
    """One output.

    Attributes:
        on: what it was told last. number: of that action; 0 before the first. first: of the first that told it so.
        confirmed_s: process time at which its device confirmed it; None while it has not.
        asked_wire_s: wire time at which it was first told so. sent_wire_s: of the last sending.
        tried: whether a person exercised it in this run: then its safe state is seen to even while only watching.
        silent_wire_s: wire time of the first command after the last one that was confirmed.
    """

    on: bool
    number: int = 0
    confirmed_s: float | None = None
    asked_wire_s: float = 0.0
    sent_wire_s: float = 0.0
    tried: bool = False
    first: int = 0
    silent_wire_s: float = 0.0


def command(work: Work, name: str, *, on: bool, ahead: bool = True) -> None:
    """Tell an output; the same again keeps what is known of it.

    Its safe state goes ahead of all but a supply's off, unless it is only the dark part of a pattern or has been
    confirmed before.
    """
    before, wire_s = work.state.outputs[name], work.at.wire_s
    number = work.number()
    if before.number and before.on is on:
        after = replace(before, number=number, sent_wire_s=wire_s)
    else:
        silent_s = before.silent_wire_s if before.number and before.confirmed_s is None else wire_s
        after = SwitchState(on, number, None, wire_s, wire_s, before.tried, number, silent_s)
    work.put_switch(name, after)
    work.send_switch(name, number, on=on, safe=ahead and on is work.setup.outputs[name].safe_on)


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
    work.switched(event.output)


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


def keep_telling(work: Work, name: str, *, refreshed: bool = False) -> list[float]:
    """Send again, now and then, what is not the safe state and not confirmed; the wire time at which that is due next.

    For what is better on than off once it is wanted; `refreshed`: even where it is confirmed, such as a fan, but not a
    compressor, which would start again without its rest. A heater's on is never repeated.
    """
    state = work.state.outputs[name]
    if state.on is work.setup.outputs[name].safe_on or (state.confirmed_s is not None and not refreshed):
        return []
    every_s = SAFE_WITHIN_S if state.confirmed_s is None else REFRESHED_S
    if work.at.wire_s - state.sent_wire_s >= every_s:
        command(work, name, on=state.on)
    return [work.state.outputs[name].sent_wire_s + every_s]


def settle(work: Work, name: str) -> None:
    """Send a safe state again that is not confirmed, and tell of one that stays so."""
    state, setup, wire_s = work.state.outputs[name], work.setup.outputs[name], work.at.wire_s
    waits = state.on is setup.safe_on and state.confirmed_s is None and state.number > 0
    due = waits and wire_s - state.sent_wire_s >= setup.resend_s and not annunciates(work, name)
    if due and (not work.state.watch_only or state.tried):
        make_safe(work, name)
    if _refreshes(work, name) and wire_s - state.sent_wire_s >= REFRESHED_S:
        command(work, name, on=state.on, ahead=False)  # a contactor's opening must not wait for a row of lamps
    work.alarm(name, failed_cause(work, name), failing(work, name))


def _refreshes(work: Work, name: str) -> bool:
    """Whether an output that has confirmed what it was told is told it again now and then.

    A safe state, and a lamp: never what raises energy, which its own control must want anew.
    """
    state, setup = work.state.outputs[name], work.setup.outputs[name]
    harmless = state.on is setup.safe_on or setup.role == "lamp"
    return state.confirmed_s is not None and state.number > 0 and harmless and not work.state.watch_only


def annunciates(work: Work, name: str) -> bool:
    """Whether an output is a lamp or horn that follows the line now: `annunciator` tells it, and tells it again."""
    shows = work.setup.outputs[name].role in {"lamp", "horn"}
    return shows and not work.state.watch_only and not work.state.ending


def failing(work: Work, name: str) -> bool:
    """Whether an output has not confirmed its safe state in time; a lamp or horn, anything it was told.

    What follows alarms is told this and that: did its alarm follow the safe state alone, then that alarm would light
    the lamp, be gone by that, darken the lamp and come again.
    """
    state, setup = work.state.outputs[name], work.setup.outputs[name]
    if state.confirmed_s is not None or state.number == 0:
        return False
    if setup.role in {"lamp", "horn"}:
        return work.at.wire_s >= state.silent_wire_s + SAFE_WITHIN_S
    return state.on is setup.safe_on and work.at.wire_s - state.asked_wire_s >= SAFE_WITHIN_S


def failed_cause(work: Work, name: str) -> str:
    """The alarm of an output whose safe state is not confirmed: what can do harm is told with more weight."""
    return "urgent-switch-failed" if work.setup.outputs[name].role in {"contactor", "heater"} else "switch-failed"


def wakes(work: Work, name: str) -> list[float]:
    """Wire times at which this output must be looked at again; `annunciator` says so of what it tells itself."""
    state, setup = work.state.outputs[name], work.setup.outputs[name]
    if _refreshes(work, name):
        return [state.sent_wire_s + REFRESHED_S]
    waits = state.on is setup.safe_on and state.confirmed_s is None and state.number > 0
    if not waits or annunciates(work, name):
        return []
    again = [] if work.state.watch_only and not state.tried else [state.sent_wire_s + setup.resend_s]
    return [*again, state.asked_wire_s + SAFE_WITHIN_S]
