"""The worked examples of the Modbus specification, sent and answered over both wires.

"MODBUS Application Protocol Specification V1.1b3", 6.1 to 6.6, 6.11, 6.12 and 7: one example of each function (from
memory). The unit is none of theirs; check sums are umodbus's.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Awaitable, Callable

import pytest
from umodbus.client.serial.redundancy_check import get_crc

from drivers.modbus_frames import judge_tcp
from drivers.modbus_link import ModbusLink
from drivers.modbus_rtu import RtuLink
from drivers.modbus_tcp import TcpLink
from drivers.ports import Refused
from drivers.registers import Table
from tests.drivers.peer import Peer
from tests.drivers.peer import settings as bus_settings
from tests.drivers.tcp_peer import mbap, tcp_peer
from tests.drivers.tcp_peer import settings as net_settings

UNIT = 0x11
Act = Callable[[ModbusLink], Awaitable[object]]


def reading(table: Table, address: int, count: int) -> Act:
    async def act(link: ModbusLink) -> object:
        return (await link.read(UNIT, table, address, count)).raw

    return act


def writing(table: Table, address: int, *raw: int) -> Act:
    async def act(link: ModbusLink) -> object:
        await link.write(UNIT, table, address, raw)
        return None

    return act


COILS = (1, 0, 1, 1, 0, 0, 1, 1, 1, 1, 0, 1, 0, 1, 1, 0, 1, 0, 1)
INPUTS = (0, 0, 1, 1, 0, 1, 0, 1, 1, 1, 0, 1, 1, 0, 1, 1, 1, 0, 1, 0, 1, 1)
WRITTEN = (1, 0, 1, 1, 0, 0, 1, 1, 1, 0)

EXAMPLES: dict[str, tuple[Act, str, str, object]] = {
    "6.1 coils 20 to 38": (reading("coil", 0x13, 19), "01 0013 0013", "01 03 CD 6B 05", COILS),
    "6.2 inputs 197 to 218": (reading("discrete input", 0xC4, 22), "02 00C4 0016", "02 03 AC DB 35", INPUTS),
    "6.3 registers 108 to 110": (
        reading("holding register", 0x6B, 3),
        "03 006B 0003",
        "03 06 022B 0000 0064",
        (555, 0, 100),
    ),
    "6.4 input register 9": (reading("input register", 8, 1), "04 0008 0001", "04 02 000A", (10,)),
    "6.5 coil 173 on": (writing("coil", 0xAC, 1), "05 00AC FF00", "05 00AC FF00", None),
    "6.6 register 2 to 3": (writing("holding register", 1, 3), "06 0001 0003", "06 0001 0003", None),
    "6.11 ten coils from 20": (writing("coil", 0x13, *WRITTEN), "0F 0013 000A 02 CD 01", "0F 0013 000A", None),
    "6.12 two registers from 2": (
        writing("holding register", 1, 0x000A, 0x0102),
        "10 0001 0002 04 000A 0102",
        "10 0001 0002",
        None,
    ),
}
REFUSED = (reading("coil", 0x4A1, 1), "01 04A1 0001", "81 02")
"""Section 7: a coil that is not there."""


def on_the_bus(words: str) -> bytes:
    body = bytes([UNIT, *bytes.fromhex(words)])
    return body + bytes(get_crc(body))


async def ask_on_the_bus(act: Act, request: str, answer: str) -> object:
    with Peer() as peer:
        peer.answer(on_the_bus(answer))
        link = RtuLink(bus_settings(peer.port, time_out_s=2.0), time.monotonic)
        try:
            return await act(link)
        finally:
            await link.close()
            assert peer.requests == [on_the_bus(request)]


async def ask_over_tcp(act: Act, request: str, answer: str) -> object:
    async with tcp_peer() as peer:
        peer.answer(mbap(UNIT, *bytes.fromhex(answer)))
        link = TcpLink(net_settings(peer.port, time_out_s=2.0), asyncio.get_running_loop().time)
        try:
            return await act(link)
        finally:
            await link.close()
            assert [sent[2:] for sent in peer.requests] == [mbap(UNIT, *bytes.fromhex(request))[2:]]


@pytest.mark.parametrize("ask", [ask_on_the_bus, ask_over_tcp])
@pytest.mark.parametrize(("act", "request_", "answer", "found"), EXAMPLES.values(), ids=EXAMPLES.keys())
async def test_every_functions_example_is_asked_and_understood_as_published(
    ask: Callable[[Act, str, str], Awaitable[object]], act: Act, request_: str, answer: str, found: object
) -> None:
    assert await ask(act, request_, answer) == found


@pytest.mark.parametrize("ask", [ask_on_the_bus, ask_over_tcp])
async def test_the_example_of_an_exception_is_a_refusal(ask: Callable[[Act, str, str], Awaitable[object]]) -> None:
    with pytest.raises(Refused, match="it has no such register") as caught:
        await ask(*REFUSED)
    assert caught.value.code == 2


def test_the_example_of_a_tcp_header_is_taken_and_no_other() -> None:
    """ "MODBUS Messaging on TCP/IP Implementation Guide V1.0b", the example of a read of register 5 (from memory)."""
    request = bytes.fromhex("1501 0000 0006 FF 03 0004 0001")
    answer = bytes.fromhex("1501 0000 0005 FF 03 02 0005")
    assert judge_tcp(request, answer).verdict == "good"
    for place in range(9):  # every byte before the value
        turned = answer[:place] + bytes([answer[place] ^ 1]) + answer[place + 1 :]
        assert judge_tcp(request, turned).verdict == "bad"
