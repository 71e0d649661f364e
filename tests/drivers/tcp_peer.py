"""A server for tests that answers over TCP with whatever bytes a test wants, and one on a third library."""

from __future__ import annotations

import asyncio
import threading
from collections import deque
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, contextmanager
from socketserver import ThreadingTCPServer
from typing import TypeVar

from umodbus.server.tcp import RequestHandler, get_server

from drivers.modbus_tcp import TcpLink
from drivers.points import TcpSettings

TIME_OUT_S = 0.05
_P = TypeVar("_P", bound="TcpPeer")


def settings(port: int, *, time_out_s: float = TIME_OUT_S, **more: float) -> TcpSettings:
    """Settings of a test link."""
    return TcpSettings("net", "modbus tcp", time_out_s, 0.02, host="127.0.0.1", port=port, **more)  # type: ignore[arg-type]


class TcpPeer:
    """The far end: hands each request to the next answer of its script, and keeps all requests and connections.

    An answer is bytes whose first two are replaced by the request's transaction, or bytes to send as they are.
    """

    def __init__(self) -> None:
        self.script: deque[tuple[bytes, bool]] = deque()
        self.requests: list[bytes] = []
        self.arrived_s: list[float] = []
        self.writers: list[asyncio.StreamWriter] = []
        self.port = 0
        self.asked = asyncio.Event()
        self.ended: asyncio.Queue[str] = asyncio.Queue()

    def answer(self, *frames: bytes, as_is: bool = False) -> None:
        """Answer the next requests with these bytes, one each."""
        self.script.extend((frame, as_is) for frame in frames)

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Serve one connection, and put into `ended` how the other side ended it: in good order or by a reset."""
        self.writers.append(writer)
        try:
            while request := await reader.read(4096):
                self._take(request, writer)
        except ConnectionResetError:
            self.ended.put_nowait("reset")
        else:
            self.ended.put_nowait("in good order")
        writer.close()

    def _take(self, request: bytes, writer: asyncio.StreamWriter) -> None:
        self.requests.append(request)
        self.asked.set()
        self.arrived_s.append(asyncio.get_running_loop().time())
        if self.script:
            frame, as_is = self.script.popleft()
            writer.write(frame if as_is else request[:2] + frame[2:])

    async def hang_up(self) -> None:
        """End every connection."""
        for writer in self.writers:
            writer.close()
        await asyncio.sleep(0.01)


@asynccontextmanager
async def served(peer: _P) -> AsyncIterator[_P]:
    """Let this peer listen on a port that the system chooses."""
    server = await asyncio.start_server(peer.serve, "127.0.0.1", 0)
    peer.port = server.sockets[0].getsockname()[1]
    try:
        yield peer
    finally:
        server.close()
        await peer.hang_up()


@asynccontextmanager
async def tcp_peer() -> AsyncIterator[TcpPeer]:
    """Let a scripted peer listen."""
    async with served(TcpPeer()) as peer:
        yield peer


def link_to(peer: TcpPeer, **more: float) -> TcpLink:
    """A link to this peer."""
    return TcpLink(settings(peer.port, **more), asyncio.get_running_loop().time)


def mbap(*body: int, protocol: int = 0, length: int | None = None) -> bytes:
    """A frame whose transaction is 0, to be replaced."""
    announced = len(body) if length is None else length
    return bytes(2) + protocol.to_bytes(2) + announced.to_bytes(2) + bytes(body)


@contextmanager
def umodbus_server(registers: dict[int, int], coils: dict[int, int]) -> Iterator[int]:
    """Serve unit 1 with these holding registers and coils on a third library, in a thread; yields its port."""
    server = get_server(ThreadingTCPServer, ("127.0.0.1", 0), RequestHandler)
    server.daemon_threads = True

    @server.route(slave_ids=[1], function_codes=[3, 4], addresses=sorted(registers))  # type: ignore[untyped-decorator]
    def read(slave_id: int, function_code: int, address: int) -> int:
        return registers[address]

    @server.route(slave_ids=[1], function_codes=[6, 16], addresses=sorted(registers))  # type: ignore[untyped-decorator]
    def write(slave_id: int, function_code: int, address: int, value: int) -> None:
        registers[address] = value

    @server.route(slave_ids=[1], function_codes=[1, 2], addresses=sorted(coils))  # type: ignore[untyped-decorator]
    def read_bits(slave_id: int, function_code: int, address: int) -> int:
        return coils[address]

    @server.route(slave_ids=[1], function_codes=[5, 15], addresses=sorted(coils))  # type: ignore[untyped-decorator]
    def write_bits(slave_id: int, function_code: int, address: int, value: int) -> None:
        coils[address] = value

    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
    thread.start()
    try:
        yield server.server_address[1]
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
