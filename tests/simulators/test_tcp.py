"""Modbus TCP: headers as bytes, several clients, and faults of its own."""

from __future__ import annotations

import asyncio
import socket
import struct
import time
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from simulators.line import Truth
from simulators.plan import LinePlan
from simulators.server import LineServer
from simulators.tcp_wire import TcpServer
from tests.simulators.lines import made

RELAYS = """
[switches]
lamp = { kind = "lamp" }
horn = { kind = "horn" }

[contacts]
lid = { kind = "lid" }

[links.relays]
kind = "modbus tcp"

[devices.relays]
link = "relays"
unit = 1
answer_delay_ms = 0.0
registers = [
    { table = "coil", address = 0, switch = "lamp" },
    { table = "coil", address = 1, switch = "horn" },
    { table = "discrete input", address = 0, contact = "lid" },
    { table = "holding register", address = 0, supply = "main", value = "set_current_a", kind = "float32", order = "CDAB" },
    { table = "input register", address = 0, supply = "main", value = "set_current_a", step = 0.001 },
    { table = "input register", address = 1, supply = "main", value = "set_voltage_v", kind = "uint32" },
]
"""  # noqa: E501
READ_COILS = "00 00 00 06 01 01 00 00 00 02"
LAMP_ON = "00 00 00 06 01 05 00 00 FF 00"
SET_AND_READ = ("00 00 00 0B 01 10 00 00 00 02 04 00 00 40 00", "00 00 00 06 01 04 00 00 00 03")


class Client:
    """One connection that sends and takes raw bytes."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._reader, self._writer = reader, writer

    def send(self, frame: str) -> None:
        self._writer.write(bytes.fromhex(frame))

    async def take(self, count: int) -> str:
        async with asyncio.timeout(2.0):
            return (await self._reader.readexactly(count)).hex(" ").upper()

    async def rest(self, wait_s: float = 0.03) -> str | None:
        """What comes within this time; None at the end of the stream."""
        try:
            async with asyncio.timeout(wait_s):
                data = await self._reader.read(4096)
        except TimeoutError:
            return ""
        return data.hex(" ").upper() if data else None

    async def ask(self, frame: str, count: int) -> str:
        self.send(frame)
        return await self.take(count)

    async def close(self) -> None:
        self._writer.close()
        try:
            await self._writer.wait_closed()
        except ConnectionError:
            return


class Server:
    """A line server with one TCP link."""

    def __init__(self, plan: LinePlan) -> None:
        self.truths: list[Truth] = []
        self.line_server = LineServer(plan, now=time.monotonic, tell=self.truths.append)
        self.line = self.line_server.line
        self.link = self.line_server.links["relays"]
        self.host, _, port = self.link.path.partition(":")
        self.port = int(port)
        self._clients: list[Client] = []

    async def client(self) -> Client:
        made_client = Client(*await asyncio.open_connection(self.host, self.port))
        self._clients.append(made_client)
        return made_client

    def fault(self, what: str, **keys: object) -> None:
        assert self.line_server.order({"fault": {"what": what, **keys}}) == ""

    def clear(self, what: str) -> None:
        assert self.line_server.order({"clear": what}) == ""

    async def close(self) -> None:
        for client in self._clients:
            await client.close()
        self.line_server.close()


@pytest.fixture
async def server(tmp_path: Path) -> AsyncIterator[Server]:
    running = Server(made(tmp_path, RELAYS))
    yield running
    await running.close()


async def test_an_answer_has_the_header_of_its_request(server: Server) -> None:
    # MODBUS Messaging on TCP/IP Implementation Guide V1.0b, section 3.1.3 (from memory).
    client = await server.client()
    assert await client.ask("15 01 " + READ_COILS, 10) == "15 01 00 00 00 04 01 01 01 00"
    assert await client.ask("15 02 " + LAMP_ON, 12) == "15 02 " + LAMP_ON
    assert await client.ask("15 03 " + READ_COILS, 10) == "15 03 00 00 00 04 01 01 01 01"
    assert server.line.switches["lamp"].is_on


async def test_ready_tells_host_and_port(server: Server) -> None:
    assert server.truths[0]["links"] == {"relays": f"127.0.0.1:{server.port}"}


async def test_requests_in_pieces_and_several_at_once_are_all_answered(server: Server) -> None:
    client = await server.client()
    for byte in bytes.fromhex("00 07 " + READ_COILS):
        client.send(f"{byte:02x}")
        await asyncio.sleep(0)
    assert (await client.take(10)).startswith("00 07")
    client.send("00 08 " + READ_COILS + "00 09 " + READ_COILS)
    both = await client.take(20)
    assert both.startswith("00 08")
    assert both[30:].startswith("00 09")


async def test_clients_share_the_devices_and_not_their_answers(server: Server) -> None:
    one, other = await server.client(), await server.client()
    one.send("00 01 " + LAMP_ON)
    assert await one.take(12) == "00 01 " + LAMP_ON
    assert await other.ask("00 02 " + READ_COILS, 10) == "00 02 00 00 00 04 01 01 01 01"
    assert await one.rest() == ""


@pytest.mark.parametrize("head", ["00 01 00 05 00 06", "00 02 00 00 FF FF", "00 03 00 00 00 01"])
async def test_another_protocol_or_an_impossible_length_ends_the_connection(server: Server, head: str) -> None:
    client = await server.client()
    client.send(f"{head} 01 05 00 00 FF 00")
    assert await client.rest(1.0) is None
    assert not server.line.switches["lamp"].is_on


async def test_the_link_counts_its_bytes(server: Server) -> None:
    client = await server.client()
    await client.ask("00 01 " + READ_COILS, 10)
    assert (server.link.bytes_received, server.link.bytes_sent) == (12, 10)


async def test_a_client_that_goes_in_mid_request_harms_nobody(server: Server) -> None:
    going = await server.client()
    going.send("00 01 00 00")
    await going.close()
    client = await server.client()
    assert (await client.ask("00 02 " + READ_COILS, 10)).startswith("00 02")


@pytest.mark.parametrize(
    ("what", "answer"),
    [
        ("wrong number", "40 01 00 00 00 07 01 04 04 07 D0 00 00"),
        ("wrong CRC", "00 01 FF 00 00 07 01 04 04 07 D0 00 00"),
        ("wrong unit", "00 01 00 00 00 07 02 04 04 07 D0 00 00"),
        ("wrong function", "00 01 00 00 00 07 01 03 04 07 D0 00 00"),
        ("wrong byte count", "00 01 00 00 00 07 01 04 05 07 D0 00 00"),
        ("wrong register count", "00 01 00 00 00 09 01 04 06 07 D0 00 00 00 01"),
        ("values swapped", "00 01 00 00 00 07 01 04 04 00 00 07 D0"),
        ("answer truncated", "00 01 00 00 00 07 01 04 04 07 D0"),
        ("slow drip", "00 01 00 00 00 07 01 04 04 07 D0 00 00"),
        ("value out of range", "00 01 00 00 00 07 01 04 04 FF FF FF FF"),
    ],
)
async def test_byte_faults_strike_over_tcp_too_and_the_header_fits_where_only_contents_are_wrong(
    server: Server, what: str, answer: str
) -> None:
    client = await server.client()
    server.line.supplies["main"].set_current(2.0)
    server.fault(what, device="relays")
    client.send("00 01 00 00 00 06 01 04 00 00 00 02")
    assert await client.take(len(bytes.fromhex(answer))) == answer
    assert await client.rest(0.01) == ""


async def test_a_slow_drip_comes_byte_by_byte(server: Server) -> None:
    client = await server.client()
    server.fault("slow drip", device="relays", gap_ms=5)
    began_s = time.monotonic()
    await client.ask("00 01 " + READ_COILS, 10)
    assert time.monotonic() - began_s >= 9 * 0.005 - 1e-3


async def test_values_that_are_stuck_stay_while_writes_act(server: Server) -> None:
    client = await server.client()
    await client.ask("00 01 " + READ_COILS, 10)
    server.fault("values stuck", device="relays")
    await client.ask("00 02 " + LAMP_ON, 12)
    assert server.line.switches["lamp"].is_on
    assert await client.ask("00 03 " + READ_COILS, 10) == "00 03 00 00 00 04 01 01 01 00"
    server.clear("values stuck")
    assert await client.ask("00 04 " + READ_COILS, 10) == "00 04 00 00 00 04 01 01 01 01"


async def test_a_port_that_is_gone_cuts_and_refuses_and_comes_back_on_the_same_port(server: Server) -> None:
    client = await server.client()
    await client.ask("00 01 " + READ_COILS, 10)
    server.fault("port gone")
    assert await client.rest(1.0) is None
    with pytest.raises(ConnectionRefusedError):
        await server.client()
    server.clear("port gone")
    await asyncio.sleep(0)
    again = await server.client()
    assert (await again.ask("00 02 " + READ_COILS, 10)).startswith("00 02")
    assert server.line_server.places() == {"relays": f"127.0.0.1:{server.port}"}


async def test_a_half_closed_server_hears_answers_nothing_and_has_said_its_end(server: Server) -> None:
    client = await server.client()
    await client.ask("00 01 " + READ_COILS, 10)
    server.fault("server half-closed")
    assert await client.rest(1.0) is None
    client.send("00 02 " + LAMP_ON)
    newer = await server.client()
    assert await newer.rest(1.0) is None
    assert (server.link.bytes_received, server.link.bytes_sent) == (24, 10)
    server.clear("server half-closed")
    await asyncio.sleep(0)
    again = await server.client()
    assert (await again.ask("00 03 " + READ_COILS, 10)).startswith("00 03")


async def test_babble_comes_unasked_to_every_client_until_it_ends(server: Server) -> None:
    clients = [await server.client(), await server.client()]
    await asyncio.sleep(0.01)
    server.fault("babble", every_ms=2, bytes=5)
    for client in clients:
        assert len(bytes.fromhex(await client.take(10))) == 10
    server.clear("babble")
    await asyncio.sleep(0)
    for client in clients:
        await client.rest(0.005)
        assert await client.rest(0.02) == ""


async def test_whoever_is_gone_when_the_server_half_closes_harms_nobody(server: Server) -> None:
    gone = socket.create_connection((server.host, server.port))
    await asyncio.sleep(0.01)
    # Reset, and not yet seen by the loop.
    gone.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    gone.close()
    assert isinstance(server.link, TcpServer)
    server.link.half_close()
    server.fault("server half-closed")
    server.clear("server half-closed")
    await asyncio.sleep(0)
    again = await server.client()
    assert (await again.ask("00 03 " + READ_COILS, 10)).startswith("00 03")


async def test_a_unit_that_is_nobodys_gets_no_answer(server: Server) -> None:
    client = await server.client()
    client.send("00 01 00 00 00 06 09 01 00 00 00 02")
    assert await client.rest() == ""
    assert (await client.ask("00 02 " + READ_COILS, 10)).startswith("00 02")
