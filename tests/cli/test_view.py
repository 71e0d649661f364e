"""The view: a picture on a terminal, plain lines elsewhere: at each change, and every couple of seconds besides."""

from __future__ import annotations

import os
import pty
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from io import StringIO
from pathlib import Path
from typing import TextIO

import pytest

from supervisor.cli.view import LINE_EVERY_S, Lines, Picture, view_for
from supervisor.core.alarms import AlarmState
from tests.cli.states import alarm, contact, running, with_alarms, with_switches


class Told:
    """Plain lines on a clock that is set by hand."""

    def __init__(self) -> None:
        self.now_s = 0.0
        self.out = StringIO()
        self.view = Lines(self.out, now=lambda: self.now_s)

    def lines(self) -> list[str]:
        """What was written since the last look."""
        text = self.out.getvalue()
        self.out.seek(0)
        self.out.truncate()
        return text.splitlines()


@pytest.fixture
def told() -> Told:
    return Told()


def test_nothing_is_written_twice_within_the_interval(told: Told) -> None:
    told.view.show(running())
    told.now_s = LINE_EVERY_S * 0.9
    told.view.show(running(current_a=1.9))
    assert len(told.lines()) == 1


def test_a_line_comes_again_after_the_interval(told: Told) -> None:
    told.view.show(running())
    told.now_s = LINE_EVERY_S
    told.view.show(running())
    assert len(told.lines()) == 2


def test_a_change_of_state_is_written_at_once(told: Told) -> None:
    told.view.show(running())
    told.view.show(running(state="stopping", wanted_on=False))
    told.view.show(running(state="complete", wanted_on=False, off_proven=True))
    assert [line.split(",")[0] for line in told.lines()] == ["main: running", "main: stopping", "main: complete"]


def test_a_change_of_what_is_waited_for_is_written_at_once(told: Told) -> None:
    status = with_switches()
    told.view.show(status)
    assert "waits for" in told.lines()[0]
    status["supplies"]["main"]["waits_for_hands"] = False
    told.view.show(status)
    (line,) = told.lines()
    assert line.startswith("main: running")
    assert "waits for" not in line


def test_switches_and_contacts_are_written_once_and_then_only_what_changed_of_them(told: Told) -> None:
    status = with_switches()
    told.view.show(status)
    assert [line.split(":")[0] for line in told.lines()] == ["main", "exercising fan"]
    told.now_s = LINE_EVERY_S
    told.view.show(status)
    assert [line.split(":")[0] for line in told.lines()] == ["main"]
    status["contacts"]["level"] = contact("level", closed=True)
    told.view.show(status)
    assert told.lines() == ["contacts: lid open, level enough, air --- (reading no answer), shut closed"]
    told.view.show(status | {"exercise": None})
    assert told.lines() == ["exercising fan: over"]


def test_a_head_is_written_in_full_and_its_consequences_are_named_until_they_stand_by_themselves(told: Told) -> None:
    told.view.show(running())
    told.lines()
    head, brought = alarm("a/head"), alarm("b/brought", under="a/head")
    told.view.show(with_alarms(head, brought))
    first, second = told.lines()
    assert "What to do about a/head" in first
    assert second == "alarm b/brought: unacknowledged, a consequence of a/head"
    told.view.show(with_alarms(brought | {"under": ""}))
    freed, over = told.lines()
    assert "What to do about b/brought" in freed
    assert over == "alarm a/head: over"


def test_a_consequence_that_is_freed_is_written_in_full_even_where_its_cause_is_gone(told: Told) -> None:
    brought = alarm("b/brought", active=False, under="a/head")
    told.view.show(with_alarms(alarm("a/head"), brought))
    told.lines()
    told.view.show(with_alarms(brought | {"under": ""}))
    assert "What to do about b/brought" in told.lines()[0]


def test_what_is_suppressed_by_design_is_not_written(told: Told) -> None:
    told.view.show(running())
    told.lines()
    told.view.show(with_alarms(alarm("a/1", active=False, state=AlarmState.SUPPRESSED)))
    told.view.show(running())
    assert told.lines() == []


def test_each_change_of_an_alarm_is_written_once(told: Told) -> None:
    told.view.show(running())
    told.lines()
    for _ in range(2):
        told.view.show(with_alarms(alarm("acid/bath-high")))
    for _ in range(2):
        told.view.show(with_alarms(alarm("acid/bath-high", active=False)))
    told.view.show(running())
    begun, gone, over = told.lines()
    assert "What to do about acid/bath-high" in begun
    assert "its cause is gone" in gone
    assert over == "alarm acid/bath-high: over"


def test_after_a_gap_states_and_alarms_are_told_anew(told: Told) -> None:
    status = with_alarms(alarm("acid/bath-high"))
    told.view.show(status)
    before = told.lines()
    told.view.forget()
    told.view.show(status)
    assert told.lines() == before


def test_a_file_gets_plain_lines(tmp_path: Path) -> None:
    with (tmp_path / "out").open("w", encoding="utf-8") as out:
        assert isinstance(view_for(out), Lines)


@pytest.fixture
def _terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """What a terminal of 100 columns and 32 rows says of itself."""
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "100")
    monkeypatch.setenv("LINES", "32")


@contextmanager
def a_terminal(encoding: str = "utf-8") -> Iterator[tuple[TextIO, list[bytes]]]:
    """Yield a terminal to write to, and what reached its far side: complete once the terminal is closed."""
    far, near = pty.openpty()
    reached: list[bytes] = []

    def read() -> None:
        with suppress(OSError):  # the near side is closed
            while True:
                reached.append(os.read(far, 65536))

    reader = threading.Thread(target=read)
    reader.start()
    try:
        with os.fdopen(near, "w", encoding=encoding, errors="replace") as out:
            yield out, reached
    finally:
        reader.join()
        os.close(far)


def shown_on_a_terminal(*, encoding: str = "utf-8") -> str:
    """Show one state on a terminal and return all that reached it."""
    with a_terminal(encoding) as (out, reached), view_for(out, "An invented workshop") as view:
        view.show(running())
        view.say("A word.")
    return b"".join(reached).decode(encoding)


@pytest.mark.usefixtures("_terminal")
def test_a_terminal_gets_the_picture(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("NO_COLOR", raising=False)
    shown = shown_on_a_terminal()
    assert "An invented workshop" in shown
    assert "█" in shown
    assert "A word." in shown
    assert "\x1b[36m" in shown


@pytest.mark.usefixtures("_terminal")
def test_no_color_is_obeyed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    shown = shown_on_a_terminal()
    assert "█" in shown
    assert not any(f"[{color}m" in shown or f";{color}m" in shown for color in (*range(30, 50), *range(90, 108)))


@pytest.mark.usefixtures("_terminal")
@pytest.mark.parametrize(("name", "value"), [("TERM", "dumb"), ("COLUMNS", "40"), ("LINES", "10")])
def test_a_terminal_that_cannot_hold_the_picture_gets_plain_lines(
    monkeypatch: pytest.MonkeyPatch, name: str, value: str
) -> None:
    monkeypatch.setenv(name, value)
    assert "main: running, output on" in shown_on_a_terminal()


@pytest.mark.usefixtures("_terminal")
def test_a_terminal_without_block_signs_gets_plain_lines() -> None:
    assert "main: running, output on" in shown_on_a_terminal(encoding="latin-1")


@pytest.mark.usefixtures("_terminal")
def test_after_a_gap_the_old_picture_is_gone() -> None:
    with a_terminal() as (out, reached), view_for(out) as view:
        assert isinstance(view, Picture)
        view.show(running())
        view.forget()
        view.say("Nobody watches.")
    before, _, after = b"".join(reached).decode().partition("no alarms")
    assert "RUNNING" in before
    assert "Nobody watches." in after
    assert "RUNNING" not in after
