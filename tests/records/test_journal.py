"""The journal: nothing reported durable is ever lost, and one bad step costs only itself."""

from __future__ import annotations

import json
import signal
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Sequence
from pathlib import Path

import pytest

from supervisor.core.actions import Action
from supervisor.core.events import Instant, Request
from supervisor.records import codec, journal, rows, schema
from tests.records.kit import INTENT, durable, opened_and_begun, steps_in, until, woken


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
    second.note_snapshot('"as the first one left it"')
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
from tests.records.kit import INTENT, durable, opened_and_begun, woken

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
