"""The journal's file: its tables, how a later release opens an older one, and what happens to a damaged one."""

from __future__ import annotations

import sqlite3
import struct
from dataclasses import dataclass
from pathlib import Path

# "ampm": tells our file from any other SQLite file, so that no other program's data is ever written to.
APPLICATION_ID = 0x616D706D

# Statements that lead from the version before to the version at that place. Rows of old versions stay readable for
# ever: a line here is never changed once released, only added to.
MIGRATIONS: tuple[tuple[str, ...], ...] = (
    (
        "CREATE TABLE schema (version INTEGER NOT NULL)",
        "INSERT INTO schema VALUES (0)",
        # Line files and device profiles by their hash: replay needs no other file.
        "CREATE TABLE texts (hash TEXT PRIMARY KEY, text TEXT NOT NULL) WITHOUT ROWID",
        """CREATE TABLE runs (
            id INTEGER PRIMARY KEY, boot_id TEXT NOT NULL, line_name TEXT NOT NULL, line_text TEXT NOT NULL,
            line_hash TEXT NOT NULL, profiles TEXT NOT NULL, core_version TEXT NOT NULL, speed REAL NOT NULL,
            began_wall_s REAL NOT NULL)""",
        """CREATE TABLE steps (
            run INTEGER NOT NULL, number INTEGER NOT NULL, event TEXT NOT NULL, actions TEXT NOT NULL,
            PRIMARY KEY (run, number)) WITHOUT ROWID""",
        # The state after that many steps; 0 is the state a run began with.
        """CREATE TABLE snapshots (
            run INTEGER NOT NULL, after_step INTEGER NOT NULL, state TEXT NOT NULL,
            PRIMARY KEY (run, after_step)) WITHOUT ROWID""",
        # Steps that happened and could not be kept, first to last.
        """CREATE TABLE gaps (
            run INTEGER NOT NULL, first INTEGER NOT NULL, last INTEGER NOT NULL, why TEXT NOT NULL,
            PRIMARY KEY (run, first)) WITHOUT ROWID""",
    ),
)


class JournalError(Exception):
    """This file must not be written to; the text says why and what to do."""


@dataclass(frozen=True, slots=True)
class Opened:
    """An open journal file. `notice` is "" or tells, for a person, that a damaged one was moved aside."""

    connection: sqlite3.Connection
    notice: str


def open_file(path: Path) -> Opened:
    """Open the journal at `path` as its only writer, making it if it is not there.

    A damaged file is kept under another name and a new one begun. Raises JournalError where the file is in use,
    not a journal, newer than this program, or not to be opened at all.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            return Opened(open_sound(path), "")
        except sqlite3.DatabaseError as problem:
            if not _is_damage(problem):
                raise
            kept = _move_aside(path)
        return Opened(open_sound(path), _notice(path, kept))
    except sqlite3.DatabaseError as problem:
        raise JournalError(_why_not(path, problem)) from problem
    except OSError as problem:
        raise JournalError(f"The journal {path} cannot be opened: {problem.strerror}.") from problem


def _notice(path: Path, kept: Path) -> str:
    return (
        f"The journal {path} was damaged. It is kept as {kept.name} and a new one was begun: what ran before is not"
        " known here. Check that the supply is off, and treat any load in the tank as of unknown thickness."
    )


def open_sound(path: Path) -> sqlite3.Connection:
    """Open the journal at `path` exclusively, up to date. Raises JournalError, OSError or sqlite3.DatabaseError."""
    if _is_cut_short(path):
        raise _damage("the file is shorter than its own header says")
    connection = sqlite3.connect(path, isolation_level=None, timeout=0)
    try:
        # Before the first use of the log, this keeps every other connection out: SQLite up to 3.51.2 can corrupt a
        # file in WAL mode that two connections use.
        connection.execute("PRAGMA locking_mode = EXCLUSIVE")
        _check_owner(connection, path)
        _set_up(connection)
        _read_through(connection)
    except BaseException:
        connection.close()
        raise
    return connection


def _is_cut_short(path: Path) -> bool:
    """Say whether the file lacks pages its header counts; the header lies at bytes 16 (page size) and 28 (pages)."""
    if not path.exists():
        return False
    with path.open("rb") as file:
        header = file.read(100)
    if not header or path.with_name(path.name + "-wal").exists():
        return False  # nothing yet, or pages still wait in the write-ahead log
    if len(header) < 100:
        return True
    if not header.startswith(b"SQLite format 3\0"):
        return False  # no such header at all, which SQLite itself tells better
    (page_size,) = struct.unpack_from(">H", header, 16)
    (pages,) = struct.unpack_from(">I", header, 28)
    return path.stat().st_size < int(pages) * (65536 if page_size == 1 else int(page_size))


def _check_owner(connection: sqlite3.Connection, path: Path) -> None:
    (application_id,) = connection.execute("PRAGMA application_id").fetchone()
    (tables,) = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    if tables and application_id != APPLICATION_ID:
        raise JournalError(f"{path} is a database of another program, not a journal. Name another folder for records.")
    if tables:
        version = _version(connection)
        if version > len(MIGRATIONS):
            raise JournalError(
                f"The journal {path} has version {version}; this program knows up to {len(MIGRATIONS)}."
                " Install the newer release it was written by, or name another folder for records."
            )


def _version(connection: sqlite3.Connection) -> int:
    row = connection.execute("SELECT max(version) FROM schema").fetchone()
    if row[0] is None:
        raise _damage("the schema version is missing")
    return int(row[0])


def _set_up(connection: sqlite3.Connection) -> None:
    """Take the file for this process alone, then bring its tables up to date in one transaction."""
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("BEGIN EXCLUSIVE")
    (tables,) = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    version = _version(connection) if tables else 0
    if version < len(MIGRATIONS):
        for statements in MIGRATIONS[version:]:
            for statement in statements:
                connection.execute(statement)
        connection.execute("UPDATE schema SET version = ?", (len(MIGRATIONS),))
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    connection.execute("COMMIT")


def _read_through(connection: sqlite3.Connection) -> None:
    """Read the newest run as a restart will, so that damage there is found now and not in the middle of a start."""
    for table, order in (("runs", "id"), ("snapshots", "run DESC, after_step"), ("steps", "run DESC, number")):
        connection.execute(f"SELECT * FROM {table} ORDER BY {order} DESC LIMIT 100").fetchall()  # noqa: S608


def _damage(what: str) -> sqlite3.DatabaseError:
    problem = sqlite3.DatabaseError(what)
    problem.sqlite_errorcode = sqlite3.SQLITE_CORRUPT
    return problem


def _is_damage(problem: sqlite3.DatabaseError) -> bool:
    code = getattr(problem, "sqlite_errorcode", 0) & 0xFF  # the upper bits only refine the lower ones
    lacks_a_table = code == sqlite3.SQLITE_ERROR and "no such" in str(problem)
    return code in {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB} or lacks_a_table


def _why_not(path: Path, problem: sqlite3.DatabaseError) -> str:
    if getattr(problem, "sqlite_errorcode", 0) & 0xFF in {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}:
        return f"The journal {path} is in use by another program. Stop that one first."
    return f"The journal {path} cannot be opened: {problem}. Check the folder, its owner and the free space."


def _move_aside(path: Path) -> Path:
    """Rename the file and its log; nothing is deleted, since what is left of a record may still tell something."""
    number = 1
    while (kept := path.with_name(f"{path.name}.damaged-{number}")).exists():
        number += 1
    path.rename(kept)
    log = path.with_name(path.name + "-wal")
    if log.exists():
        log.rename(kept.with_name(kept.name + "-wal"))
    path.with_name(path.name + "-shm").unlink(missing_ok=True)
    return kept
