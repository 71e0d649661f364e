"""Frames as bytes: published examples, an independent peer, and random bytes that must never become a value."""

from __future__ import annotations

import asyncio
import time

import pytest
from hypothesis import example, given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from umodbus.client.serial.redundancy_check import get_crc

from drivers.modbus_frames import answer_length, crc16, frame_gap_s, judge, wire_time_s
from drivers.modbus_rtu import RtuLink
from drivers.module_modbus import ModuleModbus
from drivers.ports import BadAnswer, NoAnswer, Refused, WireError
from drivers.supply_modbus import SupplyModbus
from tests.drivers.peer import GOOD, Peer, framed, link_to, read_two, settings, supply_map, temperature_map
from tests.drivers.slave import umodbus_slave

REQUEST = bytes.fromhex("01 03 00 00 00 02 C4 0B")


# Check sums derived from the polynomial and the method of "MODBUS over Serial Line V1.02", appendix B.
@pytest.mark.parametrize("frame", ["01 03 00 00 00 02 C4 0B", "11 03 00 6B 00 03 76 87", "01 83 02 C0 F1"])
def test_check_sums_are_those_of_the_specification(frame: str) -> None:
    data = bytes.fromhex(frame)
    assert crc16(data[:-2]) == data[-2:]


# The same frames as whole requests on the wire.
@pytest.mark.parametrize(
    ("unit", "address", "count", "frame"),
    [(0x01, 0x00, 2, "01 03 00 00 00 02 C4 0B"), (0x11, 0x6B, 3, "11 03 00 6B 00 03 76 87")],
)
async def test_a_read_is_on_the_wire_what_the_specification_says(
    unit: int, address: int, count: int, frame: str
) -> None:
    with Peer() as peer:
        link = link_to(peer)
        with pytest.raises(NoAnswer):
            await link.read(unit, "holding register", address, count)
        await link.close()
        assert peer.requests == [bytes.fromhex(frame)]


async def test_the_exception_frame_of_the_specification_is_a_refusal() -> None:
    with Peer() as peer:
        link = link_to(peer)
        peer.answer(bytes.fromhex("01 83 02 C0 F1"))
        with pytest.raises(Refused, match="no such register"):
            await read_two(link)
        await link.close()


# Least transaction (request, 3.5 characters, answer, 3.5 characters) for 2, 4 and 10 registers, ms: derived from
# "MODBUS over Serial Line V1.02", 2.5.1.1: 11 bits a character, a fixed 1.750 ms above 19200 baud.
@pytest.mark.parametrize(
    ("baud", "least_ms"),
    [
        (9600, (27.50, 32.08, 45.83)),
        (19200, (13.75, 16.04, 22.92)),
        (38400, (8.37, 9.52, 12.95)),
        (115200, (5.12, 5.51, 6.65)),
    ],
)
def test_frames_take_the_time_the_specification_gives(baud: int, least_ms: tuple[float, ...]) -> None:
    for count, published_ms in zip((2, 4, 10), least_ms, strict=True):
        request = bytes([1, 3, 0, 0, 0, count])
        time_s = wire_time_s(baud, 8 + answer_length(request)) + 2 * frame_gap_s(baud)
        assert time_s * 1000 == pytest.approx(published_ms, abs=0.006)


async def test_a_slave_written_on_another_library_understands_us_and_is_understood() -> None:
    registers = {(1, 0): 1950, (1, 1): 1523, (1, 2): 1, (1, 3): 0, (2, 0): 0xFFF6, (2, 1): 0x7FFF}
    registers |= {(1, 16): 0, (1, 17): 0, (1, 18): 0}
    with umodbus_slave(registers) as port:
        link = RtuLink(settings(port, time_out_s=0.5), time.monotonic)
        supply, thermometer = SupplyModbus(link, supply_map()), ModuleModbus(link, temperature_map())
        await supply.set_current(2.5)
        await supply.set_voltage(22.0)
        await supply.switch_on()
        back = await supply.read({"set_current", "set_voltage", "switch"})
        measured = await supply.read({"current", "voltage", "output", "mode"})
        temperatures = await thermometer.read({"t1", "t2"})
        with pytest.raises(Refused) as refused:
            await link.read(1, "holding register", 900, 1)
        await link.close()
    assert back.values == pytest.approx({"set_current": 2.5, "set_voltage": 22.0, "switch": 1.0})
    assert measured.values == pytest.approx({"current": 1.95, "voltage": 15.23, "output": 1.0, "mode": 0.0})
    assert temperatures.values["t1"] == pytest.approx(-1.0)
    assert temperatures.values["t2"] is None
    assert refused.value.code == 2


def near_misses() -> st.SearchStrategy[bytes]:
    """Good answers with a few bytes turned, taken out or put in."""

    def damaged(place: int, cut: int, put: bytes) -> bytes:
        return GOOD[:place] + put + GOOD[place + cut :]

    return st.builds(damaged, st.integers(0, 9), st.integers(0, 4), st.binary(max_size=4))


def independently_good(data: bytes) -> bool:
    """The same question answered with umodbus' check sum and the specification's layout."""
    return len(data) == 9 and data[:3] == b"\x01\x03\x04" and get_crc(data[:-2]) == data[-2:]


@hypothesis_settings(max_examples=500)
@given(st.binary(max_size=300) | near_misses())
@example(GOOD)
def test_only_bytes_that_another_library_would_take_too_are_a_good_answer(data: bytes) -> None:
    assert (judge(REQUEST, data).verdict == "good") == independently_good(data)


@given(st.binary(min_size=1, max_size=16), st.integers(0, 8))
def test_what_once_was_bad_stays_bad_with_more_bytes(more: bytes, kept: int) -> None:
    first = judge(REQUEST, GOOD[:kept] + more)
    if first.verdict == "bad":
        assert judge(REQUEST, GOOD[:kept] + more + GOOD).verdict == "bad"


@hypothesis_settings(max_examples=40, deadline=None)
@given(st.lists(st.binary(min_size=1, max_size=40) | near_misses(), max_size=3))
def test_random_bytes_on_the_wire_never_crash_and_never_yield_a_value(pieces: list[bytes]) -> None:
    async def scenario() -> None:
        with Peer() as peer:
            link = RtuLink(settings(peer.port, time_out_s=0.004, quiet_s=0.001), time.monotonic)
            peer.script.append(lambda _: [(0.0, piece) for piece in pieces])
            try:
                answer = await link.read(1, "holding register", 0, 2)
            except WireError as exc:
                outcome: object = type(exc)
            else:
                outcome = answer.raw
            await link.close()
        if not b"".join(pieces).startswith(GOOD):
            assert outcome in {NoAnswer, BadAnswer, Refused}

    asyncio.run(scenario())


def test_all_waiting_is_by_the_clock_of_the_loop() -> None:
    """On a clock that jumps, an hour of time-out and silence passes at once, and both are kept."""

    class Jumping(asyncio.SelectorEventLoop):
        jumped_s = 0.0

        def time(self) -> float:
            return super().time() + self.jumped_s

        def jump(self, by_s: float) -> None:
            self.jumped_s += by_s

    async def scenario() -> None:
        loop = asyncio.get_running_loop()
        assert isinstance(loop, Jumping)
        with Peer() as peer:
            link = RtuLink(settings(peer.port, time_out_s=3600, quiet_s=1800), loop.time)
            start_s = loop.time()
            task = asyncio.create_task(read_two(link))
            await peer.asked.wait()
            loop.jump(3600)
            with pytest.raises(NoAnswer):
                await task
            peer.answer(framed(1, 3, 4, 0, 0, 0, 1))
            task = asyncio.create_task(read_two(link))
            await asyncio.sleep(0.01)
            assert len(peer.requests) == 1, "the silence is kept"
            loop.jump(1800)
            answer = await task
            await link.close()
        assert 5400 <= answer.t_sent_s - start_s < 5410

    with asyncio.Runner(loop_factory=Jumping) as runner:
        runner.run(asyncio.wait_for(scenario(), 1_000_000))
