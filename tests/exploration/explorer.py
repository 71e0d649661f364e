"""Walk a line from its start through everything that can happen to it, until nothing new comes."""

from __future__ import annotations

import gc
import time
from collections import deque
from collections.abc import Hashable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from supervisor.core.events import Event, Started, Wake
from supervisor.core.line import Line
from supervisor.core.setup import LineSetup
from supervisor.core.state import LineState
from tests.exploration.happenings import Happening
from tests.exploration.moment import STEP_S, Moment, moment
from tests.exploration.rules import hold
from tests.exploration.seen import Seen
from tests.exploration.sight import Look

FIRST_S = 100.0
Key = tuple[Hashable, ...]


@dataclass(frozen=True, slots=True)
class Part:
    """A line, all that can happen to it by name, and what its states are told apart by."""

    name: str
    setup: LineSetup
    happenings: dict[str, Happening]
    looks: tuple[Look, ...]
    prelude: tuple[str, ...] = ()

    def key(self, moment: Moment) -> Key:
        return tuple(look(moment) for look in self.looks)


@dataclass(slots=True)
class Node:
    """A state that was come to, and how."""

    state: LineState
    wakes: dict[str, Wake]
    process_s: float
    before: Node | None
    by: str

    def path(self) -> list[str]:
        found, node = [], self
        while node.before is not None:
            found.append(node.by)
            node = node.before
        return found[::-1]


@dataclass(slots=True)
class Explored:
    """What came of it.

    Attributes:
        states: the first state of each kind. others: of some kinds another one, come to in another way.
        transitions: how many there were. closed: unless it was broken off at a limit. seconds: processor time.
    """

    states: dict[Key, Node]
    others: dict[Key, Node] = field(default_factory=dict)
    transitions: int = 0
    closed: bool = True
    seconds: float = 0.0


def explore(part: Part, most: int | None = None) -> Explored:
    """Visit every state of a part once, or the `most` nearest. Raises BrokenRuleError where a step breaks a rule."""
    began_s = time.process_time()
    line = Line(part.setup)
    first = _begin(part, line)
    for name in part.prelude:
        came = _go(part, line, first, name, 0)
        assert came is not None, name
        first = came
    found = Explored({part.key(_moment(part, first, 0)): first})
    waiting = deque(found.states.values())
    with _no_collection():
        while waiting:
            if most is not None and len(found.states) >= most:
                found.closed = False
                break
            for node in _after(part, line, waiting.popleft(), found):
                waiting.append(node)
    found.seconds = time.process_time() - began_s
    return found


@contextmanager
def _no_collection() -> Iterator[None]:
    """States are kept for good: looking for rubbish among them takes a third of the time and finds none."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()


def take(line: Line, event: Event) -> None:
    """Step a line and hold it to the rules."""
    before = line.state
    step = line.step(event)
    hold(Seen(line.setup, before, event, step.actions, line.state, step.wake))


def _begin(part: Part, line: Line) -> Node:
    at = moment(part.setup, line.state, FIRST_S, 0).at
    take(line, Started(at, "boot", "1", "hash", watch_only=False))
    return Node(line.state, line._wakes, FIRST_S, None, "")


def _moment(part: Part, node: Node, count: int) -> Moment:
    return moment(part.setup, node.state, node.process_s, count)


def _after(part: Part, line: Line, node: Node, found: Explored) -> Iterator[Node]:
    """Let everything happen to one state; return what is new."""
    for name in part.happenings:
        new = _go(part, line, node, name, found.transitions)
        if new is None:
            continue
        found.transitions += 1
        seen = part.key(_moment(part, new, 0))
        if seen not in found.states:
            found.states[seen] = new
            yield new
        elif seen not in found.others and new.state is not node.state:
            found.others[seen] = new


def _go(part: Part, line: Line, node: Node, name: str, count: int) -> Node | None:
    """Let one thing happen, if it means anything there."""
    process_s = node.process_s + STEP_S
    made = part.happenings[name](moment(part.setup, node.state, process_s, count))
    if made is None:
        return None
    before, *events = made
    line.state, line._wakes = before, node.wakes
    try:
        for event in events:
            take(line, event)
    except AssertionError as error:
        error.add_note(" > ".join([*node.path(), name]))
        raise
    return Node(line.state, line._wakes, process_s, node, name)


def differing(part: Part, found: Explored, every: int = 1) -> list[str]:
    """Where two states that the part cannot tell apart do not come to the same: then it tells too few of them apart.

    Every so many of the kinds that were come to in two ways are looked at.
    """
    line, told = Line(part.setup), []
    for kind, other in list(found.others.items())[::every]:
        first = found.states[kind]
        for name in part.happenings:
            if _comes_to(part, line, first, name, kind) != _comes_to(part, line, other, name, kind):
                told.append(f"{name} after {' > '.join(first.path())} and after {' > '.join(other.path())}")
    return told


def _comes_to(part: Part, line: Line, node: Node, name: str, kind: Key) -> Key:
    new = _go(part, line, node, name, -1)
    return kind if new is None else part.key(_moment(part, new, 0))
