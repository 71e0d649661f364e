"""A journal for tests, opened and begun, and ways to wait for what its writer does."""

from __future__ import annotations

import asyncio
import sqlite3
from collections.abc import Callable
from pathlib import Path

from supervisor.core.actions import Record
from supervisor.core.events import Instant, Woken
from supervisor.records.journal import Journal
from supervisor.records.replay import copy_journal

INTENT = Record("intent-1", "main", "operation-1", 1.95, 22.0)


def woken(process_s: float) -> Woken:
    return Woken(Instant(process_s, process_s, 1_790_000_000.0 + process_s))


async def begin(opened: Journal, line_text: str = "[line]\n") -> int:
    return await opened.begin_run(
        boot_id="boot",
        line_name="demo",
        line_text=line_text,
        line_hash="abc",
        profiles={"supply.toml": "name = 'supply'\n"},
        core_version="0.1.0",
        speed=60.0,
        wall_s=1_790_000_000.0,
    )


async def opened_and_begun(path: Path) -> Journal:
    opened = await Journal.open(path)
    await begin(opened)
    return opened


async def durable(opened: Journal, intent: str = "intent-1") -> None:
    """Return once the journal has said that the intent is durable."""
    said = asyncio.Event()
    opened.make_durable(intent, lambda _: said.set())
    async with asyncio.timeout(5):
        await said.wait()


async def until(condition: Callable[[], bool]) -> None:
    """Return once the condition holds, which another thread or task brings about."""
    for _ in range(5000):
        if condition():
            return
        await asyncio.sleep(0.001)
    raise AssertionError("it never came about")


def steps_in(path: Path, folder: Path) -> list[tuple[int, str]]:
    """The steps another process would see now."""
    copy = folder / "copy"
    copy_journal(path, copy)
    connection = sqlite3.connect(copy)
    try:
        return connection.execute("SELECT number, actions FROM steps ORDER BY number").fetchall()
    finally:
        connection.close()
