"""Modbus TCP: one connection to a host, through pymodbus's TCP client; after a failure it is a fresh one.

Source: "MODBUS Messaging on TCP/IP Implementation Guide V1.0b" (from memory).
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from pymodbus.client import AsyncModbusTcpClient
from pymodbus.client.base import ModbusBaseClient

from drivers.modbus_frames import Judged, judge_tcp
from drivers.modbus_link import MOST_BYTES, ModbusLink
from drivers.points import TcpSettings
from drivers.ports import LinkDown

LEAST_TO_CONNECT_S = 1.0
"""How long a connection may take at least: a name may have to be looked up, and a first packet be sent twice."""


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

    @property
    def gap_s(self) -> float:
        """None is due between frames."""
        return 0.0

    async def _connected_client(self) -> ModbusBaseClient:
        settings = self.settings
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
        try:
            async with asyncio.timeout(max(LEAST_TO_CONNECT_S, settings.response_time_out_s)):
                opened = await client.connect()
        except (OSError, TimeoutError) as exc:
            client.close()
            raise LinkDown(self._why_not()) from exc
        if not opened:
            client.close()
            raise LinkDown(self._why_not())
        return client

    def _why_not(self) -> str:
        return (
            f"{self.settings.place} cannot be reached; check that it has power and its network cable, and compare the "
            "address with the one set at it"
        )

    def _judge(self, request: bytes, received: bytes) -> Judged:
        return judge_tcp(request, received)

    def _empty(self, client: ModbusBaseClient) -> None:
        """Nothing can lie there: each failure ends the connection, and each answer is taken whole."""

    def _recover(self) -> None:
        self._drop()

    def _lost(self) -> str:
        return f"{self.settings.place} ended the connection; the next request opens it afresh"
