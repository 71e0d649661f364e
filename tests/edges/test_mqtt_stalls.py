"""A connect or name look-up that hangs: it hangs in a thread, nobody waits for it, and nothing of it is left."""

from __future__ import annotations

import asyncio
import socket
import threading
import time
from collections.abc import Iterator
from typing import Any

import pytest

from tests.edges.mqtt_kit import Played, a_note

STALLS_S = 20.0
"""Far more than any of these tests takes; what waits for the thread fails by its time."""


class Hanging:
    """Stands in for the calls that can block; each waits until it is let go."""

    def __init__(self) -> None:
        self.entered = threading.Event()
        self.released = threading.Event()
        self.threads: list[threading.Thread] = []
        self.connect = socket.create_connection

    def __call__(self, *address: Any, **how: Any) -> socket.socket:
        self.threads.append(threading.current_thread())
        self.entered.set()
        self.released.wait(STALLS_S)
        return self.connect(*address, **how)


@pytest.fixture
def hanging(monkeypatch: pytest.MonkeyPatch) -> Iterator[Hanging]:
    hanging = Hanging()
    monkeypatch.setattr(socket, "create_connection", hanging)
    yield hanging
    hanging.released.set()
    for thread in hanging.threads:
        thread.join(STALLS_S)


async def entered(hanging: Hanging) -> None:
    while not hanging.entered.is_set():  # noqa: ASYNC110 - the event is another thread's
        await asyncio.sleep(0.001)


def test_the_loop_goes_round_and_takes_events_while_a_connect_hangs(hanging: Hanging) -> None:
    async def scenario() -> None:
        publisher = Played().publisher(1)
        publisher.start()
        await entered(hanging)
        for number in range(1000):
            publisher.note(a_note(number))
            await asyncio.sleep(0)
        assert not hanging.released.is_set()
        assert publisher.told()["events_waiting"] == 1000
        await publisher.close(2.0)

    began_s = time.monotonic()
    asyncio.run(scenario())
    assert time.monotonic() - began_s < STALLS_S / 4
    assert threading.main_thread() not in hanging.threads


def test_a_program_ends_although_a_connect_hangs(hanging: Hanging) -> None:
    async def scenario() -> None:
        publisher = Played().publisher(1)
        publisher.start()
        await entered(hanging)
        await publisher.close(2.0)

    began_s = time.monotonic()
    asyncio.run(scenario())
    assert time.monotonic() - began_s < 1.0
    assert all(thread.daemon and thread.is_alive() for thread in hanging.threads)


def test_a_connection_that_comes_about_after_the_end_is_closed_at_once(hanging: Hanging) -> None:
    async def scenario() -> bytes:
        came = asyncio.get_running_loop().create_future()

        async def take(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            came.set_result(await reader.read())  # until it is closed
            writer.close()

        server = await asyncio.start_server(take, "127.0.0.1", 0)
        publisher = Played().publisher(server.sockets[0].getsockname()[1])
        publisher.start()
        await entered(hanging)
        await publisher.close(2.0)
        hanging.released.set()
        async with asyncio.timeout(5.0):
            told: bytes = await came
        server.close()
        return told

    assert asyncio.run(scenario()) == b""
