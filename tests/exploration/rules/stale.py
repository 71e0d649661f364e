"""R4 and R10: what counts for nothing does nothing, and the wall clock counts for nothing."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from supervisor.core.actions import Answer
from supervisor.core.events import Recorded, Request, Switched, Woken
from supervisor.core.line import Line
from supervisor.core.state import LineState
from tests.exploration.seen import Seen

Found = Iterator[str]

# -- R4


def what_counts_for_nothing_does_nothing(seen: Seen) -> Found:
    """A request that is not fresh does no more than a look at the clock, a record nobody waits for nothing at all."""
    event = seen.event
    if isinstance(event, Recorded) and not _is_awaited(seen, event):
        if seen.actions or seen.after != seen.before:
            yield "the record of an intent that nobody waits for did something"
    elif isinstance(event, Request) and not seen.asks_afresh:
        twin = Line(seen.setup, seen.before)
        looked = twin.step(Woken(event.at)).actions
        if tuple(action for action in seen.actions if not isinstance(action, Answer)) != looked:
            yield "a request that counts for nothing did something"
        elif twin.state != seen.after or any(isinstance(action, Answer) and action.ok for action in seen.actions):
            yield "a request that counts for nothing was taken"


def _is_awaited(seen: Seen, event: Recorded) -> bool:
    pending = (supply.pending for supply in seen.before.supplies.values())
    return any(one is not None and one.intent == event.intent for one in pending)


def a_state_is_confirmed_by_its_own_word_alone(seen: Seen) -> Found:
    """A word on a command from before the last change, the other way or of a failure says nothing."""
    event = seen.event
    for name, now in seen.after.outputs.items():
        was = seen.before.outputs.get(name)
        if now.confirmed_s is None or (was is not None and was.confirmed_s == now.confirmed_s):
            continue
        if not isinstance(event, Switched) or (event.output, event.on, event.ok) != (name, now.on, True):
            yield f"{name} counts as confirmed by something else than its device's word"
        elif was is None or event.number < was.first:
            yield f"{name} counts as confirmed by a word on an earlier command"


# -- R10


def the_wall_clock_moves_nothing(seen: Seen) -> Found:
    """The same step on another date: the same is done and remembered, but for the dates that people are shown."""
    other = replace(seen.event, at=replace(seen.event.at, wall_s=seen.event.at.wall_s - 40 * 86400.0))
    twin = Line(seen.setup, seen.before)
    if twin.step(other).actions != seen.actions:
        yield "something else is done on another date"
    if undated(twin.state) != undated(seen.after):
        yield "something else is remembered on another date"


def undated(state: LineState) -> LineState:
    """A state without the dates that only people read."""
    alarms = {name: replace(alarm, since_wall_s=0.0) for name, alarm in state.alarms.items()}
    log = tuple(replace(happening, wall_s=0.0) for happening in state.alarm_log)
    return replace(state, alarms=alarms, alarm_log=log)
