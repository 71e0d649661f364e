"""A disk that hangs, fills up or refuses: the service goes on, and what is lost is told."""

from __future__ import annotations

import asyncio
import sqlite3
import threading
from collections.abc import Sequence
from pathlib import Path

import pytest

from supervisor.records import journal, rows
from tests.records.kit import INTENT, durable, opened_and_begun, steps_in, until, woken


class Stall:
    """Holds the writer's thread in a write until let go, as a hanging disk does."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.reached = threading.Event()
        self.let_go = threading.Event()
        self.written = 0
        self._write = rows.write
        monkeypatch.setattr(rows, "write", self.write)

    def write(self, connection: sqlite3.Connection, run: int, batch: Sequence[rows.Row]) -> bool:
        self.reached.set()
        assert self.let_go.wait(10.0)
        all_kept = self._write(connection, run, batch)
        self.written += 1
        return all_kept

    async def until_reached(self) -> None:
        await until(self.reached.is_set)


async def test_a_stalled_disk_costs_steps_but_never_memory_or_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(journal, "MOST_QUEUED", 10)
    monkeypatch.setattr(journal, "BATCH_S", 0.001)
    opened = await opened_and_begun(tmp_path / "j")
    stall = Stall(monkeypatch)
    opened.note_snapshot('"start"')
    await stall.until_reached()
    for number in range(100):
        opened.note_step(woken(number), ())
        opened.note_snapshot('"during"')
    assert not opened.healthy
    assert opened.snapshot_wanted
    told: list[str] = []
    opened.make_durable("intent-1", told.append)

    stall.let_go.set()
    await until(lambda: opened.healthy and stall.written >= 2)
    assert await opened.last_state() is None  # from the same thread, so there is room again by then
    opened.note_step(woken(100.0), ())
    await durable(opened, "intent-2")
    assert await opened.close(5.0)
    assert told == []  # the step it stands on is lost, so it never becomes durable

    connection = sqlite3.connect(tmp_path / "j")
    kept = [number for (number,) in connection.execute("SELECT number FROM steps ORDER BY number")]
    gaps = connection.execute("SELECT first, last FROM gaps ORDER BY first").fetchall()
    connection.close()
    lost = [number for first, last_lost in gaps for number in range(first, last_lost + 1)]
    assert sorted(kept + lost) == list(range(1, 102))  # every step is either kept or told lost
    assert len(kept) < 12
    assert kept[-1] == 101


@pytest.mark.parametrize(
    "problem", [sqlite3.OperationalError("database or disk is full"), MemoryError("as nobody foresaw")]
)
async def test_a_refusing_disk_is_tried_again_and_nothing_is_lost(
    problem: Exception, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(journal, "BATCH_S", 0.001)
    monkeypatch.setattr(journal, "RETRY_S", 0.001)
    opened = await opened_and_begun(tmp_path / "j")
    working = rows.write
    failures = 0

    def full(connection: sqlite3.Connection, run: int, batch: Sequence[rows.Row]) -> bool:
        nonlocal failures
        failures += 1
        raise problem

    monkeypatch.setattr(rows, "write", full)
    opened.note_step(woken(1.0), (INTENT,))
    told: list[str] = []
    opened.make_durable("intent-1", told.append)
    await until(lambda: failures >= 3)
    assert not opened.healthy
    assert str(problem) in opened.problem
    assert told == []
    monkeypatch.setattr(rows, "write", working)
    await until(lambda: bool(told) and opened.healthy)
    assert len(steps_in(tmp_path / "j", tmp_path)) == 1
    await opened.close(5.0)


async def test_closing_a_stalled_journal_keeps_its_deadline(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    opened = await opened_and_begun(tmp_path / "j")
    stall = Stall(monkeypatch)
    opened.note_step(woken(1.0), ())
    assert not await opened.close(0.01)
    stall.let_go.set()


async def test_closing_on_a_full_disk_gives_up_and_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    opened = await opened_and_begun(tmp_path / "j")

    def full(connection: sqlite3.Connection, run: int, batch: Sequence[rows.Row]) -> bool:
        raise sqlite3.OperationalError("database or disk is full")

    monkeypatch.setattr(rows, "write", full)
    opened.note_step(woken(1.0), ())
    async with asyncio.timeout(2):
        assert not await opened.close(60.0)
