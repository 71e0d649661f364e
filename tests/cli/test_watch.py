"""`ampminder watch`: each state as it comes, and a plain sentence when the supervisor ends."""

from __future__ import annotations

import asyncio
import json
import threading
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from supervisor.cli.main import main
from supervisor.edges.control import ControlServer, Peer, socket_path
from tests.cli.states import IDLE, running


@pytest.fixture(autouse=True)
def _runtime(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path_factory.mktemp("run")
    folder.chmod(0o700)
    monkeypatch.setenv("AMPMINDER_RUNTIME", str(folder))


@contextmanager
def supervisor(*states: dict[str, Any]) -> Iterator[None]:
    """Serve these states at the socket of a line, from a thread of its own, and end."""

    async def tell() -> AsyncIterator[dict[str, Any]]:
        for state in states:
            yield state
            await asyncio.sleep(0.02)

    async def handle(_kind: str, _body: dict[str, Any], _peer: Peer) -> AsyncIterator[dict[str, Any]]:
        return tell()

    async def serve() -> None:
        async with ControlServer(socket_path("bench"), handle):
            listening.set()
            await asyncio.to_thread(over.wait)

    listening, over = threading.Event(), threading.Event()
    thread = threading.Thread(target=lambda: asyncio.run(serve()))
    thread.start()
    assert listening.wait(2.0)
    try:
        yield
    finally:
        over.set()
        thread.join()


Out = Callable[[], tuple[str, str]]


@pytest.fixture
def out(capsys: pytest.CaptureFixture[str]) -> Out:
    return lambda: tuple(capsys.readouterr())  # type: ignore[return-value]


def test_without_a_terminal_plain_lines_come_and_the_end_is_told(out: Out) -> None:
    with supervisor(running(), running(state="complete", wanted_on=False, off_proven=True)):
        assert main(["watch"]) == 0
    told, problems = out()
    states = [line for line in told.splitlines() if line.startswith("main: ")]
    assert states[0].startswith("main: running, output on")
    assert states[1].startswith("main: complete, output off, proven")
    assert "The supervisor has ended." in told
    assert problems == ""


def test_json_gives_each_state_as_a_line_of_its_own_and_nothing_else(out: Out) -> None:
    with supervisor(running(), running(**IDLE)):
        assert main(["watch", "--json"]) == 0
    told, problems = out()
    states = [json.loads(line) for line in told.splitlines()]
    assert [state["supplies"]["main"]["state"] for state in states] == ["running", "idle"]
    assert {state["version"] for state in states} == {1}
    assert "The supervisor has ended." in problems


def test_a_supervisor_that_ends_without_a_proof_of_off_sends_the_person_to_off(out: Out) -> None:
    with supervisor(running()):
        main(["watch"])
    assert "ampminder off FILE" in out()[0]


def test_nobody_to_watch_is_told(out: Out, tmp_path: Path) -> None:
    assert main(["watch"]) == 1
    assert "No supervisor is running" in out()[1]
