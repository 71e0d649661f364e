"""Watchers at the control socket: the newest state, however slowly they read, and nothing kept for them."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from contextlib import aclosing
from pathlib import Path
from typing import Any

import pytest

from supervisor.edges import control
from supervisor.edges.client import stream
from supervisor.edges.control import Answer, ControlError, ControlServer, Peer
from tests.edges.kit import echo, raw, still_works


async def test_a_watcher_sees_the_newest_state_last_and_the_end(path: Path) -> None:
    async with ControlServer(path, echo):
        numbers = [state["number"] async for state in stream(path, {"count": 50})]
    assert numbers == sorted(set(numbers))
    assert numbers[-1] == 49


async def test_a_slow_watcher_gets_fewer_lines_and_the_last_one(path: Path) -> None:
    async with ControlServer(path, echo), raw(path, 2**14) as (reader, writer):
        body = {"count": 3000, "size": 4000}
        writer.write(json.dumps({"version": 1, "kind": "watch", "body": body}).encode() + b"\n")
        await asyncio.sleep(0.2)  # 12 MB of states come and go meanwhile
        writer.write(b"a watcher's words count for nothing\n")
        lines: list[Answer] = []
        while len(lines) == 0 or lines[-1]["number"] < 2999:
            lines.append(json.loads(await reader.readline()))
    assert len(lines) < 60


async def test_a_watcher_that_never_reads_is_let_go(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(control, "_STUCK_S", 0.05)
    async with ControlServer(path, echo) as server, raw(path) as (_, writer):
        writer.transport.pause_reading()  # type: ignore[attr-defined]
        body = {"count": 10**9, "size": 60_000}
        writer.write(json.dumps({"version": 1, "kind": "watch", "body": body}).encode() + b"\n")
        await asyncio.sleep(0.01)
        assert server._clients
        async with asyncio.timeout(5):
            await asyncio.gather(*server._clients)


async def test_a_watcher_that_leaves_ends_its_source(path: Path) -> None:
    ended = asyncio.Event()

    async def endless() -> AsyncIterator[Answer]:
        try:
            yield {"number": 0}
            await asyncio.Event().wait()
        finally:
            ended.set()

    async def handler(kind: str, body: dict[str, Any], peer: Peer) -> AsyncIterator[Answer]:
        return endless()

    async with ControlServer(path, handler):
        async with aclosing(stream(path)) as states:
            await anext(states)
        async with asyncio.timeout(5):
            await ended.wait()


async def test_states_that_fail_are_told_to_the_watcher(path: Path, caplog: pytest.LogCaptureFixture) -> None:
    async with ControlServer(path, echo):
        with pytest.raises(ControlError, match="log says why"):
            async for _ in stream(path, {"count": 3, "fail": True}):
                pass
        await still_works(path)
    assert "no more" in caplog.text
