"""Lines of text over a serial port: what counts as the answer, what becomes of the rest, and what could not leave."""

from __future__ import annotations

import asyncio
import contextlib
import os
import time
import tty

import pytest

from drivers.ports import BadAnswer, NoAnswer
from drivers.text_link import LONGEST_LINE, Ask, TextLink
from tests.drivers.text_peer import TIME_OUT_S, TextPeer, text_link

# -- asking


async def test_one_line_is_answered_by_one_line_with_stamps_in_order(far: TextPeer, near: TextLink) -> None:
    far.answer("1.950")
    before_s = time.monotonic()
    answer = await near.ask("MEAS:CURR?")
    assert (far.heard, answer.text) == (["MEAS:CURR?"], "1.950")
    assert before_s <= answer.t_sent_s <= far.arrived_s[0] <= answer.t_received_s <= time.monotonic()


async def test_an_answer_may_end_in_carriage_return_and_line_feed_and_come_in_single_bytes(far: TextPeer) -> None:
    link = text_link(far.port, time_out_s=0.5)
    far.script.append([(0.0005, bytes([byte])) for byte in b"+1.950E+00\r\n"])
    assert (await link.ask("CURR?")).text == "+1.950E+00"
    await link.close()


async def test_a_line_that_is_not_answered_is_sent_without_waiting(far: TextPeer, near: TextLink) -> None:
    answer = await near.ask("OUTP OFF", answers=False)
    assert answer.text == ""
    assert answer.t_received_s - answer.t_sent_s < TIME_OUT_S / 2
    await far.asked.wait()
    assert far.heard == ["OUTP OFF"]


BAD = {
    "no text": b"\xff\xfe\x80\n",
    "a control character": b"1.9\x005\n",
    "half a line": b"1.95",
    "one byte": b"1",
    "an empty line": b"\r\n",
    "two lines": b"1.95\n1.95\n",
    "one line and a half": b"1.95\n1.9",
    "a flood without an end": b"1" * (LONGEST_LINE * 3),
    "a flood with an end": b"1" * (LONGEST_LINE * 2) + b"\n",
}


@pytest.mark.parametrize("data", BAD.values(), ids=BAD.keys())
async def test_anything_but_exactly_one_line_of_text_is_a_bad_answer(far: TextPeer, data: bytes) -> None:
    link = text_link(far.port)
    far.answer(data, "1.950")
    with pytest.raises(BadAnswer, match=r"`CURR\?` was not answered properly"):
        await link.ask("CURR?")
    assert (await link.ask("CURR?")).text == "1.950", "the link must be usable again"
    await link.close()


async def test_silence_is_no_answer(near: TextLink) -> None:
    with pytest.raises(NoAnswer, match=r"`CURR\?` was not answered within 50 ms"):
        await near.ask("CURR?")


async def test_a_late_answer_is_not_taken_for_the_answer_to_the_next_line(far: TextPeer) -> None:
    link = text_link(far.port, after_silence_s=0.1)
    far.script.append([(TIME_OUT_S + 0.01, b"9.999\n")])
    far.answer("1.950")
    with pytest.raises(NoAnswer):
        await link.ask("CURR?")
    assert (await link.ask("CURR?")).text == "1.950"
    await link.close()


async def test_what_lies_unread_is_thrown_away_before_the_next_line(far: TextPeer, near: TextLink) -> None:
    await near.open()
    far.say(b"9.999\n9.9")
    time.sleep(0.002)  # the loop stands still: the bytes wait in the kernel  # noqa: ASYNC251
    far.answer("1.950")
    assert (await near.ask("CURR?")).text == "1.950"


@pytest.mark.parametrize("first", [b"", b"\xff\n", b"1.9"], ids=["silence", "noise", "half a line"])
async def test_after_a_failure_the_wire_stays_quiet_for_the_worst_answer_time(far: TextPeer, first: bytes) -> None:
    link = text_link(far.port, after_silence_s=0.05)
    far.answer(first, "1.950")
    with contextlib.suppress(NoAnswer, BadAnswer):
        await link.ask("CURR?")
    failed_s = time.monotonic()
    await link.ask("CURR?")
    assert far.arrived_s[1] - failed_s >= 0.048
    await link.close()


async def test_between_exchanges_there_is_the_quiet_time_the_devices_ask_for(far: TextPeer) -> None:
    link = text_link(far.port, quiet_s=0.03)
    far.answer("1", b"", "3")
    await link.ask("A?")
    await link.ask("B", answers=False)
    await link.ask("C?")
    first, second, third = far.arrived_s
    assert second - first >= 0.029
    assert third - second >= 0.029
    await link.close()


async def test_after_opening_the_device_is_left_alone_for_its_settling_time(far: TextPeer) -> None:
    link = text_link(far.port, settle_s=0.04)
    far.answer("1", "2")
    before_s = time.monotonic()
    await link.ask("A?")
    await link.ask("B?")
    assert far.arrived_s[0] - before_s >= 0.039
    assert far.arrived_s[1] - far.arrived_s[0] < 0.03, "only after opening"
    await link.close()


async def test_a_port_that_is_opened_anew_is_so_for_each_transaction_not_for_each_exchange(far: TextPeer) -> None:
    link = text_link(far.port, anew=True, time_out_s=0.5)

    async def two(ask: Ask) -> None:
        for _ in range(2):
            far.answer("1")
            await ask("A?")

    await link.transact(two)
    assert link.openings == 1
    await link.transact(two)
    assert link.openings == 2
    await link.close()


async def test_the_trace_sees_every_byte_once(far: TextPeer) -> None:
    seen: list[tuple[bool, bytes]] = []
    link = text_link(far.port, trace=lambda sending, data: seen.append((sending, data)))
    far.script.append([(0.0, b"1.9"), (0.002, b"50\n")])
    await link.ask("CURR?")
    far.say(b"\x11")
    await asyncio.sleep(0.005)
    await link.close()
    assert b"".join(data for sending, data in seen if not sending) == b"1.950\n\x11"
    assert b"".join(data for sending, data in seen if sending) == b"CURR?\n"


# -- what could not leave


async def stuff(fd: int) -> int:
    """Fill a wire that nobody reads at its far end until not one byte more fits; return how many did."""
    stuffed = still = 0
    while still < 5:
        before = stuffed
        for size in (1024, 1):
            with contextlib.suppress(BlockingIOError):
                while True:
                    stuffed += os.write(fd, b"\0" * size)
        still = still + 1 if stuffed == before else 0
        await asyncio.sleep(0.001)
    return stuffed


async def test_a_line_that_could_not_leave_in_time_never_leaves_later() -> None:
    master, slave = os.openpty()
    tty.setraw(slave)
    os.set_blocking(master, False)
    os.set_blocking(slave, False)
    link = text_link(os.ttyname(slave))
    await link.open()
    stuffed = await stuff(slave)
    with pytest.raises(NoAnswer, match="took no bytes"):
        await link.ask("OUTP ON", answers=False)
    heard = b""
    for _ in range(20):
        with contextlib.suppress(BlockingIOError):
            while data := os.read(master, 65536):
                heard += data
        await asyncio.sleep(0.001)
    assert b"ON" not in heard
    assert len(heard) < stuffed, "what the computer held back was taken back too"
    await link.close()
    os.close(master)
    os.close(slave)


async def test_a_line_waits_for_room_and_then_leaves_whole() -> None:
    master, slave = os.openpty()
    tty.setraw(slave)
    os.set_blocking(master, False)
    os.set_blocking(slave, False)
    link = text_link(os.ttyname(slave), time_out_s=1.0)
    await link.open()
    await stuff(slave)
    task = asyncio.create_task(link.ask("OUTP OFF", answers=False))
    await asyncio.sleep(0.005)
    assert not task.done()
    heard = b""
    while not heard.endswith(b"\n"):
        with contextlib.suppress(BlockingIOError):
            heard += os.read(master, 65536)
        await asyncio.sleep(0)
    await task
    assert heard.endswith(b"\0OUTP OFF\n")
    await link.close()
    os.close(master)
    os.close(slave)
