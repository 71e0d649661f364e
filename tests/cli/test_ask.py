"""What the commands of a person become at the supervisor's socket, and what they are told."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Iterator
from typing import Any

import pytest

from supervisor.cli.main import main
from supervisor.edges.control import ControlServer, Peer, socket_path

Asked = list[tuple[str, dict[str, Any]]]


@pytest.fixture
def asked(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Iterator[Asked]:
    """Every request that comes to a supervisor who does whatever is asked, without what dates it."""
    folder = tmp_path_factory.mktemp("run")
    folder.chmod(0o700)
    monkeypatch.setenv("AMPMINDER_RUNTIME", str(folder))
    came: Asked = []

    async def handle(kind: str, body: dict[str, Any], _peer: Peer) -> dict[str, Any]:
        came.append((kind, {key: said for key, said in body.items() if key not in {"id", "made_wire_s"}}))
        return {"supply": "main", "load": "load-1", "operation": "bench-1"}

    async def serve() -> None:
        async with ControlServer(socket_path("bench"), handle):
            listening.set()
            await asyncio.to_thread(over.wait)

    listening, over = threading.Event(), threading.Event()
    thread = threading.Thread(target=lambda: asyncio.run(serve()))
    thread.start()
    assert listening.wait(2.0)
    try:
        yield came
    finally:
        over.set()
        thread.join()


@pytest.mark.parametrize(
    ("typed", "kind", "body"),
    [
        ("start --area 1dm^2 --confirmed", "start", {"area": "1dm^2", "confirmed": True}),
        ("start --area 1dm^2", "start", {"area": "1dm^2"}),
        ("restart --supply main --confirmed", "restart", {"supply": "main", "confirmed": True}),
        ("restart", "restart", {}),
        ("confirm", "confirm", {}),
        ("confirm --supply main", "confirm", {"supply": "main"}),
    ],
)
def test_what_a_person_confirms_is_asked_for_as_that(
    typed: str, kind: str, body: dict[str, Any], asked: Asked, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["anodize", *typed.split()]) == 0
    assert asked == [(kind, body)]
    assert ("What to turn its knobs to: ampminder status" in capsys.readouterr().out) is ("confirmed" in body)


@pytest.mark.parametrize("what", ["hold", "stop", "confirm"])
def test_only_what_begins_can_be_confirmed_beforehand(what: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["anodize", what, "--confirmed"])
    assert "--confirmed" in capsys.readouterr().err
