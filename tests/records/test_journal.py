"""The journal: nothing reported durable is ever lost, and no state of the disk or the file stops the service."""

from __future__ import annotations

import asyncio
import json
import signal
import sqlite3
import subprocess
import sys
import threading
from typing import TYPE_CHECKING

import pytest

from supervisor.core.actions import Action, Note, Record
from supervisor.core.events import Instant, Request, Woken
from supervisor.records import codec, journal, rows, schema
from supervisor.records.journal import Journal
from supervisor.records.replay import copy_journal

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

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


async def test_steps_snapshots_and_texts_come_back_after_a_restart(tmp_path: Path) -> None:
    first = await opened_and_begun(tmp_path / "j")
    events = [woken(n) for n in range(5)]
    for number, event in enumerate(events, start=1):
        first.note_step(event, ())
        if number == 3:
            first.note_snapshot('"third"')
    assert await first.close(5.0)

    second = await opened_and_begun(tmp_path / "j")
    last = await second.last_state()
    await second.close(5.0)
    assert last is not None
    assert last.snapshot == '"third"'
    assert [codec.decode_event(text) for text in last.events] == events[3:]
    assert last.newest_event == codec.encode_event(events[-1])
    assert last.lost == 0
    assert last.run == rows.RunInfo(
        1, "boot", "demo", "[line]\n", "abc", {"supply.toml": "name = 'supply'\n"}, "0.1.0", 60.0, 1_790_000_000.0
    )


async def test_a_start_that_came_to_nothing_does_not_hide_the_run_before(tmp_path: Path) -> None:
    first = await opened_and_begun(tmp_path / "j")
    first.note_step(woken(1.0), ())
    await first.close(5.0)
    second = await opened_and_begun(tmp_path / "j")
    await second.close(5.0)
    third = await opened_and_begun(tmp_path / "j")
    last = await third.last_state()
    await third.close(5.0)
    assert last is not None
    assert last.run.id == 1


async def test_a_new_journal_knows_of_no_earlier_run(tmp_path: Path) -> None:
    opened = await opened_and_begun(tmp_path / "deep" / "folder" / "j")
    opened.note_step(woken(1.0), ())
    await durable(opened)
    assert await opened.last_state() is None
    await opened.close(5.0)


async def test_the_same_text_is_kept_once(tmp_path: Path) -> None:
    for _ in range(3):
        await (await opened_and_begun(tmp_path / "j")).close(5.0)
    connection = sqlite3.connect(tmp_path / "j")
    assert connection.execute("SELECT count(*) FROM texts").fetchone() == (2,)
    connection.close()


async def test_an_intent_is_told_durable_only_after_its_step_is_in_the_file(tmp_path: Path) -> None:
    opened = await opened_and_begun(tmp_path / "j")
    opened.note_step(woken(1.0), (INTENT,))
    assert steps_in(tmp_path / "j", tmp_path) == []
    await durable(opened)
    assert steps_in(tmp_path / "j", tmp_path) == [(1, codec.encode_actions((INTENT,)))]
    await opened.close(5.0)


async def test_a_durable_record_does_not_wait_for_the_batch(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(journal, "BATCH_S", 3600.0)
    opened = await opened_and_begun(tmp_path / "j")
    opened.note_step(woken(1.0), (INTENT,))
    await durable(opened)  # times out after 5 s if it waits
    await opened.close(5.0)


WRITER = """
import asyncio, sys
from pathlib import Path
from tests.records.test_journal import INTENT, durable, opened_and_begun, woken

async def main():
    journal = await opened_and_begun(Path(sys.argv[1]))
    for number in range(20):
        journal.note_step(woken(number), (INTENT,) if number == 19 else ())
    await durable(journal)
    print("durable", flush=True)
    await asyncio.sleep(60)

asyncio.run(main())
"""


def test_what_was_told_durable_is_there_after_the_writer_is_killed(tmp_path: Path) -> None:
    path = tmp_path / "j"
    with subprocess.Popen([sys.executable, "-c", WRITER, str(path)], stdout=subprocess.PIPE, text=True) as writer:
        assert writer.stdout is not None
        assert writer.stdout.readline() == "durable\n"
        writer.send_signal(signal.SIGKILL)
        writer.wait()
    opened = schema.open_file(path)
    assert opened.notice == ""
    last = rows.read_last(opened.connection, 0)
    kept = opened.connection.execute("SELECT actions FROM steps WHERE number = 20").fetchone()
    opened.connection.close()
    assert last is not None
    assert len(last.events) == 20
    assert kept == (codec.encode_actions((INTENT,)),)


async def test_a_journal_in_use_is_refused_to_a_second_process(tmp_path: Path) -> None:
    opened = await opened_and_begun(tmp_path / "j")
    attempt = (
        "import sys; from pathlib import Path; from supervisor.records import schema\n"
        "try: schema.open_file(Path(sys.argv[1]))\n"
        "except schema.JournalError as problem: print(problem)"
    )
    run = await asyncio.create_subprocess_exec(
        sys.executable, "-c", attempt, str(tmp_path / "j"), stdout=asyncio.subprocess.PIPE
    )
    out, _ = await run.communicate()
    assert b"in use by another program" in out
    assert await opened.close(5.0)


class Stall:
    """Holds the writer's thread in a write until let go, as a hanging disk does."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.reached = threading.Event()
        self.let_go = threading.Event()
        self._write = rows.write
        monkeypatch.setattr(rows, "write", self.write)

    def write(self, connection: sqlite3.Connection, run: int, batch: Sequence[rows.Row]) -> bool:
        self.reached.set()
        assert self.let_go.wait(10.0)
        return self._write(connection, run, batch)

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
    await until(lambda: opened.healthy)
    opened.note_step(woken(100.0), ())
    await durable(opened, "intent-2")
    last = await opened.last_state()
    assert last is None
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


async def test_a_step_that_cannot_be_written_costs_only_itself(tmp_path: Path) -> None:
    opened = await opened_and_begun(tmp_path / "j")
    opened.note_snapshot('"start"')
    opened.note_step(woken(1.0), ())
    opened.note_step(woken(float("nan")), (INTENT,))
    told: list[str] = []
    opened.make_durable("intent-1", told.append)
    opened.note_step(woken(3.0), ())
    await until(lambda: opened.snapshot_wanted)
    assert await opened.close(5.0)
    assert told == []
    connection = sqlite3.connect(tmp_path / "j")
    assert connection.execute("SELECT number FROM steps ORDER BY number").fetchall() == [(1,), (3,)]
    assert connection.execute("SELECT first, last FROM gaps").fetchall() == [(2, 2)]
    connection.close()


async def test_steps_lost_after_the_snapshot_are_counted_for_the_restart(tmp_path: Path) -> None:
    first = await opened_and_begun(tmp_path / "j")
    for number in range(1, 7):
        first.note_step(woken(float("nan") if number in {2, 5, 6} else number), ())
        if number == 3:
            first.note_snapshot('"third"')
    await first.close(5.0)
    second = await opened_and_begun(tmp_path / "j")
    last = await second.last_state()
    await second.close(5.0)
    assert last is not None
    assert last.lost == 2


@pytest.mark.parametrize(
    "content", [b"not a database, but long enough to have a header" * 40, b"SQLite format 3\0", b"\xff"]
)
async def test_a_file_that_is_no_database_is_kept_aside_and_a_new_journal_begun(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "j"
    path.write_bytes(content)
    opened = await opened_and_begun(path)
    opened.note_step(woken(1.0), ())
    assert await opened.close(5.0)
    assert "j.damaged-1" in opened.notice
    assert (tmp_path / "j.damaged-1").read_bytes() == content


async def test_a_truncated_journal_is_kept_aside_each_time_under_a_new_name(tmp_path: Path) -> None:
    path = tmp_path / "j"
    for time in (1, 2):
        opened = await opened_and_begun(path)
        for number in range(200):
            opened.note_step(woken(number), (Note("output", "main", "x" * 100),))
        await opened.close(5.0)
        whole = path.read_bytes()
        path.write_bytes(whole[: len(whole) * 2 // 3])
        again = await Journal.open(path)
        await again.close(5.0)
        assert f"j.damaged-{time}" in again.notice
        assert (tmp_path / f"j.damaged-{time}").stat().st_size == len(whole) * 2 // 3


async def test_a_zeroed_page_in_the_newest_run_is_found_at_the_start(tmp_path: Path) -> None:
    path = tmp_path / "j"
    opened = await opened_and_begun(path)
    for number in range(200):
        opened.note_step(woken(number), ())
    await opened.close(5.0)
    whole = bytearray(path.read_bytes())
    whole[-4096:] = bytes(4096)
    path.write_bytes(whole)
    again = await Journal.open(path)
    await again.close(5.0)
    assert "damaged" in again.notice


async def test_an_empty_file_is_a_new_journal(tmp_path: Path) -> None:
    (tmp_path / "j").touch()
    opened = await Journal.open(tmp_path / "j")
    await opened.close(5.0)
    assert opened.notice == ""


async def test_a_newer_journal_is_refused_and_not_touched(tmp_path: Path) -> None:
    path = tmp_path / "j"
    await (await opened_and_begun(path)).close(5.0)
    connection = sqlite3.connect(path)
    connection.execute("UPDATE schema SET version = 2")
    connection.commit()
    connection.close()
    before = path.read_bytes()
    with pytest.raises(schema.JournalError, match="has version 2; this program knows up to 1"):
        await Journal.open(path)
    assert path.read_bytes() == before


async def test_another_programs_database_is_refused_and_not_touched(tmp_path: Path) -> None:
    path = tmp_path / "j"
    connection = sqlite3.connect(path)
    connection.execute("CREATE TABLE recipes (name TEXT)")
    connection.commit()
    connection.close()
    before = path.read_bytes()
    with pytest.raises(schema.JournalError, match="database of another program"):
        await Journal.open(path)
    assert path.read_bytes() == before


async def test_a_folder_in_the_place_of_the_journal_is_told(tmp_path: Path) -> None:
    with pytest.raises(schema.JournalError, match="cannot be opened"):
        await Journal.open(tmp_path)


async def test_an_older_journal_is_brought_up_to_date(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "j"
    first = await opened_and_begun(path)
    first.note_step(woken(1.0), ())
    await first.close(5.0)
    later = (*schema.MIGRATIONS, ("ALTER TABLE steps ADD COLUMN place TEXT NOT NULL DEFAULT 'bench'",))
    monkeypatch.setattr(schema, "MIGRATIONS", later)
    await (await Journal.open(path)).close(5.0)
    connection = sqlite3.connect(path)
    assert connection.execute("SELECT version FROM schema").fetchall() == [(2,)]
    assert connection.execute("SELECT number, place FROM steps").fetchall() == [(1, "bench")]
    connection.close()


async def test_all_work_on_the_file_is_done_in_one_other_thread(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    threads: set[int] = set()
    working = rows.write

    def seen(connection: sqlite3.Connection, run: int, batch: Sequence[rows.Row]) -> bool:
        threads.add(threading.get_ident())
        return working(connection, run, batch)

    monkeypatch.setattr(rows, "write", seen)
    opened = await opened_and_begun(tmp_path / "j")
    for number in range(3):
        opened.note_step(woken(number), ())
        await durable(opened)
    await opened.close(5.0)
    assert len(threads) == 1
    assert threading.get_ident() not in threads


async def test_every_commit_is_synchronised_to_the_disk(tmp_path: Path) -> None:
    opened = schema.open_file(tmp_path / "j")
    full = opened.connection.execute("PRAGMA synchronous").fetchone()
    log = opened.connection.execute("PRAGMA journal_mode").fetchone()
    locking = opened.connection.execute("PRAGMA locking_mode").fetchone()
    opened.connection.close()
    assert (full, log, locking) == ((2,), ("wal",), ("exclusive",))


async def test_a_request_with_any_text_is_kept(tmp_path: Path) -> None:
    opened = await opened_and_begun(tmp_path / "j")
    odd = Request(Instant(1.0, 1.0, 1.0), "'; DROP TABLE steps; --\0µ", 0.0, 1.0, "socket", "who", "stop")
    actions: tuple[Action, ...] = ()
    opened.note_step(odd, actions)
    await opened.close(5.0)
    connection = sqlite3.connect(tmp_path / "j")
    text = connection.execute("SELECT event FROM steps").fetchone()[0]
    connection.close()
    assert codec.decode_event(text) == odd
    assert json.loads(text)["event"] == "request"
