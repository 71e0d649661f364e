"""Modbus TCP: only the bytes of exactly one well-formed answer count; after any failure the connection is a new one.

Frames from "MODBUS Messaging on TCP/IP Implementation Guide V1.0b" and "Application Protocol V1.1b3" (from memory).
"""

from __future__ import annotations

import asyncio
import socket
import sys
from collections.abc import AsyncIterator

import pytest

from drivers.catalog import build_device, build_link
from drivers.modbus_frames import judge_tcp
from drivers.modbus_tcp import TcpLink
from drivers.module_modbus import ModuleModbus
from drivers.ports import BadAnswer, LinkDown, NoAnswer, Refused
from drivers.registers import Register, RegisterMap, WordOrder
from drivers.supply_modbus import SupplyModbus
from tests.drivers.tcp_peer import TcpPeer, link_to, mbap, settings, tcp_peer, umodbus_server

GOOD = mbap(1, 3, 4, 0x01, 0x02, 0x03, 0x04)


@pytest.fixture
async def far() -> AsyncIterator[TcpPeer]:
    async with tcp_peer() as peer:
        yield peer


@pytest.fixture
async def near(far: TcpPeer) -> AsyncIterator[TcpLink]:
    link = link_to(far)
    yield link
    await link.close()


async def read_two(link: TcpLink) -> tuple[int, ...]:
    return (await link.read(1, "holding register", 0, 2)).raw


async def test_a_request_is_a_header_and_the_body_without_a_check_sum(far: TcpPeer, near: TcpLink) -> None:
    far.answer(GOOD)
    assert await read_two(near) == (0x0102, 0x0304)
    assert far.requests[0][2:] == bytes([0, 0, 0, 6, 1, 3, 0, 0, 0, 2])


BAD = {
    "another transaction": (bytes([0x7F, 0x7F]) + GOOD[2:], True),
    "another protocol": (mbap(1, 3, 4, 1, 2, 3, 4, protocol=1), False),
    "another unit": (mbap(2, 3, 4, 1, 2, 3, 4), False),
    "another function": (mbap(1, 4, 4, 1, 2, 3, 4), False),
    "a wrong byte count": (mbap(1, 3, 5, 1, 2, 3, 4), False),
    "a wrong length": (mbap(1, 3, 4, 1, 2, 3, 4, length=8), False),
    "a register too many": (mbap(1, 3, 6, 1, 2, 3, 4, 5, 6), False),
    "bytes behind it": (GOOD + b"\0", False),
    "an answer twice": (GOOD + GOOD, False),
    "a refusal with code 0": (mbap(1, 0x83, 0), False),
    "a piece": (GOOD[:8], False),
    "a piece of the header": (GOOD[:4], False),
}


@pytest.mark.parametrize(("frame", "as_is"), BAD.values(), ids=BAD.keys())
async def test_whatever_is_not_exactly_the_answer_is_a_bad_one(
    far: TcpPeer, near: TcpLink, frame: bytes, as_is: bool
) -> None:
    far.answer(frame, as_is=as_is)
    with pytest.raises(BadAnswer):
        await read_two(near)


async def test_a_refusal_is_told_with_its_code(far: TcpPeer, near: TcpLink) -> None:
    far.answer(mbap(1, 0x83, 2))
    with pytest.raises(Refused, match=r"unit 1 on 127\.0\.0\.1:\d+ refused with code 2: it has no such register"):
        await read_two(near)


async def test_after_silence_the_connection_is_a_new_one_and_a_late_answer_has_nowhere_to_go(
    far: TcpPeer, near: TcpLink
) -> None:
    with pytest.raises(NoAnswer):
        await read_two(near)
    far.writers[0].write(far.requests[0][:2] + mbap(1, 3, 4, 9, 9, 9, 9)[2:])
    far.answer(GOOD)
    assert await read_two(near) == (0x0102, 0x0304)
    assert len(far.writers) == 2


async def test_a_closed_connection_is_opened_again_by_the_next_request(far: TcpPeer, near: TcpLink) -> None:
    far.answer(GOOD)
    await read_two(near)
    await far.hang_up()
    far.answer(GOOD)
    assert await read_two(near) == (0x0102, 0x0304)


async def test_a_connection_that_ends_instead_of_an_answer_is_told_at_once(far: TcpPeer) -> None:
    link = link_to(far, time_out_s=5.0)
    asking = asyncio.create_task(read_two(link))
    await asyncio.wait_for(far.asked.wait(), 2.0)
    await far.hang_up()
    with pytest.raises(LinkDown, match="ended the connection"):
        await asyncio.wait_for(asking, 2.0)
    await link.close()


async def test_after_silence_what_has_not_arrived_never_does(far: TcpPeer, near: TcpLink) -> None:
    with pytest.raises(NoAnswer):
        await near.write(1, "coil", 0, (1,))
    assert await asyncio.wait_for(far.ended.get(), 2.0) == "reset"


async def test_a_request_that_could_not_leave_in_time_never_leaves_later() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        link = TcpLink(settings(server.getsockname()[1]), asyncio.get_running_loop().time)
        await link.open()
        far, _ = server.accept()
    far.setblocking(False)
    assert link._client is not None
    transport = link._client.ctx.transport
    assert isinstance(transport, asyncio.Transport)
    while transport.get_write_buffer_size() < 1024:
        transport.write(b"\x55" * 1024)  # until the wire takes no more
    with pytest.raises(NoAnswer):
        await link.write(1, "coil", 0, (1,))
    arrived = bytearray()

    async def take_all() -> None:
        while data := await asyncio.get_running_loop().sock_recv(far, 1 << 20):
            arrived.extend(data)

    with far, pytest.raises(ConnectionResetError):
        await asyncio.wait_for(take_all(), 2.0)
    assert set(arrived) <= {0x55}


async def test_a_link_is_closed_in_good_order_where_nothing_is_open(far: TcpPeer) -> None:
    link = link_to(far)
    far.answer(GOOD)
    await read_two(link)
    await link.close()
    await link.close()
    assert await asyncio.wait_for(far.ended.get(), 2.0) == "in good order"


async def test_a_connection_dies_with_the_process_that_asks(far: TcpPeer) -> None:
    """Killed between request and answer: what the system still has of the request is dropped."""
    asking = (
        "import asyncio, sys; from drivers.modbus_tcp import TcpLink; from tests.drivers.tcp_peer import settings\n"
        "async def work():\n"
        "    link = TcpLink(settings(int(sys.argv[1]), time_out_s=60.0), asyncio.get_running_loop().time)\n"
        "    await link.write(1, 'coil', 0, (1,))\n"
        "asyncio.run(work())"
    )
    process = await asyncio.create_subprocess_exec(sys.executable, "-c", asking, str(far.port))
    await asyncio.wait_for(far.asked.wait(), 20.0)
    process.kill()
    await process.wait()
    assert await asyncio.wait_for(far.ended.get(), 2.0) == "reset"


async def test_a_link_settles_after_opening_and_rests_between_requests(far: TcpPeer) -> None:
    link = link_to(far, settle_s=0.05, quiet_s=0.03)
    began_s = asyncio.get_running_loop().time()
    far.answer(GOOD, GOOD)
    await read_two(link)
    await read_two(link)
    assert far.arrived_s[0] - began_s >= 0.05
    assert far.arrived_s[1] - far.arrived_s[0] >= 0.03
    await link.close()


async def test_a_link_that_is_opened_for_each_reading_has_a_connection_for_each(far: TcpPeer) -> None:
    link = link_to(far, opens_each_scan=True)
    far.answer(GOOD, GOOD)
    await read_two(link)
    await read_two(link)
    assert len(far.writers) == 2


async def test_writes_of_many_are_confirmed_by_address_and_count(far: TcpPeer, near: TcpLink) -> None:
    far.answer(mbap(1, 16, 0, 9, 0, 2))
    await near.write(1, "holding register", 9, (0x1234, 0x5678))
    assert far.requests[0][6:] == bytes([1, 16, 0, 9, 0, 2, 4, 0x12, 0x34, 0x56, 0x78])
    far.answer(mbap(1, 16, 0, 9, 0, 1))
    with pytest.raises(BadAnswer, match="another address, value or count"):
        await near.write(1, "holding register", 9, (0x1234, 0x5678))


def test_every_beginning_of_a_good_answer_may_still_become_one() -> None:
    request = bytes.fromhex("0007 0000 0006 01 03 0000 0002")
    answer = bytes.fromhex("0007 0000 0007 01 03 04 0102 0304")
    verdicts = [judge_tcp(request, answer[:length]).verdict for length in range(len(answer) + 1)]
    assert verdicts == ["incomplete"] * len(answer) + ["good"]


RELAYS = {
    "k1": Register("k1", "coil", 1, states={0: "off", 1: "on"}),
    "k2": Register("k2", "coil", 2, write_many=True, states={0: "off", 1: "on"}),
    "k1 seen": Register("k1 seen", "discrete input", 1, states={0: "open", 1: "closed"}),
    "k3": Register("k3", "holding register", 7, write_many=True, states={0x55: "off", 0xAA: "on"}),
}


async def test_relays_on_a_third_library_are_switched_and_seen() -> None:
    registers, coils = {7: 0x55}, dict.fromkeys(range(4), 0)
    with umodbus_server(registers, coils) as port:
        link = build_link(settings(port, time_out_s=2.0), asyncio.get_running_loop().time)
        module = build_device(link, RegisterMap("relays", "modbus module", 1, RELAYS, 0.05))
        assert isinstance(module, ModuleModbus)
        for point in ("k1", "k2", "k3"):
            await module.set_switch(point, on=True)
        assert (await module.read({"k1", "k2"})).values == {"k1": 1.0, "k2": 1.0}
        assert (await module.read({"k1 seen"})).values == {"k1 seen": 1.0}
        assert (registers, coils) == ({7: 0xAA}, {0: 0, 1: 1, 2: 1, 3: 0})
        for point in ("k1", "k2", "k3"):
            await module.set_switch(point, on=False)
        await link.close()
    assert (registers, coils) == ({7: 0x55}, dict.fromkeys(range(4), 0))


# 70000 is 0x00011170, and 2.5 as float32 is 0x40200000 (IEEE 754, computed by hand), in each order of their bytes.
HELD: dict[WordOrder, tuple[int, int, int, int]] = {
    "ABCD": (0x0001, 0x1170, 0x4020, 0x0000),
    "CDAB": (0x1170, 0x0001, 0x0000, 0x4020),
    "BADC": (0x0100, 0x7011, 0x2040, 0x0000),
    "DCBA": (0x7011, 0x0100, 0x0000, 0x2040),
}


@pytest.mark.parametrize("order", HELD)
async def test_a_supply_on_a_third_library_takes_set_points_of_32_bits(order: WordOrder) -> None:
    registers = dict.fromkeys(range(32), 0)
    points = {
        "set_current": Register("set_current", "holding register", 16, "uint32", order, scale=0.001, low=0, high=100),
        "set_voltage": Register("set_voltage", "holding register", 18, "float32", order, low=0, high=60),
        "switch": Register("switch", "holding register", 20, states={0: "off", 1: "on"}),
        "current": Register("current", "input register", 16, "int32", order, scale=0.001),
        "voltage": Register("voltage", "input register", 18, "float32", order),
    }
    with umodbus_server(registers, {0: 0}) as port:
        link = build_link(settings(port, time_out_s=2.0), asyncio.get_running_loop().time)
        supply = build_device(link, RegisterMap("rectifier", "modbus supply", 1, points, 0.05))
        assert isinstance(supply, SupplyModbus)
        await supply.set_current(70.0)
        await supply.set_voltage(2.5)
        await supply.switch_on()
        scan = await supply.read({"current", "voltage"})
        assert isinstance(link, TcpLink)
        with pytest.raises(Refused) as refused:
            await link.read(1, "holding register", 900, 1)
        await link.close()
    assert tuple(registers[address] for address in range(16, 21)) == (*HELD[order], 1)
    assert scan.values == pytest.approx({"current": 70.0, "voltage": 2.5})
    assert scan.raw == {"current": HELD[order][:2], "voltage": HELD[order][2:]}
    assert refused.value.code == 2
