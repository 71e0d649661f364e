"""A supervisor that only takes requests, so that what is typed can be seen arriving."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import pytest

from supervisor.edges.control import ControlServer, Peer, Refusal, socket_path

Asked = list[tuple[str, dict[str, Any]]]


@dataclass
class Supervisor:
    """Does whatever it is asked, but for alarms that it refuses.

    Attributes:
        asked: every request that came but those for its status, without what dates it. ids: of all of them.
        status, calibrations: how it says the line and its instruments stand. refuses: alarms by name, with the reason.
    """

    asked: Asked = field(default_factory=list)
    ids: list[str] = field(default_factory=list)
    status: dict[str, Any] = field(default_factory=dict)
    calibrations: dict[str, Any] = field(default_factory=dict)
    refuses: dict[str, str] = field(default_factory=dict)
    notice: str = ""

    async def handle(self, kind: str, body: dict[str, Any], _peer: Peer) -> dict[str, Any]:
        if kind == "status":
            return self.status
        if kind == "calibrations":
            return self.calibrations
        self.ids.append(body["id"])
        self.asked.append((kind, {key: said for key, said in body.items() if key not in {"id", "made_wire_s"}}))
        if body.get("alarm") in self.refuses:
            raise Refusal(self.refuses[body["alarm"]])
        return {"supply": "main", "load": "load-1", "operation": "bench-1", "notice": self.notice}


@pytest.fixture
def supervisor(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Iterator[Supervisor]:
    """The only supervisor that is running."""
    folder = tmp_path_factory.mktemp("run")
    folder.chmod(0o700)
    monkeypatch.setenv("AMPMINDER_RUNTIME", str(folder))
    made = Supervisor()

    async def serve() -> None:
        async with ControlServer(socket_path("bench"), made.handle):
            listening.set()
            await asyncio.to_thread(over.wait)

    listening, over = threading.Event(), threading.Event()
    thread = threading.Thread(target=lambda: asyncio.run(serve()))
    thread.start()
    assert listening.wait(2.0)
    try:
        yield made
    finally:
        over.set()
        thread.join()


@pytest.fixture
def asked(supervisor: Supervisor) -> Asked:
    """Every request that comes to it."""
    return supervisor.asked
