"""Makes the picture in README from a real demo, half way: `python -m supervisor.demo.picture FILE.svg`."""

from __future__ import annotations

import asyncio
import sys
from collections.abc import Iterator
from io import StringIO
from pathlib import Path
from types import TracebackType
from typing import Any, Self
from xml.sax.saxutils import escape, quoteattr

from rich.console import Console
from rich.padding import Padding
from rich.segment import Segment
from rich.style import Style

from supervisor.cli.picture import LinePicture
from supervisor.demo.play import WORKSHOP, play

COLUMNS, ROWS = 84, 18
AT_SHARE = 0.6
"""Of the dose: enough that something is seen, and something left to go."""

_CELL_W, _CELL_H, _FONT = 10, 20, 15.5
_GROUND, _INK = "#14181c", "#e6e8ea"
_COLORS = {"cyan": "#4fb3bf", "red": "#c8372d", "yellow": "#d9a514", "white": "#ffffff", "black": "#000000"}
_FONTS = "ui-monospace, 'DejaVu Sans Mono', 'Liberation Mono', Menlo, Consolas, monospace"

# Drawn, since fonts leave gaps between them: part of the cell (left, top, width, height) and how opaque.
_SHAPES: dict[str, tuple[float, float, float, float, float]] = {
    "█": (0, 0, 1, 1, 1),
    "▀": (0, 0, 1, 0.5, 1),
    "▄": (0, 0.5, 1, 0.5, 1),
    "▒": (0, 0, 1, 1, 0.45),
    "░": (0, 0, 1, 1, 0.3),
    "─": (0, 0.48, 1, 0.06, 1),
    "┃": (0.35, 0, 0.3, 1, 1),
}


class Snapshot:
    """A view that keeps the state at which the dose passed a share of its target."""

    def __init__(self, share: float) -> None:
        self.status: dict[str, Any] | None = None
        self._share = share

    def show(self, status: dict[str, Any]) -> None:
        """Keep it if it is the one."""
        for supply in status["supplies"].values():
            operation = supply["operation"]
            if operation and self.status is None:
                done = operation["charge_c"]["best"] / operation["target"]["charge_c"]
                self.status = status if done >= self._share else None

    def say(self, sentence: str) -> None:
        """Nobody reads it."""

    def forget(self) -> None:
        """What was kept is kept."""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Nothing is held."""


def svg(status: dict[str, Any], title: str) -> str:
    """Draw a line's state as the terminal shows it; the text needs no font but one of equal widths."""
    console = Console(file=StringIO(), width=COLUMNS, height=ROWS, force_terminal=True, color_system="truecolor")
    shown = Padding(LinePicture(status, title), (0, 2, 1, 2))
    lines = console.render_lines(shown, console.options, pad=True)
    width, height = COLUMNS * _CELL_W, len(lines) * _CELL_H
    parts = [part for row, line in enumerate(lines) for part in _line(row, line)]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" role="img"'
        f' font-family={quoteattr(_FONTS)} font-size="{_FONT}">\n<title>{escape(title)}</title>\n'
        f'<rect width="{width}" height="{height}" rx="10" fill="{_GROUND}"/>\n' + "\n".join(parts) + "\n</svg>\n"
    )


def _line(row: int, line: list[Segment]) -> Iterator[str]:
    column = 0
    for segment in line:
        style = segment.style or Style()
        yield from _ground(row, column, segment, style)
        for text in _runs(segment.text):
            if text[0] in _SHAPES:
                yield _shape(row, column, text, style)
            elif text.strip():
                yield _text(row, column, text, style)
            column += len(text)


def _runs(text: str) -> Iterator[str]:
    """Take a text apart into runs of one drawn sign each and what is written between them."""
    run = ""
    for sign in text:
        if run and (sign in _SHAPES or run[0] in _SHAPES) and sign != run[0]:
            yield run
            run = ""
        run += sign
    if run:
        yield run


def _ground(row: int, column: int, segment: Segment, style: Style) -> Iterator[str]:
    if style.bgcolor is not None:
        box = _box(row, column, len(segment.text), (0, 0, 1, 1))
        yield f'<rect {box} fill="{_COLORS[style.bgcolor.name]}"/>'


def _shape(row: int, column: int, text: str, style: Style) -> str:
    *part, opacity = _SHAPES[text[0]]
    if style.dim:
        opacity *= 0.5
    left, top, width, height = part
    drawn = _box(row, column, len(text) if width == 1 else 1, (left, top, width, height))
    return f'<rect {drawn} fill="{_ink(style)}" fill-opacity="{opacity:.2f}" shape-rendering="crispEdges"/>'


def _box(row: int, column: int, cells: int, part: tuple[float, float, float, float]) -> str:
    left, top, width, height = part
    x, y = (column + left) * _CELL_W, (row + top) * _CELL_H
    return f'x="{x:g}" y="{y:g}" width="{cells * width * _CELL_W:g}" height="{height * _CELL_H:g}"'


def _text(row: int, column: int, text: str, style: Style) -> str:
    stripped = text.strip()
    column += len(text) - len(text.lstrip())
    weight = ' font-weight="700"' if style.bold else ""
    faint = ' fill-opacity="0.6"' if style.dim else ""
    return (
        f'<text x="{column * _CELL_W}" y="{row * _CELL_H + 15}" textLength="{len(stripped) * _CELL_W}"'
        f' fill="{_ink(style)}"{weight}{faint} xml:space="preserve">{escape(stripped)}</text>'
    )


def _ink(style: Style) -> str:
    return _COLORS[style.color.name] if style.color is not None else _INK


def main(path: Path) -> int:
    """Run a demo and write its picture; 0 when the demo went well."""
    snapshot = Snapshot(AT_SHARE)
    account = asyncio.run(play(None, snapshot))
    assert snapshot.status is not None, "a demo passes every share of its dose"
    path.write_text(svg(snapshot.status, WORKSHOP), encoding="utf-8")
    return 1 if account.problems else 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
