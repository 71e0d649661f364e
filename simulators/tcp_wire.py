"""A Modbus TCP server on loopback: takes requests apart and lets the devices behind it answer.

Written from "MODBUS Messaging on TCP/IP Implementation Guide V1.0b" (from memory): each frame begins with transaction,
protocol (0) and length, each two bytes, high byte first; then unit, function and data, without a check sum.
"""

from __future__ import annotations

import asyncio
import contextlib
import socket
from collections.abc import Callable

from simulators import modbus_frames as frames
from simulators.plan import LinkPlan
from simulators.pty import Piece
from simulators.wire import Bus

HEAD = 6
LONGEST_BODY = 254


class TcpServer:
    """One server, of as many connections as come. Everything here is wire time and runs in the loop that opened it.

    Attributes:
        path: host and port to connect to.
        bytes_received: bytes read from the other sides so far. bytes_sent: bytes written to them.
        is_mute: it has ended its half of every connection, takes requests and answers none.
    """

    def __init__(self, plan: LinkPlan, bus: Bus, now: Callable[[], float]) -> None:
        """Listen in the running loop. Raises OSError."""
        self.bytes_received = 0
        self.bytes_sent = 0
        self.is_mute = False
        self._bus = bus
        self._now = now
        self._loop = asyncio.get_running_loop()
        self._connections: dict[socket.socket, bytearray] = {}
        self._timers: set[asyncio.TimerHandle] = set()
        self._listener = socket.create_server((plan.host, plan.port))
        self._listener.setblocking(False)
        host, port = self._listener.getsockname()[:2]
        self.path = f"{host}:{port}"
        self._loop.add_reader(self._listener, self._accept)

    def close(self) -> None:
        """Cut every connection and listen no more."""
        for timer in self._timers:
            timer.cancel()
        self._loop.remove_reader(self._listener)
        self._listener.close()
        for connection in list(self._connections):
            self._cut(connection)

    def half_close(self) -> None:
        """End this half of every connection, of those that still come too; answer no more."""
        self.is_mute = True
        for connection in self._connections:
            self._end(connection)

    def recover(self) -> None:
        """Cut what is half closed; whoever connects anew is served again."""
        self.is_mute = False
        for connection in list(self._connections):
            self._cut(connection)

    def say(self, piece: Piece) -> None:
        """Put bytes that nobody asked for on every connection."""
        for connection in list(self._connections):
            self._write(connection, piece.data)

    def _accept(self) -> None:
        try:
            connection, _ = self._listener.accept()
        except OSError:
            return  # it has gone again before it was taken
        connection.setblocking(False)
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._connections[connection] = bytearray()
        self._loop.add_reader(connection, self._readable, connection)
        if self.is_mute:
            self._end(connection)

    @staticmethod
    def _end(connection: socket.socket) -> None:
        # Whoever has gone in this moment needs no end.
        with contextlib.suppress(OSError):
            connection.shutdown(socket.SHUT_WR)

    def _cut(self, connection: socket.socket) -> None:
        if self._connections.pop(connection, None) is not None:
            self._loop.remove_reader(connection)
            connection.close()

    def _readable(self, connection: socket.socket) -> None:
        try:
            data = connection.recv(4096)
        except BlockingIOError:
            return
        except OSError:
            data = b""
        if not data:
            self._cut(connection)
            return
        self.bytes_received += len(data)
        buffer = self._connections[connection]
        buffer += data
        while len(buffer) >= HEAD:
            length = int.from_bytes(buffer[4:6])
            if buffer[2:4] != b"\0\0" or not 2 <= length <= LONGEST_BODY:
                self._cut(connection)  # what comes behind such a head cannot be told apart any more
                return
            if len(buffer) < HEAD + length:
                return
            head, body = bytes(buffer[:4]), bytes(buffer[HEAD : HEAD + length])
            del buffer[: HEAD + length]
            self._take(connection, head, body)

    def _take(self, connection: socket.socket, head: bytes, body: bytes) -> None:
        for piece in self._bus.transact(frames.with_crc(body), self._now(), head):
            if piece.character_s > 0.0:
                for place in range(len(piece.data)):
                    self._later(piece.delay_s + place * piece.character_s, connection, piece.data[place : place + 1])
            else:
                self._later(piece.delay_s, connection, piece.data)

    def _later(self, delay_s: float, connection: socket.socket, data: bytes) -> None:
        def fire() -> None:
            self._timers.discard(timer)
            self._write(connection, data)

        timer = self._loop.call_later(delay_s, fire)
        self._timers.add(timer)

    def _write(self, connection: socket.socket, data: bytes) -> None:
        if connection not in self._connections or self.is_mute:
            return
        try:
            self.bytes_sent += connection.send(data)
        except OSError:
            self._cut(connection)
