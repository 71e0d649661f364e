"""One Modbus link through pymodbus: strict about answers, quiet where quiet is due; each wire has a file of its own.

pymodbus ends in the three files `modbus_link.py`, `modbus_rtu.py` and `modbus_tcp.py`.
"""

from __future__ import annotations

import asyncio
import logging
from abc import ABC, abstractmethod
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field

from pymodbus.client.base import ModbusBaseClient
from pymodbus.exceptions import ConnectionException
from pymodbus.pdu import ExceptionResponse, ModbusPDU

from drivers.modbus_frames import NOTHING, Judged
from drivers.points import LinkSettings
from drivers.ports import BadAnswer, LinkDown, NoAnswer, Refused, Sent, WireError
from drivers.registers import BIT_TABLES, Table
from drivers.uncut import to_its_end

# What the library has to say about a request comes out as one of the four errors; on its own log it would come twice.
logging.getLogger("pymodbus").setLevel(logging.CRITICAL + 1)

REFUSALS = {
    1: "it does not know this function",
    2: "it has no such register; compare the addresses in its profile with its manual",
    3: "it does not take this value",
    4: "it failed while doing it",
    6: "it is busy",
    10: "the gateway has no path to it",
    11: "the gateway had no answer from it",
}
"""Exception codes (application protocol V1.1b3, 7)."""

MOST_BYTES = 4096
"""The library throws a fuller buffer away unseen; ours sees every byte, so a flood is never a fresh start."""

Ask = Callable[[ModbusBaseClient], Awaitable[ModbusPDU]]


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
class Exchange:
    """One request on its way: its frame, and what its answer is worth so far."""

    request: bytes = b""
    judged: Judged = field(default_factory=lambda: NOTHING)
    touched: bool = False
    t_sent_s: float = 0.0
    t_received_s: float = 0.0


class ModbusLink(ABC):
    """One link. Transactions on it run strictly one after another; the caller sees to that.

    An answer counts only if the bytes that came are exactly one well-formed answer to the request: the library
    alone would take a late answer, skip bytes before one, and believe any register count.
    """

    settings: LinkSettings

    def __init__(self, now: Callable[[], float], trace: Callable[[bool, bytes], None] | None) -> None:
        self._now = now
        self._trace = trace
        self._client: ModbusBaseClient | None = None
        self._exchange: Exchange | None = None
        self._in_use = False
        self._seen = 0
        self._last_byte_s = float("-inf")
        self._quiet_until_s = float("-inf")

    # -- what the two wires do each in its own way

    @property
    @abstractmethod
    def gap_s(self) -> float:
        """Silence before each frame, s."""

    @abstractmethod
    async def _connected_client(self) -> ModbusBaseClient:
        """Make a client and connect it. Raises LinkDown."""

    @abstractmethod
    def _judge(self, request: bytes, received: bytes) -> Judged:
        """Judge what has come so far as the answer to a request."""

    @abstractmethod
    def _empty(self, client: ModbusBaseClient) -> None:
        """Forget what came before a request."""

    @abstractmethod
    def _recover(self) -> None:
        """See to it after a failure that neither the request can leave later nor its answer be taken for another's."""

    @abstractmethod
    def _lost(self) -> str:
        """Say that the link was lost and what to do."""

    # -- opening and closing

    async def open(self) -> None:
        """Open it exclusively and let it settle; harmless when it is open. Raises LinkDown."""
        if self._client is None:
            await to_its_end(self._connect())

    async def close(self) -> None:
        """Close it; harmless when it is closed."""
        client, self._client = self._client, None
        if client is not None:
            client.close()

    async def _connect(self) -> None:
        self._client = await self._connected_client()
        self._seen = 0
        settled_s = asyncio.get_running_loop().time() + self.settings.settle_s
        self._quiet_until_s = max(self._quiet_until_s, settled_s)

    # -- transactions

    async def read(self, unit: int, table: Table, address: int, count: int) -> Registers:
        """Read `count` adjacent registers or bits in one transaction. Raises WireError."""

        def ask(client: ModbusBaseClient) -> Awaitable[ModbusPDU]:
            reads = {
                "coil": client.read_coils,
                "discrete input": client.read_discrete_inputs,
                "input register": client.read_input_registers,
                "holding register": client.read_holding_registers,
            }
            return reads[table](address, count=count, device_id=unit)

        answer, exchange = await self._transact(ask, unit)
        bits = table in BIT_TABLES
        raw = tuple(int(bit) for bit in answer.bits[:count]) if bits else tuple(answer.registers)
        return Registers(raw, exchange.t_sent_s, exchange.t_received_s)

    async def write(self, unit: int, table: Table, address: int, raw: tuple[int, ...], *, many: bool = False) -> Sent:
        """Write adjacent holding registers (0 to 65535) or coils (0, 1) in one transaction and check the echo.

        `many` writes a single one with function 15 or 16 too. Raises WireError.
        """
        many = many or len(raw) > 1

        def ask(client: ModbusBaseClient) -> Awaitable[ModbusPDU]:
            if table == "coil":
                bits = [bool(bit) for bit in raw]
                if many:
                    return client.write_coils(address, bits, device_id=unit)
                return client.write_coil(address, bits[0], device_id=unit)
            if many:
                return client.write_registers(address, list(raw), device_id=unit)
            return client.write_register(address, raw[0], device_id=unit)

        _answer, exchange = await self._transact(ask, unit)
        return Sent(exchange.t_sent_s, exchange.t_received_s)

    async def _transact(self, ask: Ask, unit: int) -> tuple[ModbusPDU, Exchange]:
        assert not self._in_use, "transactions on one link run one after another"
        self._in_use = True
        try:
            await self.open()
            await self._silence()
            return await to_its_end(self._ask(ask, unit))
        finally:
            self._in_use = False
            if self.settings.opens_each_scan:
                await self.close()

    async def _silence(self) -> None:
        """Wait for the silence before a frame; chatter of others cannot stretch it without end."""
        loop, gap_s, settings = asyncio.get_running_loop(), self.gap_s, self.settings
        latest_s = max(self._quiet_until_s, loop.time() + max(gap_s, settings.quiet_after_silence_s))
        while True:
            due_s = min(max(self._quiet_until_s, self._last_byte_s + gap_s), latest_s)
            if loop.time() >= due_s:
                return
            await asyncio.sleep(due_s - loop.time())

    async def _ask(self, ask: Ask, unit: int) -> tuple[ModbusPDU, Exchange]:
        exchange = self._exchange = Exchange()
        try:
            answer = await ask(self._ready_client())
        except Exception as exc:
            self._exchange = None  # nobody waits for its answer any more
            raise self._failed(exchange, unit) from exc
        finally:
            self._exchange = None
            self._rest(self.settings.quiet_s)
        if isinstance(answer, ExceptionResponse):
            code = answer.exception_code
            meaning = REFUSALS.get(code, "its manual tells what that means")
            raise Refused(f"unit {unit} on {self.settings.place} refused with code {code}: {meaning}", code)
        return answer, exchange

    def _rest(self, for_s: float) -> None:
        self._quiet_until_s = max(self._quiet_until_s, asyncio.get_running_loop().time() + for_s)

    def _ready_client(self) -> ModbusBaseClient:
        client = self._client
        if client is None:
            raise ConnectionException
        self._empty(client)
        return client

    def _failed(self, exchange: Exchange, unit: int) -> WireError:
        """Tell the four errors apart after a failure, and see to what must follow."""
        settings = self.settings
        # On either wire: the device may still be at work on this request, and what follows must not overtake it.
        self._rest(settings.quiet_after_silence_s)
        if self._client is None or not exchange.request:
            self._drop()
            return LinkDown(self._lost())
        self._recover()
        if exchange.touched:
            return BadAnswer(f"unit {unit} on {settings.place} did not answer properly: {exchange.judged.fault}")
        limit_ms = settings.response_time_out_s * 1000
        return NoAnswer(f"unit {unit} on {settings.place} did not answer within {limit_ms:.0f} ms")

    # -- what the library tells

    def _changed(self, up: bool) -> None:
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
        if exchange.judged.verdict != "incomplete":
            return b""  # it is spoilt already, or whole and on its way to whoever waits for it
        exchange.judged = self._judge(exchange.request, data)
        if exchange.judged.verdict not in {"good", "refused"}:
            return b""
        exchange.t_received_s = self._now()
        self._seen = 0
        return data
