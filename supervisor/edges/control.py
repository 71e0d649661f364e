"""Local control: a Unix socket for owner and group; one JSON object a line, each with a version."""

from __future__ import annotations

import asyncio
import json
import logging
import os
import pwd
import socket
import stat
import struct
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Self
from urllib.parse import quote

from supervisor.runtime import runtime_folder

_log = logging.getLogger(__name__)

VERSION = 1
LONGEST_REQUEST = 64 * 1024
"""Bytes of one request line."""

_MOST_CLIENTS = 32
_IDLE_S = 30.0  # a client that says nothing for so long gives its place to another
_STUCK_S = 30.0  # likewise one that does not read what it asked for
_DISCARD_S = 5.0
_SEND_BUFFER = 16 * 1024  # small, so that a slow watcher's lines wait here as few as possible

Answer = dict[str, Any]


class ControlError(Exception):
    """Control by socket is not possible; the text says why and what to do."""


class Refusal(Exception):  # noqa: N818 - an answer, not a failure
    """A request that is not done, with every reason; raised by handlers, told to the client."""

    def __init__(self, *reasons: str) -> None:
        super().__init__(" ".join(reasons))
        self.reasons = reasons


@dataclass(frozen=True, slots=True)
class Peer:
    """The process at the other end, as the kernel names it. `user` is its name, or its number where it has none."""

    pid: int
    uid: int
    user: str


Handler = Callable[[str, dict[str, Any], Peer], Awaitable[Answer | AsyncIterator[Answer]]]
"""Takes the kind of a request, its body and who asks; returns the answer, or the states a watcher is to see.

Raises Refusal with every reason. An answer has the key `ok`, true unless it says otherwise.
"""


def socket_path(line: str) -> Path:
    """Return where the supervisor of that line listens. Raises ControlError where such a path is too long."""
    path = runtime_folder() / f"{quote(line, safe=' ')}.sock"
    if len(os.fsencode(path)) > 107:  # the kernel's own bound, less the closing zero
        raise ControlError(f"The path {path} is too long for a socket. Set AMPMINDER_RUNTIME to a shorter folder.")
    return path


def listens(path: Path) -> bool:
    """Say whether a process listens at that socket now."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as probe:
        probe.setblocking(False)
        try:
            probe.connect(str(path))
        except (FileNotFoundError, ConnectionRefusedError):
            return False
        except OSError:
            return True  # it is there, only busy or not for us
    return True


class ControlServer:
    """Answers requests at a socket while it is open; nothing a client sends or leaves out makes it fail."""

    def __init__(self, path: Path, handler: Handler) -> None:
        self._path = path
        self._handler = handler
        self._clients: set[asyncio.Task[None]] = set()
        self._server: asyncio.Server | None = None
        self._place: tuple[int, int] | None = None

    async def start(self) -> None:
        """Begin to listen. A socket left by a process that ended is replaced. Raises ControlError."""
        try:
            listener = _claim(self._path)
        except OSError as problem:
            raise ControlError(f"The socket {self._path} cannot be made: {problem.strerror}.") from problem
        self._place = _place(self._path)
        self._server = await asyncio.start_unix_server(self._welcome, sock=listener, limit=LONGEST_REQUEST)

    async def close(self) -> None:
        """Stop listening, let every client go and remove the socket; harmless the second time."""
        if self._server is not None:
            self._server.close()
            self._server = None
        for client in self._clients:
            client.cancel()
        await asyncio.gather(*self._clients, return_exceptions=True)
        if self._place is not None and _place(self._path) == self._place:
            self._path.unlink()  # ours still, not that of one started since
        self._place = None

    async def __aenter__(self) -> Self:
        await self.start()
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        await self.close()

    def _welcome(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        client = asyncio.create_task(self._serve(reader, writer), name="control client")
        self._clients.add(client)
        client.add_done_callback(self._clients.discard)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            await self._converse(reader, writer)
            writer.close()
        except (ConnectionError, TimeoutError):
            pass  # the client has gone, or does not read
        finally:
            if not writer.is_closing():
                writer.transport.abort()

    async def _converse(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        connection = writer.get_extra_info("socket")
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, _SEND_BUFFER)
        writer.transport.set_write_buffer_limits(high=_SEND_BUFFER)
        if len(self._clients) > _MOST_CLIENTS:
            await _send(writer, _refused("Too many programs are asking at once. Close some and try again."))
            return
        peer = _peer(connection)
        while (line := await _next_line(reader, writer)) is not None:
            answer = await self._handle(line, peer)
            if not isinstance(answer, dict):
                await _send_newest(answer, reader, writer)
                return
            await _send(writer, answer)

    async def _handle(self, line: bytes, peer: Peer) -> Answer | AsyncIterator[Answer]:
        try:
            kind, body = _parse(line)
            return await self._handler(kind, body, peer)
        except Refusal as refusal:
            return _refused(*refusal.reasons)
        except Exception as problem:  # noqa: BLE001 - the log has it whole; one bad request must not end the control
            return _failed(problem)


def _claim(path: Path) -> socket.socket:
    """Bind the socket so that nobody but owner and group can ever have connected to it."""
    if os.path.lexists(path):
        if not stat.S_ISSOCK(path.lstat().st_mode):
            raise ControlError(f"{path} is in the way: it is no socket. Find out what it is, and remove it.")
        if listens(path):
            raise ControlError(f"Another supervisor listens at {path} already. Stop that one first.")
        path.unlink()
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    try:
        listener.bind(str(path))
        path.chmod(0o660)  # before it listens: until then every connection is refused
    except BaseException:
        listener.close()
        raise
    return listener


def _place(path: Path) -> tuple[int, int] | None:
    try:
        found = path.lstat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def _peer(connection: socket.socket) -> Peer:
    pid, uid, _ = struct.unpack("iII", connection.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, 12))
    try:
        user = pwd.getpwuid(uid).pw_name
    except KeyError:
        user = str(uid)
    return Peer(pid, uid, user)


def _refused(*reasons: str) -> Answer:
    return {"ok": False, "reasons": list(reasons)}


def _failed(problem: BaseException) -> Answer:
    _log.error("A request at the control socket failed", exc_info=problem)
    return _refused("The supervisor failed at this request and goes on running; its log says why.")


async def _send(writer: asyncio.StreamWriter, answer: Answer) -> None:
    """Send one line. Raises ConnectionError or TimeoutError where nobody reads it."""
    try:
        text = json.dumps({"version": VERSION, "ok": True, **answer}, allow_nan=False)
    except (TypeError, ValueError) as problem:
        text = json.dumps({"version": VERSION, **_failed(problem)})
    writer.write(text.encode() + b"\n")
    async with asyncio.timeout(_STUCK_S):
        await writer.drain()


async def _next_line(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> bytes | None:
    """Return the next request; None where there is none to come, the client having been told if it was at fault."""
    try:
        async with asyncio.timeout(_IDLE_S):
            return await reader.readuntil(b"\n")
    except asyncio.IncompleteReadError as end:
        if end.partial:
            await _send(writer, _refused("The request is cut short: every request ends with a line feed."))
    except asyncio.LimitOverrunError:
        await _send(writer, _refused(f"The request is longer than {LONGEST_REQUEST} bytes."))
        with suppress(TimeoutError):  # so that a client that only sends gets to read the answer
            async with asyncio.timeout(_DISCARD_S):
                while await reader.read(LONGEST_REQUEST):
                    pass
    return None


def _parse(line: bytes) -> tuple[str, dict[str, Any]]:
    """Take a request line apart. Raises Refusal."""
    try:
        request = json.loads(line.decode())
        # What cannot be written again, no finite number or half a surrogate pair, would fail in the record.
        json.dumps(request, ensure_ascii=False, allow_nan=False).encode()
    except (ValueError, RecursionError) as problem:
        raise Refusal("The request is not a line of JSON in UTF-8.") from problem
    if not isinstance(request, dict):
        raise Refusal("The request is not a JSON object.")
    if type(request.get("version")) is not int or request["version"] != VERSION:
        raise Refusal(f"The request must have version {VERSION}. Use the same release for both sides.")
    kind, body = request.get("kind"), request.get("body", {})
    if not isinstance(kind, str):
        raise Refusal("The request must name its kind, as a text.")
    if not isinstance(body, dict):
        raise Refusal("The body of the request must be a JSON object.")
    return kind, body


class _Newest:
    """One place for the newest state: what nobody took in time is replaced, never kept."""

    def __init__(self) -> None:
        self._state: Answer | None = None
        self._ended = False
        self._news = asyncio.Event()

    async def follow(self, states: AsyncIterator[Answer]) -> None:
        """Put every state in, until there is none to come."""
        try:
            async for state in states:
                self._state = state
                self._news.set()
        finally:
            self.end()

    def end(self) -> None:
        """Let whoever waits go, after the state that is here yet."""
        self._ended = True
        self._news.set()

    async def take(self) -> Answer | None:
        """Wait for a state newer than the one before; None at the end."""
        await self._news.wait()
        state, self._state = self._state, None
        if not self._ended:
            self._news.clear()
        return state


async def _send_newest(
    states: AsyncIterator[Answer], reader: asyncio.StreamReader, writer: asyncio.StreamWriter
) -> None:
    """Send states until they end or the client leaves; one that reads slowly gets fewer of them."""
    newest = _Newest()
    follower = asyncio.create_task(newest.follow(states), name="control watch")
    leaving = asyncio.create_task(_until_gone(reader), name="control watcher leaving")
    leaving.add_done_callback(lambda _: newest.end())
    try:
        while (state := await newest.take()) is not None and not leaving.done():
            await _send(writer, state)
        if follower.done() and (problem := follower.exception()) is not None:
            await _send(writer, _failed(problem))
    finally:
        follower.cancel()
        leaving.cancel()
        await asyncio.gather(follower, leaving, return_exceptions=True)
        await _finish(states)


async def _until_gone(reader: asyncio.StreamReader) -> None:
    with suppress(ConnectionError):
        while await reader.read(LONGEST_REQUEST):
            pass  # a watcher has nothing more to say


async def _finish(states: AsyncIterator[Answer]) -> None:
    """Let a generator run its own end now, not when it happens to be collected."""
    close = getattr(states, "aclose", None)
    if close is not None:
        await close()
