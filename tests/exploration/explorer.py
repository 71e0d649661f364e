"""Walk a line from its start through everything that can happen to it, until nothing new comes."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Hashable, Iterator
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
        states: the first state of each kind. others: of each kind another one, come to in another way.
        happened: all that meant anything anywhere. transitions: how many there were.
        closed: unless it was broken off at a limit. seconds: processor time.
    """

    states: dict[Key, Node]
    others: dict[Key, Node] = field(default_factory=dict)
    happened: set[str] = field(default_factory=set)
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
    found = Explored({part.key(_moment(part, first)): first})
    waiting = deque(found.states.values())
    while waiting:
        if most is not None and len(found.states) >= most:
            found.closed = False
            break
        waiting.extend(_after(part, line, waiting.popleft(), found))
    found.seconds = time.process_time() - began_s
    return found


def take(line: Line, event: Event) -> None:
    """Step a line and hold it to the rules."""
    before = line.state
    step = line.step(event)
    hold(Seen(line.setup, before, event, step.actions, line.state, step.wake))


def _begin(part: Part, line: Line) -> Node:
    at = moment(part.setup, line.state, FIRST_S, 0).at
    take(line, Started(at, "boot", "1", "hash", watch_only=False))
    return Node(line.state, line._wakes, FIRST_S, None, "")


def _moment(part: Part, node: Node) -> Moment:
    return moment(part.setup, node.state, node.process_s, 0)


def _after(part: Part, line: Line, node: Node, found: Explored) -> Iterator[Node]:
    """Let everything happen to one state; return what is new."""
    for name in part.happenings:
        new = _go(part, line, node, name, found.transitions)
        if new is None:
            continue
        found.transitions += 1
        found.happened.add(name)
        seen = part.key(_moment(part, new))
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
    line.state = before
    # A timer that was moved in an alarm is one of which the line has asked to be woken at another moment.
    line._wakes = node.wakes if before is node.state else {k: v for k, v in node.wakes.items() if k != "alarms"}
    try:
        for event in events:
            take(line, event)
    except AssertionError as error:
        error.add_note(" > ".join([*node.path(), name]))
        raise
    return Node(line.state, line._wakes, process_s, node, name)


def unknown(part: Part, found: Explored, every: int = 1) -> list[str]:
    """What a second state of a kind leads to that the first ones of all kinds never did; none where all is explored.

    A kind stands for many states, of which the exploration goes on from the first. Of every so many kinds that were
    come to in two ways another one is taken here, and held to the rules like the first.
    """
    line, told = Line(part.setup), []
    for other in list(found.others.values())[::every]:
        for name in part.happenings:
            new = _go(part, line, other, name, -1)
            if new is not None and part.key(_moment(part, new)) not in found.states:
                told.append(" > ".join(new.path()))
    return told
