"""What it costs to keep a step, beside writing the same bytes with SQLite alone."""

from __future__ import annotations

import asyncio
import sqlite3
import time
from collections.abc import Iterator
from pathlib import Path

from supervisor.core.actions import Action
from supervisor.core.events import Event
from supervisor.records.codec import encode_actions, encode_event
from supervisor.records.journal import Journal
from tests.campaigns.figures import Figure
from tests.core.kit import SCAN_S, Bench
from tests.harness.lines import short_folder

Steps = list[tuple[Event, tuple[Action, ...]]]
BATCH = 200


def _steps(count: int) -> Steps:
    bench = Bench().running(target_um=30.0)
    steps: Steps = []
    for _ in range(count):
        bench.later(SCAN_S)
        event = bench.supply_scan("main", bench.devices["main"])
        steps.append((event, bench.line.step(event).actions))
    return steps


async def _journal_s(path: Path, steps: Steps) -> float:
    journal = await Journal.open(path)
    await journal.begin_run(
        boot_id="boot",
        line_name="test",
        line_text="",
        line_hash="",
        profiles={},
        core_version="1",
        speed=1.0,
        wall_s=0.0,
    )
    began_s = time.process_time()
    for number, (event, actions) in enumerate(steps):
        journal.note_step(event, actions)
        if number % BATCH == BATCH - 1:
            kept = asyncio.Event()
            journal.make_durable(f"{number}", lambda _, kept=kept: kept.set())  # type: ignore[misc]
            await kept.wait()
    took_s = time.process_time() - began_s
    assert await journal.close(10.0)
    return took_s / len(steps)


def _bare_s(path: Path, steps: Steps) -> float:
    """The same texts with the same durability, encoding included, in one thread."""
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("PRAGMA synchronous=FULL")
    connection.execute(
        "CREATE TABLE steps (run INTEGER, number INTEGER, event TEXT, actions TEXT, PRIMARY KEY (run, number))"
    )
    began_s = time.process_time()
    for first in range(0, len(steps), BATCH):
        rows = [
            (1, first + place, encode_event(event), encode_actions(actions))
            for place, (event, actions) in enumerate(steps[first : first + BATCH])
        ]
        connection.execute("BEGIN")
        connection.executemany("INSERT INTO steps VALUES (?, ?, ?, ?)", rows)
        connection.execute("COMMIT")
    took_s = time.process_time() - began_s
    connection.close()
    return took_s / len(steps)


def journal_figures(steps: int) -> Iterator[Figure]:
    """Keep the same steps both ways."""
    made = _steps(steps)
    with short_folder() as folder:
        bare_s = _bare_s(folder / "bare", made)
        ours_s = asyncio.run(_journal_s(folder / "journal", made))
    yield Figure("journal_step_us", 1e6 * ours_s, "report", steps, None, "CPU, both threads")
    yield Figure("journal_ratio", ours_s / bare_s, "<= 2", steps, None, "CPU, to SQLite and the same encoding alone")
