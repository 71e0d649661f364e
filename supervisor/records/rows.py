"""What one row of the journal holds, and the statements that write and read them; all of it runs in one thread."""

from __future__ import annotations

import hashlib
import json
import logging
import sqlite3
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from supervisor.core.actions import Action
from supervisor.core.events import Event
from supervisor.records import codec

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class RunInfo:
    """One run of the service: what moved its decisions besides events.

    Attributes:
        id: 1 upwards in this journal. boot_id: the kernel's id of the boot; "" where unknown.
        line_text: the line file as it was read. line_hash: its hash. profiles: a profile's name to its text.
        speed: process seconds per wire second. began_wall_s: UTC seconds since 1970.
    """

    id: int
    boot_id: str
    line_name: str
    line_text: str
    line_hash: str
    profiles: dict[str, str]
    core_version: str
    speed: float
    began_wall_s: float


@dataclass(frozen=True, slots=True)
class LastState:
    """Where the run before stood.

    Attributes:
        run: that run.
        snapshot: its newest snapshot as JSON text; None where it kept none.
        events: the events after that snapshot, JSON text, oldest first.
        newest_event: its newest event, JSON text; None where it kept none. lost: steps after the snapshot not kept.
    """

    run: RunInfo
    snapshot: str | None
    events: tuple[str, ...]
    newest_event: str | None
    lost: int


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the core; `number` counts from 1 in its run."""

    number: int
    event: Event
    actions: tuple[Action, ...]


@dataclass(frozen=True, slots=True)
class Snapshot:
    """The state after that many steps, as JSON text."""

    after_step: int
    state: str


@dataclass(frozen=True, slots=True)
class Gap:
    """Steps first to last happened and are not kept."""

    first: int
    last: int
    why: str


@dataclass(frozen=True, slots=True)
class Promise:
    """Call `callback(intent)` once everything before it is on the disk. It is no row itself."""

    intent: str
    callback: Callable[[str], object]


Row = Step | Snapshot | Gap | Promise


def insert_run(connection: sqlite3.Connection, info: RunInfo) -> int:
    """Write a new run with its texts and return its number; `info.id` is not used. Raises sqlite3.Error."""
    values = {
        "boot_id": info.boot_id,
        "line_name": info.line_name,
        "line_text": _text_key(info.line_text),
        "line_hash": info.line_hash,
        "profiles": json.dumps({name: _text_key(text) for name, text in info.profiles.items()}),
        "core_version": info.core_version,
        "speed": info.speed,
        "began_wall_s": info.began_wall_s,
    }
    with connection:
        connection.execute("BEGIN")
        for text in (info.line_text, *info.profiles.values()):
            connection.execute("INSERT OR IGNORE INTO texts VALUES (?, ?)", (_text_key(text), text))
        cursor = connection.execute(
            "INSERT INTO runs (boot_id, line_name, line_text, line_hash, profiles, core_version, speed, began_wall_s)"
            " VALUES (:boot_id, :line_name, :line_text, :line_hash, :profiles, :core_version, :speed, :began_wall_s)",
            values,
        )
    assert cursor.lastrowid is not None
    return cursor.lastrowid


def _text_key(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def read_runs(connection: sqlite3.Connection) -> list[RunInfo]:
    """Return every run, oldest first. Raises sqlite3.Error."""
    numbers = connection.execute("SELECT id FROM runs ORDER BY id").fetchall()
    return [read_run(connection, number) for (number,) in numbers]


def read_run(connection: sqlite3.Connection, number: int) -> RunInfo:
    """Return one run that exists. Raises sqlite3.Error."""
    row = connection.execute(
        "SELECT boot_id, line_name, line_text, line_hash, profiles, core_version, speed, began_wall_s"
        " FROM runs WHERE id = ?",
        (number,),
    ).fetchone()
    boot_id, line_name, line_key, line_hash, profile_keys, core_version, speed, began_wall_s = row
    texts = dict(connection.execute("SELECT hash, text FROM texts").fetchall())
    profiles = {name: texts[key] for name, key in json.loads(profile_keys).items()}
    return RunInfo(number, boot_id, line_name, texts[line_key], line_hash, profiles, core_version, speed, began_wall_s)


def write(connection: sqlite3.Connection, run: int, batch: Sequence[Row]) -> bool:
    """Write a batch in one transaction that is on the disk when this returns; says whether every row was kept.

    A step that has no JSON form (a number that is not finite) is written as a gap: one bad step must not cost the
    rest. Raises sqlite3.Error; then nothing of the batch is written.
    """
    all_kept = True
    with connection:
        connection.execute("BEGIN")
        for row in batch:
            all_kept &= _write_row(connection, run, row)
    return all_kept


def _write_row(connection: sqlite3.Connection, run: int, row: Row) -> bool:
    match row:
        case Step():
            return _write_step(connection, run, row)
        case Snapshot():
            values = (run, row.after_step, row.state)
            connection.execute("INSERT OR REPLACE INTO snapshots VALUES (?, ?, ?)", values)
        case Gap():
            connection.execute("INSERT INTO gaps VALUES (?, ?, ?, ?)", (run, row.first, row.last, row.why))
        case Promise():
            pass
    return True


def _write_step(connection: sqlite3.Connection, run: int, step: Step) -> bool:
    try:
        values = (run, step.number, codec.encode_event(step.event), codec.encode_actions(step.actions))
    except ValueError as problem:
        _log.error("Step %s cannot be written to the journal: %s", step.number, problem)
        connection.execute("INSERT INTO gaps VALUES (?, ?, ?, ?)", (run, step.number, step.number, str(problem)))
        return False
    connection.execute("INSERT INTO steps VALUES (?, ?, ?, ?)", values)
    return True


def read_last(connection: sqlite3.Connection, before: int) -> LastState | None:
    """Return where the newest run with a step, or a snapshot after one, stood, other than run `before`.

    Raises sqlite3.Error.
    """
    newest = connection.execute(
        "SELECT max(run) FROM (SELECT run FROM steps WHERE run <> :before UNION SELECT run FROM snapshots"
        " WHERE run <> :before AND after_step > 0)",
        {"before": before},
    ).fetchone()[0]
    if newest is None:
        return None
    found = connection.execute(
        "SELECT after_step, state FROM snapshots WHERE run = ? ORDER BY after_step DESC LIMIT 1", (newest,)
    ).fetchone()
    after, state = found or (0, None)
    events = connection.execute(
        "SELECT event FROM steps WHERE run = ? AND number > ? ORDER BY number", (newest, after)
    ).fetchall()
    last = connection.execute(
        "SELECT event FROM steps WHERE run = ? ORDER BY number DESC LIMIT 1", (newest,)
    ).fetchone()
    lost = connection.execute(
        "SELECT coalesce(sum(last - max(first, :after + 1) + 1), 0) FROM gaps WHERE run = :run AND last > :after",
        {"run": newest, "after": after},
    ).fetchone()[0]
    return LastState(
        run=read_run(connection, newest),
        snapshot=state,
        events=tuple(event for (event,) in events),
        newest_event=last[0] if last else None,
        lost=lost,
    )
