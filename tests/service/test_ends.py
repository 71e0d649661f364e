"""Start and end of the service: off comes first and last, whatever else of it cannot be had (R3, R11)."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from supervisor.edges.client import _connected
from supervisor.edges.client import _send as send
from supervisor.edges.control import ControlError, socket_path
from supervisor.records import schema
from supervisor.records.journal import Journal
from supervisor.records.schema import JournalError
from supervisor.service import app, restore
from supervisor.service.app import Service, journal_path
from tests.harness.virtual import VirtualLine, virtual_line, virtually


@asynccontextmanager
async def left_on() -> AsyncIterator[VirtualLine]:
    """A line whose output somebody left on, and no supervisor."""
    async with virtual_line() as line:
        line.switch_on_by_hand()
        await line.pass_time(60.0)
        assert line.truly_on()
        yield line


def service(line: VirtualLine) -> Service:
    return Service(line.files.load(), line.clock, tell=line.notes.append, link_trace=line._ptys.trace)


@virtually
async def test_a_journal_that_cannot_be_opened_does_not_keep_off_from_being_sent() -> None:
    async with left_on() as line:
        path = journal_path(line.files.load())
        path.parent.write_text("a file where the folder should be")
        supervisor = service(line)
        with pytest.raises(JournalError):
            await supervisor.run(asyncio.Event())
        assert not line.truly_on()
        assert [fate.proven for fate in supervisor.fates] == [True]


@virtually
async def test_a_disk_that_never_answers_does_not_keep_off_from_being_sent() -> None:
    async with left_on() as line:
        run: asyncio.Task[object] | None = None
        with pytest.MonkeyPatch.context() as patch:

            async def never(_path: Path) -> Journal:
                await asyncio.Event().wait()
                raise AssertionError

            patch.setattr(Journal, "open", never)
            run = asyncio.create_task(service(line).run(asyncio.Event()))
            await line.pass_time(60.0)
            assert not line.truly_on()
            run.cancel()
            await asyncio.wait({run})


@virtually
async def test_a_socket_that_cannot_be_made_ends_the_service_with_off_proven() -> None:
    async with left_on() as line:
        supervisor = service(line)
        socket_path(supervisor.setup.name).write_text("in the way")
        with pytest.raises(ControlError, match="in the way"):
            await supervisor.run(asyncio.Event())
        assert [fate.proven for fate in supervisor.fates] == [True]
        assert not line.truly_on()


@pytest.mark.parametrize("problem", [AttributeError("planted"), OSError(28, "disk full"), RecursionError()])
def test_whatever_fails_in_bringing_back_the_run_before_the_line_is_supervised(
    problem: Exception, monkeypatch: pytest.MonkeyPatch
) -> None:
    def failing(_last: object) -> restore.Restored:
        raise problem

    @virtually
    async def scenario() -> None:
        async with left_on() as line:
            monkeypatch.setattr(app, "restore", failing)
            await line.start()
            assert not line.truly_on()
            assert line.supply.output.proven_off

    scenario()


@pytest.mark.parametrize("begins", ["before it starts", "while the journal is opened"])
def test_being_told_to_end_during_the_start_ends_with_off_proven(begins: str, monkeypatch: pytest.MonkeyPatch) -> None:
    @virtually
    async def scenario() -> None:
        async with left_on() as line:
            stop = asyncio.Event()
            opens = schema.open_file
            if begins == "before it starts":
                stop.set()
            loop = asyncio.get_running_loop()

            def opening(path: Path) -> schema.Opened:
                loop.call_soon_threadsafe(stop.set)
                return opens(path)

            monkeypatch.setattr(schema, "open_file", opening)
            fates = await service(line).run(stop)
            assert [fate.proven for fate in fates] == [True]
            assert not line.truly_on()

    scenario()


@virtually
async def test_a_cancel_in_the_last_way_to_off_neither_cuts_it_short_nor_hides_how_it_went() -> None:
    async with virtual_line({"what": "device silent", "device": "rectifier", "at_s": 0.0}) as line:
        supervisor = service(line)
        stop = asyncio.Event()
        stop.set()
        run = asyncio.create_task(supervisor.run(stop))
        for _ in range(100):
            await asyncio.sleep(0.1)
            run.cancel()
        assert run.cancelled()
        (fate,) = supervisor.fates
        assert not fate.proven
        assert fate.sent > 1


@virtually
async def test_a_watcher_that_reads_nothing_does_not_hold_up_the_end() -> None:
    async with virtual_line() as line:
        await line.start()
        await line.begin("20 um")
        await line.pass_time(60.0)
        async with _connected(socket_path("demo")) as (reader, writer):
            reader._transport.pause_reading()  # type: ignore[attr-defined]
            await send(writer, "watch", {})
            await line.pass_time(3600.0)
            began_s = line.clock.now()
            assert [fate.proven for fate in await line.stop()] == [True]
            assert line.clock.now() - began_s < 1.0
        assert not line.truly_on()
