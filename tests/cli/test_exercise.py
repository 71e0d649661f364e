"""`ampminder exercise` at a terminal and without one, the simulated relay telling what truly moved and for how long."""

from __future__ import annotations

import json
import os
import pty
import select
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import suppress
from typing import Self

import pytest

from supervisor.core.exercise import LONGEST_S
from supervisor.records.exercised import Exercised, exercised_path, read_exercised
from tests.harness.lines import ROOT, Files, short_folder, write_files
from tests.harness.wire import Running, Simulators, ampminder, service, simulators, until

AWAY_S = 2.0
AT_ONCE_S = 1.0
"""Well below the time after which the supervisor brings an output back by itself, wire s."""

PROGRAM = (
    "import fcntl, sys, termios; fcntl.ioctl(0, termios.TIOCSCTTY, 0); "
    "from supervisor.cli.main import main; sys.exit(main(sys.argv[1:]))"
)
"""The program as a shell would start it, with the terminal as the one that controls it."""


class Terminal:
    """A person's terminal with the program in it."""

    def __init__(self, *arguments: str) -> None:
        self.shown = ""
        self._end, terminal = pty.openpty()
        self.process = subprocess.Popen(
            [sys.executable, "-c", PROGRAM, *arguments],
            stdin=terminal, stdout=terminal, stderr=terminal, start_new_session=True, cwd=ROOT,
        )  # fmt: skip
        os.close(terminal)

    def reads(self, text: str) -> None:
        """Wait until a text is shown."""
        ends_s = time.monotonic() + 5.0
        while text not in self.shown:
            assert time.monotonic() < ends_s, self.shown
            self._read(0.1)
        self.shown = self.shown.partition(text)[2]

    def _read(self, within_s: float) -> None:
        if select.select([self._end], [], [], within_s)[0]:
            with suppress(OSError):  # the program has ended
                self.shown += os.read(self._end, 4096).decode()

    def types(self, keys: str) -> None:
        """Type something."""
        os.write(self._end, keys.encode())

    def ended(self) -> int:
        """Wait for its end; return its exit code."""
        code = self.process.wait(5.0)
        self._read(0.0)
        return code

    def close(self) -> None:
        """Close the window."""
        if self._end >= 0:
            os.close(self._end)
            self._end = -1

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_problem: object) -> None:
        self.close()
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()


@pytest.fixture(scope="module")
def files() -> Iterator[Files]:
    with short_folder() as folder:
        yield write_files(folder, base="knob-supply")


@pytest.fixture(scope="module")
def simulated(files: Files) -> Iterator[Simulators]:
    with simulators(files) as running:
        yield running


@pytest.fixture(scope="module")
def running(files: Files, simulated: Simulators) -> Iterator[Running]:
    """The line with knobs, only watched."""
    with service(files, "--watch-only") as supervisor:
        supervisor.until_proven()
        until(lambda: fan(simulated)[-1:] and fan(simulated)[-1][0], 3.0)
        yield supervisor


def fan(simulated: Simulators) -> list[tuple[bool, float]]:
    """Every true change of the fan, whose safe state is on, and when."""
    changed = [truth for truth in simulated.told("switch") if truth["switch"] == "fan" and truth["changed"]]
    return [(truth["on"], truth["wire_s"]) for truth in changed]


def away_s(simulated: Simulators, before: int) -> float:
    """Wait until the fan is back; for how long it was away, s."""
    until(lambda: len(fan(simulated)) >= before + 2, 3.0)
    (off, off_s), (on, on_s) = fan(simulated)[before:]
    assert (off, on) == (False, True)
    return on_s - off_s


def went(simulated: Simulators, before: int) -> None:
    until(lambda: len(fan(simulated)) > before, 3.0)


def kept(files: Files) -> Exercised:
    return read_exercised(exercised_path(files.folder / "records", "demo"))["fan"]


@pytest.mark.usefixtures("running")
def test_a_person_is_told_what_will_move_lets_go_and_says_what_was_seen(files: Files, simulated: Simulators) -> None:
    before = len(fan(simulated))
    with Terminal("exercise", "fan", "--line", str(files.line)) as terminal:
        terminal.reads("fan: fan, at point k2 of relays. Its safe state is on.")
        terminal.reads("lets go sooner")
        assert len(fan(simulated)) == before
        terminal.types("\n")
        went(simulated, before)
        terminal.types("\n")
        terminal.reads("fan is on again, confirmed by relays.")
        assert away_s(simulated, before) < AT_ONCE_S
        terminal.reads("1, 2 or 3, then Enter: ")
        terminal.types("x\n")
        terminal.reads("1, 2 or 3, then Enter: ")
        terminal.types("1\n")
        terminal.reads("Kept: fan does what its name says.")
        assert terminal.ended() == 0
    assert kept(files).seen == "as named"


@pytest.mark.usefixtures("running")
def test_ctrl_c_lets_go_and_something_else_seen_is_no_good_end(files: Files, simulated: Simulators) -> None:
    before = len(fan(simulated))
    with Terminal("exercise", "fan") as terminal:
        terminal.reads("lets go sooner")
        terminal.types("\n")
        went(simulated, before)
        terminal.types("\x03")
        terminal.reads("1, 2 or 3, then Enter: ")
        assert away_s(simulated, before) < AT_ONCE_S
        terminal.types("2\n")
        terminal.reads("START NO LOAD")
        assert terminal.ended() == 1
    assert kept(files).seen == "something else"
    assert "exercised, and what was seen was something else" in ampminder("check", str(files.line)).stdout


@pytest.mark.usefixtures("running")
def test_what_nobody_lets_go_comes_back_by_itself(simulated: Simulators) -> None:
    before = len(fan(simulated))
    with Terminal("exercise", "fan") as terminal:
        terminal.reads("lets go sooner")
        terminal.types("\n")
        terminal.reads("1, 2 or 3, then Enter: ")
        assert LONGEST_S * 0.8 < away_s(simulated, before) < AWAY_S
        terminal.types("\x03")
        terminal.reads("Nothing is kept")
        assert terminal.ended() == 1


@pytest.mark.usefixtures("running")
@pytest.mark.parametrize("how", ["window closed", "killed"])
def test_a_person_who_is_lost_in_the_middle_has_let_go(how: str, simulated: Simulators) -> None:
    before = len(fan(simulated))
    with Terminal("exercise", "fan") as terminal:
        terminal.reads("lets go sooner")
        terminal.types("\n")
        went(simulated, before)
        if how == "killed":
            terminal.process.send_signal(signal.SIGKILL)
        else:
            terminal.close()
        assert away_s(simulated, before) < AT_ONCE_S
        assert terminal.process.wait(5.0) != 0


@pytest.mark.usefixtures("running")
def test_nothing_is_switched_where_nobody_types_enter_or_there_is_no_terminal(simulated: Simulators) -> None:
    before = len(fan(simulated))
    with Terminal("exercise", "fan") as terminal:
        terminal.reads("lets go sooner")
        terminal.types("\x04")
        terminal.reads("Nothing was switched.")
        assert terminal.ended() == 1
    without = ampminder("exercise", "fan")
    assert without.returncode == 1
    assert "needs a terminal" in without.stderr
    with Terminal("exercise", "horn") as terminal:
        terminal.reads("horn is none that can be exercised; this line has main-contactor, fan.")
        assert terminal.ended() == 1
    assert len(fan(simulated)) == before


@pytest.mark.usefixtures("running")
def test_a_program_exercises_and_then_tells_what_was_seen(files: Files, simulated: Simulators) -> None:
    before = len(fan(simulated))
    trial = ampminder("exercise", "fan", "--json")
    assert json.loads(trial.stdout) == {"version": 1, "ok": True, "output": "fan", "away": True, "back": True}
    assert away_s(simulated, before) < AWAY_S
    told = ampminder("exercise", "fan", "--json", "--seen", "nothing")
    assert json.loads(told.stdout)["ok"]
    assert told.returncode == 1
    assert kept(files).seen == "nothing"
    refused = ampminder("exercise", "main-contactor", "--json")
    assert (refused.returncode, json.loads(refused.stdout)["ok"]) == (1, False)
    assert "own switch off" in json.loads(refused.stdout)["reasons"][0]


def test_what_a_killed_supervisor_left_away_is_brought_back_by_the_next_ones_start() -> None:
    with short_folder() as folder:
        files = write_files(folder, base="knob-supply")
        with simulators(files) as simulated:
            with service(files, "--watch-only") as supervisor:
                supervisor.until_proven()
                until(lambda: fan(simulated)[-1:] and fan(simulated)[-1][0], 3.0)
                with Terminal("exercise", "fan") as terminal:
                    terminal.reads("lets go sooner")
                    terminal.types("\n")
                    went(simulated, 1)
                    supervisor.process.send_signal(signal.SIGKILL)
                    terminal.reads("did NOT confirm that it is on again")
            assert not fan(simulated)[-1][0]
            with service(files, "--watch-only") as supervisor:
                until(lambda: fan(simulated)[-1][0], 5.0)
