"""Modbus RTU: a serial bus with its silences, through pymodbus's serial client."""

from __future__ import annotations

from collections.abc import Callable

from pymodbus.client import AsyncModbusSerialClient
from pymodbus.client.base import ModbusBaseClient
from pymodbus.transport.serialtransport import SerialTransport

from drivers import serial_link
from drivers.modbus_frames import Judged, frame_gap_s, judge
from drivers.modbus_link import MOST_BYTES, ModbusLink
from drivers.points import SerialSettings
from drivers.ports import LinkDown


class RtuLink(ModbusLink):
    """One serial bus, opened exclusively."""

    settings: SerialSettings

    def __init__(
        self,
        settings: SerialSettings,
        now: Callable[[], float],
        trace: Callable[[bool, bytes], None] | None = None,
    ) -> None:
        super().__init__(now, trace)
        self.settings = settings

    @property
    def gap_s(self) -> float:
        """Silence before each frame, s: 3.5 characters."""
        return frame_gap_s(self.settings.baud)

    async def _connected_client(self) -> ModbusBaseClient:
        settings = self.settings
        client = AsyncModbusSerialClient(
            settings.port,
            baudrate=settings.baud,
            parity="N" if serial_link.is_pty(settings.port) else settings.parity,
            stopbits=settings.stop_bits,
            timeout=settings.response_time_out_s,
            retries=0,
            reconnect_delay=0,
            trace_packet=self._traced,
            trace_connect=self._changed,
        )
        client.ctx.max_buffer_size = MOST_BYTES
        try:
            opened = await client.connect()
            if opened:
                serial_link.take(_port(client).sync_serial.fileno())
        except Exception as exc:
            client.close()
            raise LinkDown(serial_link.why_not(settings.port, str(exc))) from exc
        if not opened:
            raise LinkDown(serial_link.why_not(settings.port, ""))
        return client

    def _judge(self, request: bytes, received: bytes) -> Judged:
        return judge(request, received)

    def _empty(self, client: ModbusBaseClient) -> None:
        _port(client).sync_serial.reset_input_buffer()

    def _recover(self) -> None:
        """The silence after a failure keeps a late answer away; what could not even leave must not leave later."""
        if self._client is not None:
            _port(self._client).flush()

    def _lost(self) -> str:
        return f"port {self.settings.port} was lost; plug the adapter in again, the next request opens it afresh"


def _port(client: ModbusBaseClient) -> SerialTransport:
    transport = client.ctx.transport
    assert isinstance(transport, SerialTransport)
    return transport
