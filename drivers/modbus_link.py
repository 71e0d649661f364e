"""One Modbus RTU bus through pymodbus: strict about answers, quiet between frames. pymodbus ends in this file."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Awaitable, Callable, Coroutine
from dataclasses import dataclass, field
from typing import TypeVar

from pymodbus.client import AsyncModbusSerialClient
from pymodbus.exceptions import ConnectionException
from pymodbus.pdu import ExceptionResponse, ModbusPDU
from pymodbus.transport.serialtransport import SerialTransport

from drivers import serial_link
from drivers.modbus_frames import Judged, frame_gap_s, judge
from drivers.points import SerialSettings
from drivers.ports import BadAnswer, LinkDown, NoAnswer, Refused, Sent, WireError
from drivers.registers import BIT_TABLES, Table

# What the library has to say about a request comes out as one of the four errors; on its own log it would come twice.
logging.getLogger("pymodbus").setLevel(logging.CRITICAL + 1)

REFUSALS = {
    1: "it does not know this function",
    2: "it has no such register; compare the addresses in its profile with its manual",
    3: "it does not take this value",
    4: "it failed while doing it",
    6: "it is busy",
}
"""Exception codes (application protocol V1.1b3, 7)."""

_T = TypeVar("_T")
_READS = {
    "coil": AsyncModbusSerialClient.read_coils,
    "discrete input": AsyncModbusSerialClient.read_discrete_inputs,
    "input register": AsyncModbusSerialClient.read_input_registers,
    "holding register": AsyncModbusSerialClient.read_holding_registers,
}


@dataclass(frozen=True, slots=True)
class Registers:
    """The answer to one read.

    Attributes:
        raw: registers (0 to 65535) or bits (0, 1) in the order of their addresses.
        t_sent_s: when the request began to leave, link's clock, s. t_received_s: when the answer was complete.
    """

    raw: tuple[int, ...]
    t_sent_s: float
    t_received_s: float


@dataclass(slots=True)
class _Exchange:
    """One request on its way: its frame, and what its answer is worth so far."""

    request: bytes = b""
    judged: Judged = field(default_factory=lambda: Judged("incomplete"))
    touched: bool = False
    t_sent_s: float = 0.0
    t_received_s: float = 0.0


class ModbusLink:
    """One bus. Transactions on it run strictly one after another; the caller sees to that.

    An answer counts only if the bytes that came are exactly one well-formed answer to the request: the library
    alone would take a late answer, skip bytes before one, and believe any register count.
    """

    def __init__(
        self,
        settings: SerialSettings,
        now: Callable[[], float],
        trace: Callable[[bool, bytes], None] | None = None,
    ) -> None:
        self.settings = settings
        self._now = now
        self._trace = trace
        self._client: AsyncModbusSerialClient | None = None
        self._exchange: _Exchange | None = None
        self._in_use = False
        self._seen = 0
        self._last_byte_s = float("-inf")
        self._quiet_until_s = float("-inf")

    async def open(self) -> None:
        """Open the port exclusively; harmless when it is open. Raises LinkDown."""
        if self._client is None:
            await _to_its_end(self._connect())

    async def close(self) -> None:
        """Close the port; harmless when it is closed."""
        client, self._client = self._client, None
        if client is not None:
            client.close()

    async def read(self, unit: int, table: Table, address: int, count: int) -> Registers:
        """Read `count` adjacent registers or bits in one transaction. Raises WireError."""

        def ask(client: AsyncModbusSerialClient) -> Awaitable[ModbusPDU]:
            return _READS[table](client, address, count=count, device_id=unit)

        answer, exchange = await self._transact(ask, unit)
        bits = table in BIT_TABLES
        raw = tuple(int(bit) for bit in answer.bits[:count]) if bits else tuple(answer.registers)
        return Registers(raw, exchange.t_sent_s, exchange.t_received_s)

    async def write(self, unit: int, table: Table, address: int, raw: int) -> Sent:
        """Write one holding register (0 to 65535) or coil (0, 1) and check the device's echo. Raises WireError."""

        def ask(client: AsyncModbusSerialClient) -> Awaitable[ModbusPDU]:
            if table == "coil":
                return client.write_coil(address, bool(raw), device_id=unit)
            return client.write_register(address, raw, device_id=unit)

        _answer, exchange = await self._transact(ask, unit)
        return Sent(exchange.t_sent_s, exchange.t_received_s)

    async def _transact(
        self, ask: Callable[[AsyncModbusSerialClient], Awaitable[ModbusPDU]], unit: int
    ) -> tuple[ModbusPDU, _Exchange]:
        assert not self._in_use, "transactions on one link run one after another"
        self._in_use = True
        try:
            await self.open()
            await self._silence()
            return await _to_its_end(self._ask(ask, unit))
        finally:
            self._in_use = False

    async def _silence(self) -> None:
        """Wait for the silence before a frame; chatter of others cannot stretch it without end."""
        loop = asyncio.get_running_loop()
        gap_s = frame_gap_s(self.settings.baud)
        latest_s = max(self._quiet_until_s, loop.time() + max(gap_s, self.settings.quiet_after_silence_s))
        while True:
            due_s = min(max(self._quiet_until_s, self._last_byte_s + gap_s), latest_s)
            if loop.time() >= due_s:
                return
            await asyncio.sleep(due_s - loop.time())

    async def _ask(
        self, ask: Callable[[AsyncModbusSerialClient], Awaitable[ModbusPDU]], unit: int
    ) -> tuple[ModbusPDU, _Exchange]:
        exchange = self._exchange = _Exchange()
        try:
            answer = await ask(self._ready_client())
        except Exception as exc:
            raise self._failed(exchange, unit) from exc
        finally:
            self._exchange = None
        if isinstance(answer, ExceptionResponse):
            code = answer.exception_code
            meaning = REFUSALS.get(code, "its manual tells what that means")
            raise Refused(f"unit {unit} on {self.settings.port} refused with code {code}: {meaning}", code)
        return answer, exchange

    def _ready_client(self) -> AsyncModbusSerialClient:
        client = self._client
        if client is None:
            raise ConnectionException
        _port(client).sync_serial.reset_input_buffer()
        return client

    def _failed(self, exchange: _Exchange, unit: int) -> WireError:
        """Tell the four errors apart after a failure, and see to the silence that must follow."""
        port = self.settings.port
        self._quiet_until_s = asyncio.get_running_loop().time() + self.settings.quiet_after_silence_s
        if self._client is None or not exchange.request:
            self._drop()
            return LinkDown(f"port {port} was lost; plug the adapter in again, the next request opens it afresh")
        _port(self._client).flush()  # what could not even leave must not leave later: it may be an order to switch on
        if exchange.touched:
            return BadAnswer(f"unit {unit} on {port} did not answer properly: {exchange.judged.fault}")
        limit_ms = self.settings.response_time_out_s * 1000
        return NoAnswer(f"unit {unit} on {port} did not answer within {limit_ms:.0f} ms")

    async def _connect(self) -> None:
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
            trace_connect=self._connected,
        )
        # The library throws a fuller buffer away unseen; ours sees every byte, so a flood is never a fresh start.
        client.ctx.max_buffer_size = 4096
        try:
            opened = await client.connect()
            if opened:
                serial_link.take(_port(client).sync_serial.fileno())
        except Exception as exc:
            client.close()
            raise LinkDown(serial_link.why_not(settings.port, str(exc))) from exc
        if not opened:
            raise LinkDown(serial_link.why_not(settings.port, ""))
        self._client = client
        self._seen = 0

    def _connected(self, up: bool) -> None:
        if not up:
            self._drop()

    def _drop(self) -> None:
        """Forget a connection that is lost, and end what waits for an answer on it at once."""
        client, self._client = self._client, None
        if client is None:
            return
        waiting = client.ctx.response_future
        if self._exchange is not None and not waiting.done():
            waiting.set_exception(ConnectionException())
        client.close()

    def _traced(self, sending: bool, data: bytes) -> bytes:
        """See every byte. Of what is received, only a complete answer reaches the library."""
        self._last_byte_s = asyncio.get_running_loop().time()
        start = 0 if sending else min(self._seen, len(data))
        self._seen = 0 if sending else len(data)
        if self._trace is not None:
            self._trace(sending, data[start:])
        exchange = self._exchange
        if exchange is None:
            return b""
        if sending:
            exchange.request, exchange.t_sent_s = data, self._now()
            return data
        exchange.touched = True
        if exchange.judged.verdict == "incomplete":
            exchange.judged = judge(exchange.request, data)
        if exchange.judged.verdict not in {"good", "refused"}:
            return b""
        exchange.t_received_s = self._now()
        self._seen = 0
        return data


def _port(client: AsyncModbusSerialClient) -> SerialTransport:
    transport = client.ctx.transport
    assert isinstance(transport, SerialTransport)
    return transport


async def _to_its_end(work: Coroutine[object, object, _T]) -> _T:
    """Let work that must not be cut short end, then raise a cancel that came meanwhile.

    The count of cancels is compared with the one before, so that a task which was cancelled earlier
    can still send its last commands.
    """
    me = asyncio.current_task()
    assert me is not None
    before = me.cancelling()
    task = asyncio.create_task(work)
    cancelled = False
    while not task.done():
        try:
            await asyncio.wait({task})
        except asyncio.CancelledError:
            cancelled = True
    if cancelled or me.cancelling() > before:
        _ = task.cancelled() or task.exception()  # looked at, so that it is not reported as lost
        raise asyncio.CancelledError
    return task.result()
