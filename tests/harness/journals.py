"""Reads a journal that nobody writes any more, or a copy of one in use."""

from __future__ import annotations

import sqlite3
import tempfile
from pathlib import Path

from supervisor.records.replay import copy_journal


def recorded(path: Path) -> list[tuple[str, str]]:
    """Events and actions of every step, as JSON texts, oldest first."""
    with tempfile.TemporaryDirectory(prefix="ampm-") as folder:
        copy = Path(folder) / "journal"
        copy_journal(path, copy)
        connection = sqlite3.connect(copy)
        try:
            return list(connection.execute("SELECT event, actions FROM steps ORDER BY run, number"))
        finally:
            connection.close()
