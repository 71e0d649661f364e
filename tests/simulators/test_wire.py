"""Requests and answers as bytes on a real pty."""

from __future__ import annotations

import asyncio
import time
from dataclasses import replace

import pytest

from simulators.encoding import Encoding
from simulators.line import Truth
from simulators.modbus_frames import with_crc
from simulators.plan import LinePlan, RegisterPlan
from tests.simulators.conftest import Bench, Peer, prompt

SET_POINTS_AND_ON = "01 10 00 10 00 03 06 07 9E 08 98 00 01"
OFF = "01 06 00 12 00 00"


def number(truth: Truth, key: str) -> float:
    value = truth[key]
    assert isinstance(value, float)
    return value


def is_on(bench: Bench) -> bool:
    return bench.line.supplies["rectifier"].is_on


async def test_a_read_is_answered_with_the_bytes_of_the_specification(bench: Bench) -> None:
    assert await bench.peer.ask("01 03 00 10 00 02", 9) == with_crc(bytes.fromhex("01 03 04 00 00 00 00")).hex(" ")


async def test_commands_act_when_their_last_byte_is_read_and_are_told(bench: Bench) -> None:
    await bench.peer.ask(SET_POINTS_AND_ON, 8)
    before_s = time.monotonic()
    await bench.peer.ask(OFF, 8)
    after_s = time.monotonic()
    on, off = bench.told("output")
    assert (on["on"], on["changed"], off["on"], off["changed"]) == (True, True, False, True)
    assert before_s - 1e-6 <= number(off, "wire_s") <= after_s + 1e-6


async def test_each_command_is_told_even_when_it_changes_nothing(bench: Bench) -> None:
    await bench.peer.ask(OFF, 8)
    assert [(truth["on"], truth["changed"]) for truth in bench.told("output")] == [(False, False)]


async def test_a_request_in_pieces_is_one_request(bench: Bench) -> None:
    frame = with_crc(bytes.fromhex("01 03 00 10 00 01"))
    for byte in frame:
        bench.peer.send(bytes((byte,)))
    assert len(await bench.peer.take(7)) == 7


async def test_a_partial_frame_is_dropped_after_silence(bench: Bench) -> None:
    bench.peer.send(bytes.fromhex("01 03 00"))
    await asyncio.sleep(0.02)
    assert (await bench.peer.ask("01 03 00 10 00 01", 7)).startswith("01 03 02")


@pytest.mark.parametrize(
    "frame",
    [
        bytes.fromhex("01 03 00 10 00 01 00 00"),           # wrong check sum
        with_crc(bytes.fromhex("09 03 00 10 00 01")),       # nobody's unit id
        b"\xff\x00garbage of no shape at all" * 20,
        with_crc(bytes.fromhex("00 06 00 12 00 00")),       # to all, so that nobody answers
    ],
)  # fmt: skip
async def test_what_is_for_nobody_gets_no_answer_and_the_next_request_does(bench: Bench, frame: bytes) -> None:
    bench.peer.send(frame)
    assert await bench.peer.rest() == b""
    assert (await bench.peer.ask("01 03 00 10 00 01", 7)).startswith("01 03 02")


async def test_a_broadcast_acts(bench: Bench) -> None:
    bench.peer.send(with_crc(bytes.fromhex("00 06 00 12 00 01")))
    await bench.peer.rest()
    assert is_on(bench)


async def test_an_unknown_function_is_refused_after_silence(bench: Bench) -> None:
    assert await bench.peer.ask("01 2B 0E 01 00", 5) == with_crc(bytes.fromhex("01 AB 01")).hex(" ")


async def test_the_link_counts_its_bytes(bench: Bench) -> None:
    await bench.peer.ask("01 03 00 10 00 02", 9)
    link = bench.server.links["bus"]
    assert (link.bytes_received, link.bytes_sent) == (8, 9)


async def test_the_port_can_be_closed_and_opened_again(bench: Bench) -> None:
    bench.peer.close()
    await asyncio.sleep(0.005)
    bench.peer = Peer(bench.server.links["bus"].path)
    assert (await bench.peer.ask("02 04 00 00 00 01", 7)).startswith("02 04 02")


async def test_an_answer_waits_as_long_as_its_device_takes(plan: LinePlan) -> None:
    slow = replace(plan, devices={name: replace(of, answer_delay_s=0.03) for name, of in plan.devices.items()})
    bench = Bench(slow)
    began_s = time.monotonic()
    await bench.peer.ask("01 03 00 10 00 02", 9)
    assert time.monotonic() - began_s >= 0.029
    bench.close()


@pytest.mark.parametrize(("baud", "registers", "least_ms"), [(9600, 2, 27.50), (19200, 4, 16.04), (38400, 2, 8.37)])
async def test_with_true_byte_timing_a_transaction_takes_what_the_wire_takes(
    plan: LinePlan, baud: int, registers: int, least_ms: float
) -> None:
    # Derived from Modbus over serial line V1.02: request + 3.5 + answer + 3.5 characters of 11 bits.
    link = replace(plan.links["bus"], baud=baud, baud_true=True)
    bench = Bench(prompt(replace(plan, links={"bus": link})))
    silence_ms = 38500 / baud if baud <= 19200 else 1.75
    began_s = time.monotonic()
    await bench.peer.ask(f"01 04 00 00 00 0{registers}", 5 + 2 * registers)
    took_ms = (time.monotonic() - began_s) * 1000
    bench.close()
    assert took_ms >= least_ms - silence_ms - 0.02


async def test_with_true_byte_timing_a_command_counts_when_its_last_byte_would_have_come(plan: LinePlan) -> None:
    link = replace(plan.links["bus"], baud=9600, baud_true=True)
    bench = Bench(prompt(replace(plan, links={"bus": link})))
    began_s = time.monotonic()
    await bench.peer.ask(OFF, 8)
    bench.close()
    (off,) = bench.told("output")
    assert number(off, "wire_s") - began_s >= 8 * 11 / 9600 - 1e-6


async def test_with_true_byte_timing_an_answer_appears_bit_by_bit(plan: LinePlan) -> None:
    link = replace(plan.links["bus"], baud=2400, baud_true=True)
    bench = Bench(prompt(replace(plan, links={"bus": link})))
    bench.peer.send(with_crc(bytes.fromhex("01 04 00 00 00 04")))
    await bench.peer.take(1)
    first_s = time.monotonic()
    await bench.peer.take(12)
    bench.close()
    # Twelve more characters of 11 bits; the first is seen up to a timer's rounding of 1 ms late.
    assert time.monotonic() - first_s >= 12 * 11 / 2400 - 0.010


async def test_a_silent_device_neither_hears_nor_answers_until_the_fault_ends(bench: Bench) -> None:
    await bench.peer.ask(SET_POINTS_AND_ON, 8)
    assert bench.server.order({"fault": {"what": "device silent", "device": "rectifier"}}) == ""
    bench.peer.send(with_crc(bytes.fromhex(OFF)))
    assert await bench.peer.rest() == b""
    assert is_on(bench)
    assert (await bench.peer.ask("02 04 00 00 00 01", 7)).startswith("02 04 02")
    assert bench.server.order({"clear": "device silent"}) == ""
    await bench.peer.ask(OFF, 8)
    assert not is_on(bench)


async def test_a_dropped_answer_has_acted_and_a_dropped_request_has_not(bench: Bench) -> None:
    on = with_crc(bytes.fromhex("01 06 00 12 00 01"))
    for what, acted in (("request dropped", False), ("answer dropped", True)):
        bench.server.order({"fault": {"what": what, "device": "rectifier", "times": 1}})
        bench.peer.send(on)
        assert await bench.peer.rest() == b""
        assert is_on(bench) is acted


async def test_a_device_that_refuses_writes_still_reads_and_does_nothing(bench: Bench) -> None:
    bench.server.order({"fault": {"what": "device refuses", "device": "rectifier", "code": 4}})
    assert await bench.peer.ask("01 06 00 12 00 01", 5) == with_crc(bytes.fromhex("01 86 04")).hex(" ")
    assert not is_on(bench)
    assert (await bench.peer.ask("01 03 00 12 00 01", 7)).startswith("01 03 02")


async def test_a_supply_in_a_mains_dip_does_not_answer(bench: Bench) -> None:
    bench.server.order({"fault": {"what": "mains dip"}})
    bench.peer.send(with_crc(bytes.fromhex("01 03 00 12 00 01")))
    assert await bench.peer.rest() == b""


async def test_a_delayed_answer_arrives_after_its_delay(bench: Bench) -> None:
    bench.server.order({"fault": {"what": "answer delayed", "device": "rectifier", "delay_ms": 150}})
    bench.peer.send(with_crc(bytes.fromhex("01 03 00 12 00 01")))
    assert await bench.peer.rest(0.02) == b""
    assert len(await bench.peer.take(7)) == 7


async def test_an_armed_time_out_switches_off_after_silence_and_not_before(plan: LinePlan) -> None:
    armed = RegisterPlan("holding register", 19, Encoding(step=0.1), supply="rectifier", value="time_out_s")
    device = replace(plan.devices["rectifier"], registers=(*plan.devices["rectifier"].registers, armed))
    bench = Bench(prompt(replace(plan, devices={**plan.devices, "rectifier": device})))
    await bench.peer.ask(SET_POINTS_AND_ON, 8)
    await bench.peer.ask("01 06 00 13 00 02", 8)
    for _ in range(3):
        await asyncio.sleep(0.08)
        await bench.peer.ask("01 03 00 12 00 01", 7)
    assert is_on(bench)
    await asyncio.sleep(0.21)
    assert not is_on(bench)
    assert bench.told("output")[-1]["cause"] == "time-out"
    bench.close()


async def test_without_an_armed_time_out_the_output_stays_as_it_is(bench: Bench) -> None:
    await bench.peer.ask(SET_POINTS_AND_ON, 8)
    await asyncio.sleep(0.05)
    assert is_on(bench)


@pytest.mark.parametrize(
    "message", [7, {"fault": {"what": "gremlins"}}, {"clear": "gremlins"}, {"fault": []}, {"x": 1}]
)
async def test_a_bad_order_is_told_and_changes_nothing(bench: Bench, message: object) -> None:
    assert bench.server.order(message) != ""
    assert bench.told("fault") == []


async def test_process_time_runs_at_the_speed_and_wire_time_does_not(plan: LinePlan) -> None:
    bench = Bench(prompt(plan), speed=1000.0)
    await bench.peer.ask(SET_POINTS_AND_ON, 8)
    await asyncio.sleep(0.05)
    await bench.peer.ask(OFF, 8)
    bench.close()
    on, off = bench.told("output")
    process_s = number(off, "process_s") - number(on, "process_s")
    assert process_s == pytest.approx(1000.0 * (number(off, "wire_s") - number(on, "wire_s")), rel=1e-6)
    assert off["charge_c"] == pytest.approx(1.95 * process_s, rel=1e-9)
