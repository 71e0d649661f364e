"""What several tests begin with is played once: a bench takes up where another, alike to it, stood after the same.

A line decides the same again from the same state, and its states are frozen: one serves every test. What a test changed
itself makes another bench of it, and whatever it gives its line by hand ends the taking up. Who changes the core under
a test gives it an empty `STOOD`.
"""

from __future__ import annotations

from collections.abc import Callable
from copy import copy
from dataclasses import dataclass
from functools import wraps
from typing import TYPE_CHECKING, Concatenate, ParamSpec, TypeVar, cast

from supervisor.core.line import Line
from supervisor.core.state import LineState
from tests.core.plain import Device

if TYPE_CHECKING:
    from tests.core.kit import Bench

Given = ParamSpec("Given")
Result = TypeVar("Result")
Kind = TypeVar("Kind", bound="Bench")


@dataclass(frozen=True, slots=True)
class Stood:
    """How a bench stood afterwards, and what the method returned; `began` is kept for its identity, which names it."""

    began: LineState
    line: Line
    fields: dict[str, object]
    returned: object


STOOD: dict[tuple[object, ...], Stood] = {}
"""By what was played, on which kind of bench, from which state, and all that a test may have changed on it."""

OWN = frozenset({"line", "setup", "state", "stood", "actions"})
"""What the key names otherwise: a line by its state, the actions by their number."""


_ITSELF = object()
"""Stands for the bench in what a method returned."""


def once(play: Callable[Concatenate[Kind, Given], Result]) -> Callable[Concatenate[Kind, Given], Result]:
    """Let a method of a bench be played once from one state."""

    @wraps(play)
    def played(bench: Kind, /, *given: Given.args, **named: Given.kwargs) -> Result:
        line, began = bench.line, bench.line.state
        fresh = bench.state is None and not line._wakes
        if type(line) is not Line or line.setup is not bench.setup or not (fresh or began is bench.stood):
            return play(bench, *given, **named)
        changed = [(name, value) for name, value in vars(bench).items() if name not in OWN]
        where = "" if fresh else id(began)
        key = (play, type(bench), where, id(bench.setup), len(bench.actions), repr((given, named, changed)))
        stood = STOOD.get(key)
        if stood is None:
            returned = play(bench, *given, **named)
            fields = {name: _own(value) for name, value in vars(bench).items()}
            STOOD[key] = Stood(began, _again(bench.line), fields, _ITSELF if returned is bench else returned)
        else:
            vars(bench).update({name: _own(value) for name, value in stood.fields.items()})
            bench.line = _again(stood.line)
            returned = cast(Result, bench if stood.returned is _ITSELF else stood.returned)
        bench.stood = bench.line.state
        return returned

    return played


def _again(line: Line) -> Line:
    """The same line once more: a test that reaches into its wakes changes no other's."""
    same = copy(line)
    same._wakes = dict(line._wakes)
    return same


def _own(value: object) -> object:
    """A copy of what a test may change in place."""
    if isinstance(value, dict):
        return {name: _own(of) for name, of in value.items()}
    return copy(value) if isinstance(value, list | set | Device) else value
