"""The asking end: nobody there, several there, and answers that are none, told in plain words."""

from __future__ import annotations

import asyncio
import socket
from pathlib import Path

import pytest

from supervisor.edges import client
from supervisor.edges.client import NoSupervisorError, ask, only_socket
from supervisor.edges.control import ControlError, ControlServer, socket_path
from tests.edges.kit import echo


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
