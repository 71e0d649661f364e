"""The journal's file: damaged, foreign, older or newer ones, and how it is held and written."""

from __future__ import annotations

import asyncio
import sqlite3
import sys
from pathlib import Path

import pytest

from supervisor.core.actions import Note
from supervisor.records import schema
from supervisor.records.journal import Journal
from tests.records.kit import opened_and_begun, woken


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


async def test_every_commit_is_synchronised_to_the_disk(tmp_path: Path) -> None:
    opened = schema.open_file(tmp_path / "j")
    full = opened.connection.execute("PRAGMA synchronous").fetchone()
    log = opened.connection.execute("PRAGMA journal_mode").fetchone()
    locking = opened.connection.execute("PRAGMA locking_mode").fetchone()
    opened.connection.close()
    assert (full, log, locking) == ((2,), ("wal",), ("exclusive",))
