"""Replay: the recorded events once more through a fresh core, and whether it decides the same."""

from __future__ import annotations

import json
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from supervisor.core.actions import Action
from supervisor.core.events import Event
from supervisor.records import codec, rows, schema
from supervisor.records.rows import RunInfo

MOST_KEPT = 100
"""Differences told in full for one run; after the first, most follow from it."""

_SNAPSHOT = "snapshot"


class StepLike(Protocol):
    """What a step of the core returns."""

    @property
    def actions(self) -> tuple[Action, ...]:
        """What the core asked for."""


class LineLike(Protocol):
    """The core, as far as replay needs it."""

    @property
    def state(self) -> object:
        """The snapshot of where it stands: a frozen dataclass."""

    def step(self, event: Event) -> StepLike:
        """Decide on one event."""


class MakeLine(Protocol):
    """Builds the core of a run."""

    def __call__(self, line_text: str, profiles: Mapping[str, str], speed: float, state: str | None, /) -> LineLike:
        """Return a fresh core for that line file and those profiles (name to text), or one restored from `state`."""


@dataclass(frozen=True, slots=True)
class Difference:
    """One step at which the core now decides otherwise. All texts are JSON; `event` is `snapshot` for a state."""

    run: int
    step: int
    event: str
    expected: str
    got: str


@dataclass(frozen=True, slots=True)
class RunReplay:
    """One run replayed.

    Attributes:
        steps: fed to the core and compared. snapshots: compared. skipped: recorded, but not replayable (after a gap).
        lost: steps that were never kept. differing: steps and snapshots that differ; the first ones in `differences`.
    """

    run: RunInfo
    steps: int
    snapshots: int
    skipped: int
    lost: int
    differing: int
    differences: tuple[Difference, ...]


@dataclass(frozen=True, slots=True)
class ReplayResult:
    """All runs of a journal replayed, oldest first."""

    runs: tuple[RunReplay, ...]

    @property
    def steps(self) -> int:
        """Number of steps compared."""
        return sum(run.steps for run in self.runs)

    @property
    def differing(self) -> int:
        """Number of steps and snapshots that differ."""
        return sum(run.differing for run in self.runs)

    @property
    def differences(self) -> tuple[Difference, ...]:
        """The first differences of every run."""
        return tuple(difference for run in self.runs for difference in run.differences)


def replay(path: Path, make_line: MakeLine) -> ReplayResult:
    """Replay the journal at `path`, which may be in use by a running supervisor, from a copy.

    Raises schema.JournalError, with a sentence for people, where there is no readable journal. What `make_line`
    raises comes through.
    """
    with tempfile.TemporaryDirectory(prefix="ampminder-replay-") as folder:
        copy = Path(folder) / "journal"
        try:
            copy_journal(path, copy)
            opened = schema.open_sound(copy)
        except sqlite3.DatabaseError as problem:
            raise schema.JournalError(f"The journal {path} is damaged: {problem}.") from problem
        except OSError as problem:
            raise schema.JournalError(f"The journal {path} cannot be read: {problem.strerror}.") from problem
        try:
            return ReplayResult(tuple(_replay_run(opened, run, make_line) for run in rows.read_runs(opened)))
        except sqlite3.DatabaseError as problem:
            raise schema.JournalError(f"The journal {path} is damaged: {problem}.") from problem
        finally:
            opened.close()


def copy_journal(source: Path, target: Path) -> None:
    """Copy a journal with its write-ahead log as of one moment, while another process may be writing it.

    Not for the process that writes it: closing any handle of the file there would drop SQLite's lock. A checkpoint
    during the copy does no harm, since every page it moves is still in the log; only a log begun anew does, and its
    header shows that. Raises OSError.
    """
    source_log, target_log = (file.with_name(file.name + "-wal") for file in (source, target))
    for _ in range(20):
        before = _log_header(source_log)
        shutil.copyfile(source, target)
        target_log.unlink(missing_ok=True)
        if before:
            shutil.copyfile(source_log, target_log)
        if before == _log_header(source_log) == _log_header(target_log):
            return
    raise OSError(0, "it changes faster than it can be copied")


def _log_header(path: Path) -> bytes:
    """Return the log's header, whose salt changes whenever the log is begun anew; empty where there is none."""
    try:
        with path.open("rb") as file:
            return file.read(32)
    except FileNotFoundError:
        return b""


def _replay_run(connection: sqlite3.Connection, run: RunInfo, make_line: MakeLine) -> RunReplay:
    tally = _Tally(run)
    following = 1
    for number, event, actions, state in _steps(connection, run.id):
        if tally.line is None or number != following:
            tally.line = _line_before(connection, run, number, make_line)
        following = number + 1
        if tally.line is None:
            tally.skipped += 1
            continue
        tally.step(number, event, actions)
        if state is not None:
            tally.snapshot(number, state)
    return tally.result(_lost(connection, run.id))


def _line_before(connection: sqlite3.Connection, run: RunInfo, number: int, make_line: MakeLine) -> LineLike | None:
    """Return the core as it stood before that step; None where no snapshot tells."""
    found = connection.execute(
        "SELECT state FROM snapshots WHERE run = ? AND after_step = ?", (run.id, number - 1)
    ).fetchone()
    if found is None and number > 1:
        return None
    return make_line(run.line_text, run.profiles, run.speed, found[0] if found else None)


def _steps(connection: sqlite3.Connection, run: int) -> Iterator[tuple[int, str, str, str | None]]:
    """Yield number, event, actions and, where one was kept, the state after it."""
    yield from connection.execute(
        "SELECT number, event, actions, state FROM steps LEFT JOIN snapshots"
        " ON snapshots.run = steps.run AND after_step = number WHERE steps.run = ? ORDER BY number",
        (run,),
    )


def _lost(connection: sqlite3.Connection, run: int) -> int:
    row = connection.execute("SELECT coalesce(sum(last - first + 1), 0) FROM gaps WHERE run = ?", (run,)).fetchone()
    return int(row[0])


class _Tally:
    """What one run's replay has come to so far; `line` is None while no state is known."""

    def __init__(self, run: RunInfo) -> None:
        self.line: LineLike | None = None
        self.skipped = 0
        self._run = run
        self._steps = 0
        self._snapshots = 0
        self._differing = 0
        self._differences: list[Difference] = []

    def step(self, number: int, event: str, expected: str) -> None:
        """Feed one event and compare the actions. A core that fails on it differs, and stands nowhere after it."""
        assert self.line is not None
        self._steps += 1
        try:
            got = codec.encode_actions(self.line.step(codec.decode_event(event)).actions)
        except Exception as problem:  # noqa: BLE001 - whatever it is, it is what the core does now
            self.line = None
            got = json.dumps(f"{type(problem).__name__}: {problem}")
        if json.loads(got) != json.loads(expected):
            self._differ(number, event, expected, got)

    def snapshot(self, number: int, expected: str) -> None:
        """Compare the state, by value: sets have no order in JSON."""
        if self.line is None:
            return
        self._snapshots += 1
        state = self.line.state
        try:
            same = codec.decode_state(type(state), expected) == state
        except ValueError:
            same = False
        if not same:
            self._differ(number, _SNAPSHOT, expected, codec.encode_state(state))

    def _differ(self, number: int, event: str, expected: str, got: str) -> None:
        self._differing += 1
        if len(self._differences) < MOST_KEPT:
            self._differences.append(Difference(self._run.id, number, event, expected, got))

    def result(self, lost: int) -> RunReplay:
        """Return the account of the run."""
        return RunReplay(
            run=self._run,
            steps=self._steps,
            snapshots=self._snapshots,
            skipped=self.skipped,
            lost=lost,
            differing=self._differing,
            differences=tuple(self._differences),
        )
