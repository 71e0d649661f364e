"""The sign of life: it comes while the loop goes round, stops with it, and nothing depends on who listens."""

from __future__ import annotations

import asyncio
import socket
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from supervisor.service.life import show_life
from tests.harness.virtual import virtual_line, virtually


@pytest.fixture
def systemd(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[socket.socket]:
    """Listen as systemd does; it allows 30 ms."""
    monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "notify"))
    monkeypatch.setenv("WATCHDOG_USEC", "30000")
    monkeypatch.delenv("WATCHDOG_PID", raising=False)
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listener:
        listener.bind(str(tmp_path / "notify"))
        listener.setblocking(False)
        yield listener


def signs(listener: socket.socket) -> list[bytes]:
    found = []
    with suppress(BlockingIOError):
        while True:
            found.append(listener.recv(100))
    return found


async def test_signs_come_in_time_and_stop_when_the_loop_stands_still(systemd: socket.socket) -> None:
    task = asyncio.create_task(show_life(lambda: True))
    await asyncio.sleep(0.035)
    assert set(signs(systemd)) == {b"WATCHDOG=1"}
    time.sleep(0.035)  # noqa: ASYNC251 - the loop stands still, which is the point
    assert signs(systemd) == []
    task.cancel()


@pytest.mark.parametrize(
    ("name", "value"),
    [("NOTIFY_SOCKET", ""), ("WATCHDOG_USEC", ""), ("WATCHDOG_USEC", "soon"), ("WATCHDOG_PID", "0")],
)
async def test_where_nobody_asks_for_signs_none_are_given(
    name: str, value: str, systemd: socket.socket, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(name, value)
    await asyncio.wait_for(show_life(lambda: True), 1.0)
    assert signs(systemd) == []


async def test_a_listener_that_has_gone_is_no_failure(systemd: socket.socket) -> None:
    systemd.close()
    task = asyncio.create_task(show_life(lambda: True))
    await asyncio.sleep(0.025)
    assert not task.done()
    task.cancel()


def test_a_running_service_gives_signs_and_an_ended_one_none(systemd: socket.socket) -> None:
    @virtually
    async def scenario() -> None:
        async with virtual_line() as line:
            await line.start()
            signs(systemd)
            await line.pass_time(6.0)
            assert signs(systemd)
            await line.stop()
            signs(systemd)
            await line.pass_time(60.0)
            assert signs(systemd) == []

    scenario()


async def test_no_sign_is_given_while_the_core_decides_nothing(systemd: socket.socket) -> None:
    decides = False
    task = asyncio.create_task(show_life(lambda: decides))
    await asyncio.sleep(0.035)
    assert signs(systemd) == []
    decides = True
    await asyncio.sleep(0.035)
    assert signs(systemd)
    task.cancel()
