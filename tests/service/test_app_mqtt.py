"""Publishing as a part of the service: off comes before it, nothing waits for it, and it says how the service ended."""

from __future__ import annotations

import asyncio
import json
import os
import signal
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from itertools import groupby

import pytest

from supervisor.core.anodize import State
from supervisor.core.events import Event
from supervisor.core.line import Line, Step
from supervisor.edges.mqtt import Publisher
from supervisor.service import app
from tests.edges.mqtt_kit import LINE_TOPIC, Seen, bad_broker, looking_on, publishes, real_broker, until
from tests.harness.lines import short_folder, write_files
from tests.harness.virtual import VirtualLine, virtual_line, virtually
from tests.harness.wire import service, simulators

SUPPLY_TOPIC, OPERATION_TOPIC = "ampminder/demo/supply/main", "ampminder/demo/operation/main"


@asynccontextmanager
async def published_line() -> AsyncIterator[tuple[VirtualLine, Seen]]:
    """Run a line that publishes, and look on."""
    async with real_broker() as port, looking_on(port) as seen, virtual_line() as line:
        publishes(line.files, port)
        await line.start()
        await until(lambda: seen.of(LINE_TOPIC))
        yield line, seen


def presence(seen: Seen) -> str:
    return str(seen.of(LINE_TOPIC)[-1]["presence"])


@virtually
async def test_a_load_is_told_from_start_to_end_and_the_operation_is_idle_after_its_reset() -> None:
    async with published_line() as (line, seen):
        await line.begin()
        await line.until_state(State.COMPLETE)
        await until(lambda: seen.of(OPERATION_TOPIC)[-1]["state"] == "complete")
        assert (await line.ask("reset"))["ok"]
        await until(lambda: seen.of(OPERATION_TOPIC)[-1]["state"] == "idle")
        states = [state for state, _ in groupby(payload["state"] for payload in seen.of(OPERATION_TOPIC))]
        assert states == ["idle", "running", "complete", "idle"]
        told = [payload["data"]["state"] for payload in seen.of("ampminder/demo/event/operation")]
        assert told == ["running", "stopping", "complete", "idle"]
        assert line.service.status()["mqtt"]["connected"]


@virtually
async def test_a_service_told_to_end_says_offline_after_off_is_proven() -> None:
    async with published_line() as (line, seen):
        await line.begin("20 um")
        await line.pass_time(300.0)
        await line.stop()
        await until(lambda: presence(seen) == "offline")
        assert seen.of(LINE_TOPIC)[-1]["reason"] == "ended"
        assert seen.of(SUPPLY_TOPIC)[-1]["off_proven"]
        assert not line.truly_on()


@virtually
async def test_a_cancelled_service_says_offline() -> None:
    async with published_line() as (line, seen):
        await line.begin("20 um")
        await line.pass_time(300.0)
        await line.crash()
        await until(lambda: presence(seen) == "offline")
        assert not line.truly_on()


def test_a_service_that_fails_says_offline(monkeypatch: pytest.MonkeyPatch) -> None:
    @virtually
    async def scenario() -> None:
        async with published_line() as (line, seen):
            await line.begin("20 um")
            await line.pass_time(300.0)

            def failing(_self: Line, _event: Event) -> Step:
                raise ZeroDivisionError("planted")

            monkeypatch.setattr(Line, "step", failing)
            await line.pass_time(600.0)
            with pytest.raises(ExceptionGroup):
                await line.stop()
            line._run = None
            await until(lambda: presence(seen) == "offline")
            assert not line.truly_on()

    scenario()


def test_off_is_sent_and_proven_before_publishing_closes(monkeypatch: pytest.MonkeyPatch) -> None:
    on_at_close: list[bool] = []

    @virtually
    async def scenario() -> None:
        async with published_line() as (line, _):
            close = Publisher.close

            async def closing(self: Publisher, within_s: float) -> None:
                on_at_close.append(line.truly_on())
                await close(self, within_s)

            monkeypatch.setattr(Publisher, "close", closing)
            await line.begin("20 um")
            await line.pass_time(300.0)
            await line.stop()
            assert [fate.proven for fate in line.service.fates] == [True]

    scenario()
    assert on_at_close == [False]


@virtually
async def test_a_broker_that_falls_silent_delays_the_end_by_its_own_deadline_and_off_by_nothing() -> None:
    async def accept_and_sleep(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.read(1024)
        writer.write(b"\x20\x02\x00\x00")
        await asyncio.sleep(1e6)

    async with bad_broker(accept_and_sleep) as port, virtual_line() as line:
        publishes(line.files, port)
        await line.start()
        await until(lambda: line.service.status()["mqtt"]["connected"])
        await line.begin("20 um")
        await line.pass_time(300.0)
        began_s = line.clock.now()
        await line.stop()
        (off,) = [t for t in line.truths if t["truth"] == "output" and not t["on"] and t["changed"]]
        off_s = off["wire_s"]
        assert isinstance(off_s, float)
        assert off_s - began_s < 0.5
        assert line.clock.now() - began_s < 0.5 + app.MQTT_CLOSE_S + 0.5


@virtually
async def test_without_a_broker_in_the_line_file_nothing_is_published() -> None:
    async with virtual_line() as line:
        await line.start()
        assert line.service.status()["mqtt"] is None


async def test_a_killed_supervisor_is_told_offline_by_its_will() -> None:
    with short_folder() as folder:
        files = write_files(folder)
        async with real_broker() as port, looking_on(port) as seen:
            publishes(files, port)
            with simulators(files), service(files) as running:
                await until(lambda: seen.of(LINE_TOPIC))
                os.kill(running.process.pid, signal.SIGKILL)
                await until(lambda: presence(seen) == "offline")
            assert seen.of(LINE_TOPIC)[-1]["reason"] == "connection lost"
            async with looking_on(port) as later:
                await until(lambda: later.of(LINE_TOPIC))
            assert presence(later) == "offline"  # it is retained


async def test_no_secret_reaches_log_record_or_status() -> None:
    with short_folder() as folder:
        files = write_files(folder)
        (folder / "word").write_text("open-sesame\n")
        (folder / "word").chmod(0o600)
        async with real_broker() as port, looking_on(port) as seen:
            publishes(files, port, 'user = "line"', 'password_file = "word"')
            with simulators(files), service(files) as running:
                await until(lambda: seen.of(LINE_TOPIC))
                told = json.dumps(await asyncio.to_thread(running.status))
                assert await asyncio.to_thread(running.stop) == 0
        (folder / "word").unlink()
        searched = [path for path in folder.rglob("*") if path.is_file()]
        assert any(path.suffix == ".journal" for path in searched)
        assert not [path for path in searched if b"sesame" in path.read_bytes()]
        assert "sesame" not in told
        assert not [message for message in seen.messages if b"sesame" in message[2]]
