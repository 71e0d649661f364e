"""Hosts on the network as the operating system shows them: connected to in good time, and why that cannot be."""

from __future__ import annotations

import asyncio
import contextlib
import errno
import socket
import struct
import threading
from collections.abc import Sequence
from concurrent.futures import Future
from typing import Any

from drivers.ports import LinkDown

Places = Sequence[tuple[int, int, int, str, Any]]
"""Where a name may be found, as `socket.getaddrinfo` tells it."""

NO_WAY = {errno.ENETUNREACH, errno.ENETDOWN, errno.EADDRNOTAVAIL}
"""What a computer says that has no way to an address itself."""


class Host:
    """One host and one of its ports."""

    def __init__(self, name: str, port: int) -> None:
        self._name = name
        self._port = port
        self._looking: Future[Places] | None = None

    async def connect(self, within_s: float) -> socket.socket:
        """Return a socket that is connected; bytes that could not arrive die with it, see `die_with`.

        Args:
            within_s: how long it may take, looking the name up included, s.

        Raises LinkDown with a text that tells an unknown name from a silent host, a refusal, and no way there.
        """
        loop = asyncio.get_running_loop()
        until_s = loop.time() + within_s
        try:
            async with asyncio.timeout_at(until_s):
                places = await self._look_up()
        except OSError as exc:
            why = f"the name {self._name} is not known here; check it, or write the device's address in its place"
            raise LinkDown(why) from exc
        problem = OSError()
        for left, place in zip(range(len(places), 0, -1), places, strict=True):
            share_s = (until_s - loop.time()) / left
            try:
                async with asyncio.timeout(share_s):
                    return await _connected(place)
            except OSError as exc:
                problem = exc
        raise LinkDown(self._why_not(problem, within_s)) from problem

    async def _look_up(self) -> Places:
        """Find the addresses of a name; a look-up that takes longer than one attempt serves the next."""
        with contextlib.suppress(socket.gaierror, UnicodeError):  # an address needs no look-up
            return socket.getaddrinfo(self._name, self._port, type=socket.SOCK_STREAM, flags=socket.AI_NUMERICHOST)
        looking = self._looking = self._looking or self._begun()
        try:
            return await asyncio.wrap_future(looking)
        finally:
            if looking.done():
                self._looking = None

    def _begun(self) -> Future[Places]:
        """Begin to look, in a thread that nobody waits for: it can take minutes, and a program must be able to end."""
        found: Future[Places] = Future()
        found.set_running_or_notify_cancel()  # an attempt that gives up does not cancel it
        threading.Thread(target=self._look, args=(found,), name="look-up", daemon=True).start()
        return found

    def _look(self, found: Future[Places]) -> None:
        try:
            found.set_result(socket.getaddrinfo(self._name, self._port, type=socket.SOCK_STREAM))
        except (OSError, UnicodeError) as exc:
            found.set_exception(exc if isinstance(exc, OSError) else OSError(str(exc)))

    def _why_not(self, problem: OSError, within_s: float) -> str:
        """Say in one plain text why no connection came about, and what to do first."""
        place = f"{self._name}:{self._port}"
        if isinstance(problem, ConnectionRefusedError):
            return (
                f"{place} refuses the connection: the host is there, but takes none at port {self._port}; check the "
                "port, then end other programs that talk to it, as many devices serve only a few at once"
            )
        if problem.errno in NO_WAY:
            return f"{place} cannot be reached: this computer has no way there; check its own network cable and address"
        why = problem.strerror or f"nothing came within {within_s * 1000:.0f} ms"
        return (
            f"{place} cannot be reached ({why}); check that it has power and its network cable, and compare the "
            "address with the one set at it"
        )


async def _connected(place: tuple[int, int, int, str, Any]) -> socket.socket:
    family, kind, protocol, _, address = place
    sock = socket.socket(family, kind, protocol)
    try:
        sock.setblocking(False)
        die_with(sock, at_once=True)
        await asyncio.get_running_loop().sock_connect(sock, address)
    except BaseException:
        sock.close()
        raise
    return sock


def die_with(sock: socket.socket, *, at_once: bool) -> None:
    """Say what becomes of bytes that have not arrived when a connection is closed, or its process killed.

    At once: they are dropped, and the connection is reset. Otherwise the system goes on sending them for minutes, and
    an order nobody waits for any more could arrive behind the off that followed it on a new connection. Source:
    socket(7), SO_LINGER; tcp(7), tcp_orphan_retries.
    """
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", at_once, 0))
