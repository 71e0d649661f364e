"""Connecting to a host within a time, and what is said where it cannot be."""

from __future__ import annotations

import asyncio
import contextlib
import errno
import socket
import threading
from collections.abc import Iterator

import pytest

from drivers import tcp_link
from drivers.ports import LinkDown
from drivers.tcp_link import Host

WITHIN_S = 0.05


@pytest.fixture
def server() -> Iterator[socket.socket]:
    with socket.create_server(("127.0.0.1", 0), backlog=1) as listening:
        yield listening


def port_of(server: socket.socket) -> int:
    port: int = server.getsockname()[1]
    return port


async def test_a_host_is_connected_to_by_address_and_by_name(server: socket.socket) -> None:
    for name in ("127.0.0.1", "localhost"):
        with await Host(name, port_of(server)).connect(5.0) as sock:
            assert sock.getpeername() == server.getsockname()


async def test_a_refusal_names_the_port_and_the_programs_that_may_hold_it(server: socket.socket) -> None:
    port = port_of(server)
    server.close()
    with pytest.raises(LinkDown, match=rf"127.0.0.1:{port} refuses .* takes none at port {port}; check the port"):
        await Host("127.0.0.1", port).connect(5.0)


async def test_a_host_that_is_silent_is_told_in_time_and_what_to_check(server: socket.socket) -> None:
    """A server whose queue is full does not answer at all (listen(2), tcp(7) tcp_abort_on_overflow)."""
    host, waiting = Host("127.0.0.1", port_of(server)), contextlib.ExitStack()

    async def fill_the_queue() -> None:
        while True:
            waiting.enter_context(await host.connect(WITHIN_S))

    began_s = asyncio.get_running_loop().time()
    with waiting, pytest.raises(LinkDown, match=r"\(nothing came within 50 ms\); check that it has power and its net"):
        await fill_the_queue()
    assert asyncio.get_running_loop().time() - began_s < 1.0


@pytest.mark.parametrize(
    ("number", "told"),
    [
        (errno.EHOSTUNREACH, r"cannot be reached \(No route to host\); check that it has power"),
        (errno.ENETUNREACH, "this computer has no way there; check its own network cable"),
    ],
)
async def test_a_missing_host_is_told_from_a_missing_network(
    monkeypatch: pytest.MonkeyPatch, number: int, told: str
) -> None:
    async def fail(*_: object) -> socket.socket:
        raise OSError(number, {errno.EHOSTUNREACH: "No route to host"}.get(number, "Network is unreachable"))

    monkeypatch.setattr(tcp_link, "_connected", fail)
    with pytest.raises(LinkDown, match=told):
        await Host("192.0.2.10", 502).connect(WITHIN_S)


@pytest.mark.parametrize("name", ["no-such-host.invalid", "two..dots", "x" * 80])
async def test_a_name_nobody_knows_is_told_as_that(monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    known = socket.getaddrinfo

    def nobody(host: str, port: int, *, type: int, flags: int = 0) -> object:  # noqa: A002
        if host.endswith(".invalid") and not flags:
            raise socket.gaierror(socket.EAI_NONAME, "Name or service not known")
        return known(host, port, type=type, flags=flags)

    monkeypatch.setattr(socket, "getaddrinfo", nobody)
    with pytest.raises(LinkDown, match=rf"the name {name} is not known here; check it, or write the device's address"):
        await Host(name, 502).connect(5.0)


async def test_a_slow_look_up_ends_an_attempt_in_time_and_serves_a_later_one(
    monkeypatch: pytest.MonkeyPatch, server: socket.socket
) -> None:
    known, let_go, begun = socket.getaddrinfo, threading.Event(), []

    def slow(host: str, port: int, *, type: int, flags: int = 0) -> object:  # noqa: A002
        if not flags:
            begun.append(host)
            let_go.wait(10.0)
            return known("127.0.0.1", port, type=type)
        return known(host, port, type=type, flags=flags)

    monkeypatch.setattr(socket, "getaddrinfo", slow)
    host = Host("relays.example", port_of(server))
    for _ in range(2):
        with pytest.raises(LinkDown, match="is not known here"):
            await host.connect(WITHIN_S)
    let_go.set()
    with await host.connect(5.0) as sock:
        assert sock.getpeername() == server.getsockname()
    assert begun == ["relays.example"], "one look-up served them all"


async def test_the_next_address_of_a_name_is_tried_where_the_first_is_dead(
    monkeypatch: pytest.MonkeyPatch, server: socket.socket
) -> None:
    with socket.create_server(("127.0.0.1", 0)) as gone:
        dead = gone.getsockname()
    places = [(socket.AF_INET, socket.SOCK_STREAM, 0, "", address) for address in (dead, server.getsockname())]
    monkeypatch.setattr(socket, "getaddrinfo", lambda *_, **__: places)
    with await Host("relays.example", 502).connect(5.0) as sock:
        assert sock.getpeername() == server.getsockname()
