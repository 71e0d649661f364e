"""The live view: a picture that stays in its place on a terminal, plain lines anywhere else."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable
from types import TracebackType
from typing import Any, Protocol, Self, TextIO

from rich.console import Console
from rich.live import Live
from rich.padding import Padding
from rich.text import Text

from supervisor.cli.picture import LinePicture
from supervisor.cli.words import alarm_text, state_text, switch_texts

LINE_EVERY_S = 2.0
"""Wire time between two plain lines while nothing changes."""

_SENTENCES = 2
_MARGIN = 2
_LEAST_COLUMNS, _LEAST_ROWS = 72, 24


class View(Protocol):
    """Whatever shows a line to a person. It is a context manager and never waits for one."""

    def show(self, status: dict[str, Any]) -> None:
        """Show the newest state."""

    def say(self, sentence: str) -> None:
        """Tell something that is no part of the state."""

    def forget(self) -> None:
        """Show nothing of the last state any more: nobody knows whether it still holds."""

    def __enter__(self) -> Self:
        """Begin."""

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End; what was shown last stays."""


def view_for(out: TextIO, title: str = "") -> View:
    """Return the view that suits where the words go. `title` heads the picture; default: the line's name."""
    console = Console(file=out)
    encoding = (getattr(out, "encoding", None) or "").lower()
    fits = console.width >= _LEAST_COLUMNS and console.height >= _LEAST_ROWS
    if out.isatty() and not console.is_dumb_terminal and encoding.startswith("utf") and fits:
        return Picture(console, title)
    return Lines(out)


class Picture:
    """The picture on a terminal. NO_COLOR is obeyed by the library: what matters is also told in words."""

    def __init__(self, console: Console, title: str) -> None:
        self._console = console
        self._title = title
        self._said: deque[str] = deque(maxlen=_SENTENCES)
        self._status: dict[str, Any] | None = None
        self._live = Live(console=console, auto_refresh=False, redirect_stdout=False, redirect_stderr=False)

    def show(self, status: dict[str, Any]) -> None:
        """Draw it anew in the same place."""
        self._status = status
        title = self._title or f"line {status['line']}"
        drawn = LinePicture(status, title, tuple(self._said))
        self._live.update(Padding(drawn, (0, _MARGIN)), refresh=True)

    def say(self, sentence: str) -> None:
        """Put it under the picture; before the first picture it stands alone."""
        self._said.append(sentence)
        if self._status is None:
            self._live.update(Padding(Text("\n".join(self._said)), (1, _MARGIN)), refresh=True)
        else:
            self.show(self._status)

    def forget(self) -> None:
        """Take the picture away; what is said from now on stands alone."""
        self._status = None

    def __enter__(self) -> Self:
        self._live.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._live.stop()


class Lines:
    """Plain lines: every couple of seconds how the supplies stand, and at once whatever changed."""

    def __init__(self, out: TextIO, now: Callable[[], float] = time.monotonic) -> None:
        self._out = out
        self._now = now
        self._told_s = float("-inf")
        self._states: list[str] = []
        self._switches: list[str] = []
        self._alarms: dict[str, tuple[str, str]] = {}

    def show(self, status: dict[str, Any]) -> None:
        """Write what is due."""
        states = [
            f"{supply['state']} {supply['off_proven']} {supply['waits_for_hands']}"
            for supply in status["supplies"].values()
        ]
        if states != self._states or self._now() - self._told_s >= LINE_EVERY_S:
            self._states, self._told_s = states, self._now()
            for line in state_text(status):
                self.say(line)
        switches = list(switch_texts(status))
        if switches != self._switches:
            changed = [text for text in switches if text not in self._switches]
            gone = {_kind(text) for text in self._switches} - {_kind(text) for text in switches}
            self._switches = switches
            self.say("; ".join([*changed, *(f"{kind}: over" for kind in sorted(gone))]))
        self._show_alarms(status["alarms"])

    def _show_alarms(self, alarms: list[dict[str, Any]]) -> None:
        now = {alarm["name"]: (alarm["state"], alarm["under"]) for alarm in alarms if alarm_text(alarm, known=True)}
        for alarm in alarms:
            name = alarm["name"]
            if name in now and self._alarms.get(name) != now[name]:
                self.say(alarm_text(alarm, known=name in self._alarms and self._alarms[name][1] == alarm["under"]))
        for name in self._alarms.keys() - now.keys():
            self.say(f"alarm {name}: over")
        self._alarms = now

    def forget(self) -> None:
        """Tell states and alarms anew when there are some again."""
        self._states, self._switches, self._alarms = [], [], {}

    def say(self, sentence: str) -> None:
        """Write it now, so that whoever reads along sees it now."""
        self._out.write(f"{sentence}\n")
        self._out.flush()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Nothing is held."""


def _kind(text: str) -> str:
    """What a text of `switch_texts` is about."""
    return text.partition(":")[0]
