"""What the demo reads back from the record: when the supervisor decided each off command."""

from __future__ import annotations

import sqlite3
import tempfile
from pathlib import Path

from supervisor.core.actions import SwitchOff
from supervisor.records import schema
from supervisor.records.codec import decode_actions
from supervisor.records.replay import copy_journal


def offs_decided(journal: Path) -> list[list[float]]:
    """Return the wire times, s, of every off command decided, one list for each run of the supervisor, oldest first.

    Raises schema.JournalError, OSError or sqlite3.Error where the record cannot be read.
    """
    with tempfile.TemporaryDirectory(prefix="ampminder-") as folder:
        copy = Path(folder) / "journal"
        copy_journal(journal, copy)
        connection = schema.open_sound(copy)
        try:
            return _offs(connection)
        finally:
            connection.close()


def _offs(connection: sqlite3.Connection) -> list[list[float]]:
    runs: dict[int, list[float]] = {number: [] for (number,) in connection.execute("SELECT id FROM runs ORDER BY id")}
    for run, text in connection.execute("SELECT run, actions FROM steps ORDER BY run, number"):
        offs = (action for action in decode_actions(text) if isinstance(action, SwitchOff))
        runs[run].extend(off.decided_wire_s for off in offs)
    return list(runs.values())
