"""Requests at the control socket: whatever comes in, an answer or an end, never a crash."""

from __future__ import annotations

import asyncio
import json
import os
import pwd
import tracemalloc
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from supervisor.edges import control
from supervisor.edges.client import ask
from supervisor.edges.control import ControlServer
from tests.edges.kit import echo, is_there, raw, say, still_works


async def test_a_request_reaches_the_handler_with_the_users_name_from_the_kernel(path: Path) -> None:
    async with ControlServer(path, echo):
        answer = await ask(path, "anodize start", {"area": "130 cm^2"})
    assert answer == {
        "version": 1,
        "ok": True,
        "kind": "anodize start",
        "body": {"area": "130 cm^2"},
        "user": pwd.getpwuid(os.getuid()).pw_name,
        "pid": os.getpid(),
    }


async def test_one_connection_may_ask_several_times(path: Path) -> None:
    line = b'{"version": 1, "kind": "status"}\n'
    async with ControlServer(path, echo):
        answers = await say(path, line * 3)
    assert [answer["kind"] for answer in answers] == ["status"] * 3


async def test_a_refusal_carries_every_reason(path: Path) -> None:
    async with ControlServer(path, echo):
        answer = await ask(path, "unknown", {})
    assert answer == {"version": 1, "ok": False, "reasons": ["There is no such request.", "Nor was there ever one."]}


@pytest.mark.parametrize("kind", ["broken", "not a number"])
async def test_a_failing_handler_is_answered_and_logged(
    path: Path, kind: str, caplog: pytest.LogCaptureFixture
) -> None:
    async with ControlServer(path, echo):
        answer = await ask(path, kind, {})
        await still_works(path)
    assert not answer["ok"]
    assert "log says why" in answer["reasons"][0]
    assert "A request at the control socket failed" in caplog.text


@pytest.mark.parametrize(
    ("line", "told"),
    [
        (b"", "not a line of JSON"),
        (b"hello", "not a line of JSON"),
        (b"\xff\xfe\x00", "not a line of JSON"),
        (b'{"version": 1, "kind": "status", "body": {"a": NaN}}', "not a line of JSON"),
        (b'{"version": 1, "kind": "status", "body": {"a": 1e999}}', "not a line of JSON"),
        (b'{"version": 1, "kind": "\\ud800"}', "not a line of JSON"),
        (b"[" * 60_000, "not a line of JSON"),
        (b'{"a":' * 12_000, "not a line of JSON"),
        (b"9" * 60_000, "not a line of JSON"),
        (b"[1]", "not a JSON object"),
        (b"null", "not a JSON object"),
        (b'{"kind": "status"}', "must have version 1"),
        (b'{"version": 2, "kind": "status"}', "must have version 1"),
        (b'{"version": true, "kind": "status"}', "must have version 1"),
        (b'{"version": 1.0, "kind": "status"}', "must have version 1"),
        (b'{"version": 1}', "must name its kind"),
        (b'{"version": 1, "kind": ["status"]}', "must name its kind"),
        (b'{"version": 1, "kind": "status", "body": []}', "body of the request"),
    ],
)
async def test_a_line_that_is_no_request_is_refused_and_the_next_one_served(path: Path, line: bytes, told: str) -> None:
    async with ControlServer(path, echo):
        first, second = await say(path, line + b'\n{"version": 1, "kind": "status"}\n')
    assert not first["ok"]
    assert told in first["reasons"][0]
    assert second["ok"]


@given(
    content=st.lists(st.binary(max_size=200) | st.sampled_from([b"\n", b'{"version": 1, "kind": "k"}\n'])).map(b"".join)
)
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_any_bytes_are_answered_line_by_line(path: Path, content: bytes) -> None:
    async def scenario() -> None:
        async with ControlServer(path, echo):
            answers = await say(path, content)
            await still_works(path)
        lines = content.split(b"\n")
        assert len(answers) == len(lines) - 1 + bool(lines[-1])
        assert all(isinstance(answer["ok"], bool) and answer["version"] == 1 for answer in answers)

    asyncio.run(scenario())


async def test_half_a_line_is_told(path: Path) -> None:
    async with ControlServer(path, echo):
        (answer,) = await say(path, b'{"version": 1, "kind": "stat')
    assert "cut short" in answer["reasons"][0]


async def test_a_line_of_ten_megabytes_is_refused_without_being_kept(path: Path) -> None:
    async with ControlServer(path, echo):
        await still_works(path)
        chunk = b"x" * 65536
        tracemalloc.start()
        async with raw(path) as (reader, writer):
            for _ in range(160):
                writer.write(chunk)
                await writer.drain()
            writer.write(b"\n")
            writer.write_eof()
            answers = [json.loads(line) async for line in reader]
        _, peak = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        await still_works(path)
    assert [answer["reasons"] for answer in answers] == [["The request is longer than 65536 bytes."]]
    assert peak < 1_500_000


async def test_the_longest_request_allowed_is_served(path: Path) -> None:
    line = b'{"version": 1, "kind": "status", "body": {"a": "%s"}}\n'
    filling = b"x" * (control.LONGEST_REQUEST - len(line) + 2)
    async with ControlServer(path, echo):
        (answer,) = await say(path, line % filling)
    assert answer["ok"]


async def test_clients_that_vanish_leave_nothing_behind(path: Path) -> None:
    async with ControlServer(path, echo) as server:
        for content in (b"", b'{"vers', b'{"version": 1, "kind": "status"}\n', b'{"version": 1, "kind": "watch", '):
            for _ in range(20):
                async with raw(path) as (_, writer):
                    writer.write(content)
        await still_works(path)
        for _ in range(100):
            if not server._clients:
                break
            await asyncio.sleep(0.001)
        assert not server._clients


async def test_a_silent_client_gives_its_place_to_another(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(control, "_IDLE_S", 0.02)
    async with ControlServer(path, echo):
        assert await say(path, b"", end=False) == []


async def test_too_many_clients_are_told_and_the_others_go_on(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(control, "_MOST_CLIENTS", 2)
    async with ControlServer(path, echo):
        async with raw(path) as (reader, writer), raw(path):
            (answer,) = await say(path, b"")
            assert "Too many" in answer["reasons"][0]
            writer.write(b'{"version": 1, "kind": "status"}\n')
            assert json.loads(await reader.readline())["ok"]
        await asyncio.sleep(0.01)
        await still_works(path)


async def test_closing_lets_every_client_go_and_removes_the_socket(path: Path) -> None:
    server = ControlServer(path, echo)
    await server.start()
    async with raw(path) as (reader, _):
        await still_works(path)
        await server.close()
        assert await reader.read() == b""
    assert not is_there(path)
    await server.close()
