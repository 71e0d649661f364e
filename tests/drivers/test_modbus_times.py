"""No exchange with a device at its slowest keeps the link busy for longer than its times say; on a virtual clock."""

from __future__ import annotations

import asyncio
import contextlib
import os
from collections.abc import Callable, Collection, Coroutine, Iterator
from dataclasses import replace
from typing import Any

import pytest

from drivers.catalog import Trace, build_device, build_link
from drivers.modbus_frames import wire_time_s
from drivers.modbus_times import modbus_times
from drivers.module_modbus import ModuleModbus
from drivers.points import LinkSettings, SerialSettings, TcpSettings
from drivers.ports import NoAnswer
from drivers.registers import Register, RegisterMap
from drivers.supply_modbus import SupplyModbus
from supervisor.config.off_delay import off_delay
from tests.drivers.peer import Peer, framed, supply_map
from tests.drivers.tcp_peer import TcpPeer, mbap, served
from tests.harness.virtual_loop import run_virtual, virtual_loop

BAUD = 9600
WORST_S = 0.08
TIMES = 5

SERIAL = SerialSettings("bus", "modbus rtu", 0.3, WORST_S, port="", baud=BAUD)
TCP = TcpSettings("net", "modbus tcp", 0.3, WORST_S, host="127.0.0.1", port=0)

WIDE = Register("set_current", "holding register", 16, "uint32", unit="A", low=0, high=100)
MANY = Register("switch", "holding register", 18, write_many=True, states={0: "off", 1: "on"})
SUPPLY = replace(supply_map(set_current=WIDE, switch=MANY), worst_answer_s=WORST_S)
LEVELS = {f"p{n}": Register(f"p{n}", "input register", n) for n in range(40)}
LOGGER = RegisterMap("logger", "modbus module", 1, LEVELS, WORST_S)

Work = Callable[[SupplyModbus | ModuleModbus], Coroutine[object, object, object]]


class Flight:
    """Tells the virtual clock of bytes on their way through a pseudo-terminal."""

    def __init__(self, peer: Peer) -> None:
        self._peer = peer
        self._sent = 0
        self._received = 0

    def trace(self, sending: bool, data: bytes) -> None:
        if sending:
            self._sent += len(data)
        else:
            self._received += len(data)

    def in_flight(self) -> bool:
        return self._sent > self._peer.bytes_received or self._peer.bytes_sent > self._received

    def give_up(self) -> None:
        raise AssertionError("bytes were lost")


def body_of(request: bytes) -> bytes:
    """The good answer's body to a body of a request, all values nought (application protocol V1.1b3, 6)."""
    count = int.from_bytes(request[4:6])
    return request[:6] if request[1] > 4 else bytes([*request[:2], 2 * count, *bytes(2 * count)])


def slow_on_the_bus(request: bytes) -> list[tuple[float, bytes]]:
    """Answer when a real bus would have carried both frames and the device has taken its worst time."""
    answer = framed(*body_of(request[:-2]))
    return [(wire_time_s(BAUD, len(request) + len(answer)) + WORST_S, answer)]


class SlowHost(TcpPeer):
    """Answers each request after the worst time, or not at all."""

    is_deaf = False

    def _take(self, request: bytes, writer: asyncio.StreamWriter) -> None:
        if self.is_deaf:
            return
        frame = request[:4] + mbap(*body_of(request[6:]))[4:]
        asyncio.get_running_loop().call_later(WORST_S, writer.write, frame)


async def busy_s(told: LinkSettings, device_map: RegisterMap, work: Work, trace: Trace | None) -> float:
    """How long one of many transactions in a row takes, from the end of the one before it to its own end, s."""
    loop = asyncio.get_running_loop()
    link = build_link(told, loop.time, trace)
    device = build_device(link, device_map)
    assert isinstance(device, (SupplyModbus, ModuleModbus))
    await work(device)
    began_s = loop.time()
    for _ in range(TIMES):
        await work(device)
    took_s = loop.time() - began_s
    await link.close()
    return took_s / TIMES


@contextlib.contextmanager
def slow_bus() -> Iterator[tuple[str, Trace]]:
    """A bus with a slow device on it: its port, and the trace of its link."""
    with Peer() as peer, contextlib.ExitStack() as held:
        # While nobody holds the near end the peer looks again later, by a clock that stands still for bytes.
        held.callback(os.close, os.open(peer.port, os.O_RDWR | os.O_NOCTTY))
        flight = Flight(peer)
        virtual_loop().carriers.append(flight)
        peer.script.extend([slow_on_the_bus] * (TIMES + 1))
        yield peer.port, flight.trace


def busy_on_the_bus_s(told: SerialSettings, device_map: RegisterMap, work: Work) -> float:
    async def measure() -> float:
        with slow_bus() as (port, trace):
            return await busy_s(replace(told, port=port), device_map, work, trace)

    return run_virtual(measure())


def busy_on_the_network_s(told: TcpSettings, device_map: RegisterMap, work: Work) -> float:
    async def measure() -> float:
        async with served(SlowHost()) as peer:
            return await busy_s(replace(told, port=peer.port), device_map, work, None)

    return run_virtual(measure())


def reading(points: Collection[str]) -> Work:
    return lambda device: device.read(points)


async def set_current(device: SupplyModbus | ModuleModbus) -> object:
    assert isinstance(device, SupplyModbus)
    return await device.set_current(70.0)


async def switch_off(device: SupplyModbus | ModuleModbus) -> object:
    assert isinstance(device, SupplyModbus)
    return await device.switch_off()


DEMANDS: dict[str, dict[str, Any]] = {
    "nothing more": {},
    "a rest": {"quiet_s": 0.1},
    "a rest shorter than the silence between frames": {"quiet_s": 0.001},
    "a link opened for each": {"opens_each_scan": True, "settle_s": 0.3},
    "both": {"opens_each_scan": True, "settle_s": 0.02, "quiet_s": 0.05},
}
WORKS: dict[str, tuple[RegisterMap, Work]] = {
    "a long read": (LOGGER, reading(LEVELS)),
    "a wide set point": (SUPPLY, set_current),
    "an off by a write of many": (SUPPLY, switch_off),
}


def judge(took_s: float, told: LinkSettings, device_map: RegisterMap, work: Work) -> None:
    times = modbus_times(told, device_map)
    assert took_s <= (times.command_s if work is switch_off else times.longest_s) + 1e-6
    assert took_s >= WORST_S + max(told.quiet_s, told.settle_s) - 1e-6


# The rest is the link's: the device of these times asks for none itself, another one on the link does.


@pytest.mark.parametrize(("device_map", "work"), WORKS.values(), ids=WORKS.keys())
@pytest.mark.parametrize("demand", DEMANDS.values(), ids=DEMANDS.keys())
def test_no_exchange_on_a_bus_takes_longer_than_the_times_say(
    demand: dict[str, Any], device_map: RegisterMap, work: Work
) -> None:
    told = replace(SERIAL, **demand)
    judge(busy_on_the_bus_s(told, device_map, work), told, device_map, work)


@pytest.mark.parametrize(("device_map", "work"), WORKS.values(), ids=WORKS.keys())
@pytest.mark.parametrize("demand", DEMANDS.values(), ids=DEMANDS.keys())
def test_no_exchange_on_the_network_takes_longer_than_the_times_say(
    demand: dict[str, Any], device_map: RegisterMap, work: Work
) -> None:
    told = replace(TCP, **demand)
    judge(busy_on_the_network_s(told, device_map, work), told, device_map, work)


def test_a_bus_is_left_alone_after_opening_and_not_again() -> None:
    ends_s: list[float] = []

    async def twice(device: SupplyModbus | ModuleModbus) -> None:
        for _ in range(2):
            began_s = asyncio.get_running_loop().time()
            await device.read({"current"})
            ends_s.append(asyncio.get_running_loop().time() - began_s)

    async def measure() -> None:
        with slow_bus() as (port, trace):
            link = build_link(replace(SERIAL, port=port, settle_s=1.5), asyncio.get_running_loop().time, trace)
            device = build_device(link, SUPPLY)
            assert isinstance(device, SupplyModbus)
            await twice(device)
            await link.close()

    run_virtual(measure())
    assert ends_s[0] >= 1.5 + WORST_S
    assert ends_s[1] < 1.0


@pytest.mark.parametrize("demand", [{}, {"quiet_s": 0.1}, {"settle_s": 0.2}], ids=["nothing", "a rest", "settling"])
def test_an_off_behind_a_read_that_timed_out_is_within_its_worst_delay(demand: dict[str, Any]) -> None:
    """The read is not answered at all; the off that waits behind it leaves after the silence, and is confirmed."""

    async def off_s() -> tuple[float, LinkSettings]:
        loop = asyncio.get_running_loop()
        async with served(SlowHost()) as peer:
            link_settings = replace(TCP, port=peer.port, **demand)
            supply = build_device(link := build_link(link_settings, loop.time), SUPPLY)
            assert isinstance(supply, SupplyModbus)
            await link.open()
            await asyncio.sleep(1.0)
            peer.is_deaf = True
            began_s = loop.time()
            with pytest.raises(NoAnswer):
                await supply.read({"current"})
            peer.is_deaf = False
            await supply.switch_off()
            await link.close()
            return loop.time() - began_s, link_settings

    took_s, link_settings = run_virtual(off_s())
    delay = off_delay(link_settings, SUPPLY, [SUPPLY], {SUPPLY.name: 1})
    assert took_s <= delay.total_s
    assert took_s >= 0.3 + max(WORST_S, *demand.values(), 0.0) + WORST_S - 1e-6
