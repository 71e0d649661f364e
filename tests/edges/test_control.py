"""The control socket: for owner and group only, and whatever comes in, an answer or an end, never a crash."""

from __future__ import annotations

import asyncio
import json
import os
import pwd
import socket
import stat
import subprocess
import sys
import tracemalloc
from contextlib import aclosing, asynccontextmanager
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from supervisor.edges import client, control
from supervisor.edges.client import NoSupervisorError, ask, only_socket, stream
from supervisor.edges.control import Answer, ControlError, ControlServer, Peer, Refusal, socket_path

if TYPE_CHECKING:
    from collections.abc import AsyncIterator
    from pathlib import Path


async def echo(kind: str, body: dict[str, Any], peer: Peer) -> Answer | AsyncIterator[Answer]:
    """Says what came in; a few kinds do something else."""
    if kind == "unknown":
        raise Refusal("There is no such request.", "Nor was there ever one.")
    if kind == "broken":
        raise TimeoutError("inside the handler")
    if kind == "not a number":
        return {"value": float("nan")}
    if kind == "watch":
        return counting(body)
    return {"kind": kind, "body": body, "user": peer.user, "pid": peer.pid}


async def counting(body: dict[str, Any]) -> AsyncIterator[Answer]:
    for number in range(body["count"]):
        yield {"number": number, "filling": "x" * body.get("size", 0)}
        await asyncio.sleep(0)
    if body.get("fail"):
        raise ArithmeticError("no more")


@pytest.fixture
def path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("AMPMINDER_RUNTIME", str(tmp_path))
    return socket_path("demo")


@asynccontextmanager
async def raw(path: Path, limit: int = 2**20) -> AsyncIterator[tuple[asyncio.StreamReader, asyncio.StreamWriter]]:
    reader, writer = await asyncio.open_unix_connection(path, limit=limit)
    try:
        async with asyncio.timeout(10):
            yield reader, writer
    finally:
        writer.transport.abort()


async def say(path: Path, content: bytes, *, end: bool = True) -> list[Answer]:
    """Send bytes and return every line that comes back until the server ends the connection."""
    async with raw(path) as (reader, writer):
        writer.write(content)
        if end:
            writer.write_eof()
        return [json.loads(line) async for line in reader]


def is_there(path: Path) -> bool:
    return path.exists()


async def still_works(path: Path) -> None:
    assert (await ask(path, "status", {"a": 1}))["body"] == {"a": 1}


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


async def test_closing_lets_every_client_go_and_removes_the_socket(path: Path) -> None:
    server = ControlServer(path, echo)
    await server.start()
    async with raw(path) as (reader, _):
        await still_works(path)
        await server.close()
        assert await reader.read() == b""
    assert not is_there(path)
    await server.close()


async def test_only_owner_and_group_may_connect(path: Path) -> None:
    mask = os.umask(0)
    try:
        async with ControlServer(path, echo):
            mode = os.lstat(path).st_mode
    finally:
        os.umask(mask)
    assert stat.S_ISSOCK(mode)
    assert stat.S_IMODE(mode) == 0o660


async def test_a_socket_left_by_a_dead_process_is_replaced(path: Path) -> None:
    left = socket.socket(socket.AF_UNIX)
    left.bind(str(path))
    left.close()
    async with ControlServer(path, echo):
        await still_works(path)


async def test_the_socket_of_a_live_process_is_left_alone(path: Path) -> None:
    async with ControlServer(path, echo):
        with pytest.raises(ControlError, match="listens at"):
            await ControlServer(path, echo).start()
        await still_works(path)


def test_a_file_in_the_place_of_the_socket_is_not_touched(path: Path) -> None:
    path.write_text("notes")
    with pytest.raises(ControlError, match="is no socket"):
        asyncio.run(ControlServer(path, echo).start())
    assert path.read_text() == "notes"


def test_a_socket_path_the_kernel_cannot_take_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("AMPMINDER_RUNTIME", str(tmp_path / ("deep" * 25)))
    with pytest.raises(ControlError, match="shorter folder"):
        socket_path("demo")


def test_a_line_of_any_name_has_a_socket_in_the_folder(path: Path) -> None:
    names = ["demo", "../../etc", "a/b", "a%2Fb", "Säure 2"]
    paths = {socket_path(name) for name in names}
    assert len(paths) == len(names)
    assert {each.parent for each in paths} == {path.parent}


async def test_asking_where_nobody_listens_says_so(path: Path) -> None:
    with pytest.raises(NoSupervisorError, match="No supervisor runs for this line"):
        await ask(path, "status", {})
    left = socket.socket(socket.AF_UNIX)
    left.bind(str(path))
    left.close()
    with pytest.raises(NoSupervisorError, match="No supervisor runs for this line"):
        await ask(path, "status", {})


async def answering(path: Path, content: bytes | None) -> asyncio.Server:
    """A server that is none of ours: it answers anything with these bytes and ends, or never answers."""

    async def welcome(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.readline()
        if content is None:
            await reader.read()
        else:
            writer.write(content)
        writer.close()

    return await asyncio.start_unix_server(welcome, path)


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "ended the connection without an answer"),
        (b'{"version": 1, "ok"', "ended the connection without an answer"),
        (b"welcome\n", "does not answer as a supervisor does"),
        (b"[]\n", "another version"),
        (b'{"version": 2, "ok": true}\n', "another version"),
        (b'{"version": 1}\n', "another version"),
        (b"x" * 200 + b"\n", "too long"),
        (None, "did not answer within 0.05 s"),
    ],
)
async def test_an_answer_that_is_none_is_told_in_plain_words(
    path: Path, monkeypatch: pytest.MonkeyPatch, content: bytes | None, told: str
) -> None:
    monkeypatch.setattr(client, "_LONGEST_ANSWER", 100)
    server = await answering(path, content)
    try:
        with pytest.raises(ControlError, match=told):
            await ask(path, "status", {}, 0.05)
    finally:
        server.close()
        await asyncio.gather(*asyncio.all_tasks() - {asyncio.current_task()})


async def test_the_only_socket_is_found_and_several_are_named(path: Path) -> None:
    with pytest.raises(NoSupervisorError, match="No supervisor is running"):
        only_socket()
    async with ControlServer(path, echo):
        assert only_socket() == path
        left = socket.socket(socket.AF_UNIX)
        left.bind(str(path.with_name("old.sock")))
        left.close()
        path.with_name("notes.sock").write_text("")
        assert only_socket() == path
        async with ControlServer(socket_path("second line"), echo):
            with pytest.raises(ControlError, match=r"demo, second line\. Say which with --line"):
                only_socket()


def test_a_user_outside_owner_and_group_is_told(path: Path) -> None:
    if os.getuid() != 0:
        pytest.skip("only root can try it as somebody else")
    attempt = (
        "import asyncio, os, sys; from pathlib import Path; from supervisor.edges.client import ask\n"
        "os.setgroups([]); os.setgid(65534); os.setuid(65534)\n"
        "try: asyncio.run(ask(Path(sys.argv[1]), 'status', {}))\n"
        "except Exception as problem: print(problem)"
    )

    async def scenario() -> bytes:
        async with ControlServer(path, echo):
            child = await asyncio.create_subprocess_exec(
                sys.executable, "-c", attempt, str(path), stdout=subprocess.PIPE
            )
            out, _ = await child.communicate()
            return out

    assert b"You may not talk to this supervisor" in asyncio.run(scenario())
