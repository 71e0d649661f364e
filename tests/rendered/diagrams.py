"""Diagrams of every transition table in DEVELOPERS.md, from the tables themselves."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from enum import StrEnum
from typing import TypeVar

from supervisor.core import alarms, anodize

BEGIN, END = "<!-- transition tables: begin -->", "<!-- transition tables: end -->"

S = TypeVar("S", bound=StrEnum)
T = TypeVar("T", bound=StrEnum)


def diagrams_text() -> str:
    """Everything between the markers: a diagram for each table."""
    blocks = [
        ("The operation under a supply (`core/anodize.py`).", _diagram(anodize.TABLE, anodize.State.IDLE)),
        ("One alarm (`core/alarms.py`).", _diagram(alarms.TABLE, alarms.AlarmState.NORMAL)),
    ]
    texts = [f"{title}\n\n```mermaid\n{diagram}\n```\n" for title, diagram in blocks]
    return "\n".join(["", *texts])


def with_diagrams(document: str) -> str:
    """The document with what stands between its markers written anew. Raises ValueError where it has none."""
    before, begin, rest = document.partition(BEGIN)
    _, end, after = rest.partition(END)
    if not (begin and end):
        raise ValueError(f"the document has no {BEGIN} and {END}")
    return f"{before}{begin}\n{diagrams_text()}\n{end}{after}"


def _diagram(table: Mapping[S, Mapping[T, S | None]], first: S) -> str:
    """One arrow for each pair of states, with every trigger that leads along it; what leads nowhere has none."""
    lines = ["stateDiagram-v2"]
    lines += [f'    state "{state}" as {_id(state)}' for state in table]
    lines.append(f"    [*] --> {_id(first)}")
    lines += [f"    {_id(state)} --> {_id(after)}: {told}" for state, after, told in _arrows(table)]
    return "\n".join(lines)


def _arrows(table: Mapping[S, Mapping[T, S | None]]) -> Iterator[tuple[S, S, str]]:
    for state, row in table.items():
        along: dict[S, list[str]] = {}
        for trigger, after in row.items():
            if after is not None and after is not state:
                along.setdefault(after, []).append(trigger)
        yield from ((state, after, " or ".join(triggers)) for after, triggers in along.items())


def _id(state: StrEnum) -> str:
    return re.sub(r"[^a-z]+", "_", state)
