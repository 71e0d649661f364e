"""What people and programs see of a probe that watches: a table in its place, plain lines, or an object a line."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from types import TracebackType
from typing import Protocol, Self, TextIO

from rich.console import Console
from rich.live import Live as RichLive
from rich.table import Table
from rich.text import Text

from supervisor.cli.probe_table import VERSION, columns, hexadecimal
from supervisor.cli.words import NOTHING

ALL_EVERY_S = 5.0
"""Wire time between two tellings of all channels where lines are written; what changes is told at once."""

OBJECT_EVERY_S = 1.0

_LEAST_COLUMNS = 60
_HEADS = ("channel", "value", "reading", "age", "registers")


@dataclass(frozen=True, slots=True)
class Seen:
    """One channel as it stands now.

    Attributes:
        value: in `unit`; None unless the last reading was good. word: of a contact or state. shown: value for people.
        quality: of the last reading, in words.
        age_s: since the last good reading, s; None where there was none yet.
        registers: as on the wire, of the last reading.
    """

    channel: str
    device: str
    value: float | None
    unit: str
    word: str | None
    shown: str
    quality: str
    age_s: float | None
    registers: tuple[int, ...]

    @property
    def cells(self) -> tuple[str, ...]:
        """It as columns."""
        return self.channel, self.shown or NOTHING, self.quality, self.age, hexadecimal(self.registers)

    @property
    def age(self) -> str:
        """Its age for people."""
        return NOTHING if self.age_s is None else f"{self.age_s:.1f} s"

    @property
    def state(self) -> tuple[str, str | None]:
        """What of it is told at once where it changes."""
        return self.quality, self.word


class Live(Protocol):
    """Whatever shows channels. It is a context manager."""

    def show(self, rows: Sequence[Seen]) -> None:
        """Show how all of them stand."""

    def __enter__(self) -> Self:
        """Begin."""

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End; what was shown last stays."""


def live_for(out: TextIO, title: str, *, as_json: bool) -> Live:
    """Return what suits where the words go; `title` heads the table."""
    if as_json:
        return Lines(out, OBJECT_EVERY_S, _as_object)
    console = Console(file=out)
    if out.isatty() and not console.is_dumb_terminal and console.width >= _LEAST_COLUMNS:
        return InPlace(console, title)
    return Lines(out, ALL_EVERY_S, _as_lines)


class InPlace:
    """A table that stays in its place. NO_COLOR is obeyed by the library: what matters is also told in words."""

    def __init__(self, console: Console, title: str) -> None:
        self._title = title
        self._live = RichLive(console=console, auto_refresh=False, redirect_stdout=False, redirect_stderr=False)

    def show(self, rows: Sequence[Seen]) -> None:
        """Draw it anew."""
        table = Table(title=f"line {self._title}, only read; Ctrl-C ends", title_justify="left", box=None)
        for head in _HEADS:
            table.add_column(head, justify="right" if head in {"value", "age"} else "left", no_wrap=True)
        for row in rows:
            style = "" if row.quality == "good" else "bold red"
            table.add_row(*(Text(cell, style) for cell in row.cells))
        self._live.update(table, refresh=True)

    def __enter__(self) -> Self:
        self._live.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._live.stop()


class Lines:
    """Lines: of all channels every so often, and at once of those whose quality or word changes."""

    def __init__(
        self,
        out: TextIO,
        every_s: float,
        write: Callable[[Sequence[Seen], Sequence[Seen]], str],
        now: Callable[[], float] = time.monotonic,
    ) -> None:
        """`write` makes the text of all rows and of those that changed."""
        self._out = out
        self._every_s = every_s
        self._write = write
        self._now = now
        self._told_s = float("-inf")
        self._states: dict[str, tuple[str, str | None]] = {}

    def show(self, rows: Sequence[Seen]) -> None:
        """Write what is due."""
        due = self._now() - self._told_s >= self._every_s
        changed = [row for row in rows if due or self._states.get(row.channel) != row.state]
        if changed:
            self._told_s = self._now() if due else self._told_s
            self._states = {row.channel: row.state for row in rows}
            self._out.write(f"{self._write(rows, changed)}\n")
            self._out.flush()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Nothing is held."""


def _as_lines(rows: Sequence[Seen], changed: Sequence[Seen]) -> str:
    """Those that changed, in the columns of all of them."""
    lines = columns([_HEADS, *(row.cells for row in rows)], {1, 3})
    told = {row.channel for row in changed}
    of_changed = [line for line, row in zip(lines[1:], rows, strict=True) if row.channel in told]
    return "\n".join([*(lines[:1] if len(changed) == len(rows) else ()), *of_changed])


def _as_object(rows: Sequence[Seen], changed: Sequence[Seen]) -> str:  # noqa: ARG001 - a program is told all
    channels = [
        {key: value for key, value in asdict(row).items() if key != "shown"}
        | {"age_s": None if row.age_s is None else round(row.age_s, 3)}
        for row in rows
    ]
    return json.dumps({"version": VERSION, "channels": channels})
