"""Modbus TCP: one connection to a host, through pymodbus's TCP client; after a failure it is a fresh one.

Source: "MODBUS Messaging on TCP/IP Implementation Guide V1.0b" (from memory).
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from functools import partial

from pymodbus.client import AsyncModbusTcpClient
from pymodbus.client.base import ModbusBaseClient

from drivers.modbus_frames import Judged, judge_tcp
from drivers.modbus_link import MOST_BYTES, ModbusLink
from drivers.points import TcpSettings
from drivers.ports import LinkDown
from drivers.tcp_link import Host, die_with


class TcpLink(ModbusLink):
    """One connection. After any failure it is dropped, so that an answer that comes late has nowhere to come to."""

    settings: TcpSettings

    def __init__(
        self,
        settings: TcpSettings,
        now: Callable[[], float],
        trace: Callable[[bool, bytes], None] | None = None,
    ) -> None:
        super().__init__(now, trace)
        self.settings = settings
        self._host = Host(settings.host, settings.port)

    @property
    def gap_s(self) -> float:
        """None is due between frames."""
        return 0.0

    async def _connected_client(self) -> ModbusBaseClient:
        settings = self.settings
        sock = await self._host.connect(settings.response_time_out_s)
        client = AsyncModbusTcpClient(
            settings.host,
            port=settings.port,
            timeout=settings.response_time_out_s,
            retries=0,
            reconnect_delay=0,
            trace_packet=self._traced,
            trace_connect=self._changed,
        )
        client.ctx.max_buffer_size = MOST_BYTES
        # The library says of a connection that failed only that it did; so it is handed one that stands.
        client.ctx.call_create = partial(
            asyncio.get_running_loop().create_connection, client.ctx.handle_new_connection, sock=sock
        )
        if not await client.connect():
            client.close()
            sock.close()
            raise LinkDown(self._lost())
        return client

    async def close(self) -> None:
        """Close it in good order; harmless when it is closed."""
        if self._client is not None and self._client.connected:
            die_with(_transport(self._client).get_extra_info("socket"), at_once=False)
        await super().close()

    def _judge(self, request: bytes, received: bytes) -> Judged:
        return judge_tcp(request, received)

    def _empty(self, client: ModbusBaseClient) -> None:
        """Nothing can lie there: each failure ends the connection, and each answer is taken whole."""

    def _recover(self) -> None:
        if self._client is not None and self._client.connected:
            _transport(self._client).abort()
        self._drop()

    def _lost(self) -> str:
        return (
            f"{self.settings.place} ended the connection; the next request opens it afresh. Should it end again and "
            "again, end other programs that talk to it: many devices serve only a few at once"
        )


def _transport(client: ModbusBaseClient) -> asyncio.Transport:
    transport = client.ctx.transport
    assert isinstance(transport, asyncio.Transport)
    return transport
