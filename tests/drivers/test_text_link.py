"""Lines of text over a serial port: what counts as the answer, what becomes of the rest, and what a cancel does."""

from __future__ import annotations

import asyncio
import contextlib
import fcntl
import os
import time
import tty
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from drivers.ports import BadAnswer, LinkDown, NoAnswer
from drivers.text_link import LONGEST_LINE, NEWEST_KEPT, Ask, Line, TextLink
from tests.drivers.text_peer import QUIET_S, TIME_OUT_S, TextPeer, text_link


@pytest.fixture
async def far() -> AsyncIterator[TextPeer]:
    with TextPeer() as peer:
        yield peer


@pytest.fixture
async def near(far: TextPeer) -> AsyncIterator[TextLink]:
    link = text_link(far.port)
    yield link
    await link.close()


async def heard_by(link: TextLink, within_s: float = 0.5) -> Line:
    """The next line, which must come."""
    await link.open()
    line = await link.next_line(link.now() + within_s)
    assert line is not None
    return line


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


# -- the port


async def test_a_missing_port_says_to_plug_the_adapter_in(tmp_path: Path) -> None:
    with pytest.raises(LinkDown, match=r"nowhere is missing; plug the adapter in"):
        await text_link(f"{tmp_path}/nowhere").ask("*IDN?")


async def test_a_port_held_by_another_link_is_busy(far: TextPeer, near: TextLink) -> None:
    await near.open()
    with pytest.raises(LinkDown, match="busy: another program holds it"):
        await text_link(far.port).open()


async def test_an_open_port_holds_the_lock_that_other_programs_ask_for(far: TextPeer, near: TextLink) -> None:
    await near.open()
    fd = os.open(far.port, os.O_RDWR | os.O_NOCTTY)
    with pytest.raises(BlockingIOError):
        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
    os.close(fd)


@pytest.mark.parametrize("port", ["file", "/dev/null"])
async def test_what_is_no_serial_port_is_named_so(tmp_path: Path, port: str) -> None:
    (tmp_path / "file").write_text("no port")
    with pytest.raises(LinkDown, match="is not a serial port"):
        await text_link(str(tmp_path / port)).open()


async def test_a_port_lost_under_a_question_is_told_at_once(far: TextPeer) -> None:
    link = text_link(far.port, time_out_s=5.0)
    asyncio.get_running_loop().call_later(0.01, far.unplug)
    start_s = time.monotonic()
    with pytest.raises(LinkDown, match="was lost; plug the adapter in again"):
        await link.ask("CURR?")
    assert time.monotonic() - start_s < 1.0


async def test_a_port_lost_while_a_line_is_awaited_is_told_at_once(far: TextPeer) -> None:
    link = text_link(far.port)
    await link.open()
    asyncio.get_running_loop().call_later(0.01, far.unplug)
    start_s = time.monotonic()
    with pytest.raises(LinkDown, match="was lost"):
        await link.next_line(start_s + 5.0)
    assert time.monotonic() - start_s < 0.08


async def test_a_port_lost_between_questions_burns_no_time_and_is_opened_afresh_when_it_is_back(
    far: TextPeer, tmp_path: Path
) -> None:
    name = tmp_path / "wire"
    name.symlink_to(far.port)
    link = text_link(str(name))
    far.answer("1")
    await link.ask("A?")
    name.unlink()
    far.unplug()
    spent_s = time.process_time()
    await asyncio.sleep(0.05)
    assert time.process_time() - spent_s < 0.03
    with pytest.raises(LinkDown, match="missing"):
        await link.ask("A?")
    with TextPeer() as again:
        name.symlink_to(again.port)
        again.answer("2")
        assert (await link.ask("A?")).text == "2"
        assert link.openings == 2
        await link.close()


# -- cancels


async def test_a_cancel_lets_a_transaction_end_first_and_is_then_raised(far: TextPeer, near: TextLink) -> None:
    far.script.append([(0.015, b"1\n")])
    far.answer("2")

    async def two(ask: Ask) -> None:
        await ask("A?")
        await ask("B?")

    task = asyncio.create_task(near.transact(two))
    await far.asked.wait()
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
    assert far.heard == ["A?", "B?"]


async def test_a_cancel_before_the_first_byte_sends_nothing(far: TextPeer, near: TextLink) -> None:
    with pytest.raises(NoAnswer):
        await near.ask("A?")
    task = asyncio.create_task(near.ask("B?"))
    await asyncio.sleep(QUIET_S / 4)  # inside the silence
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
    await asyncio.sleep(QUIET_S * 1.5)
    assert far.heard == ["A?"]


async def test_no_cancel_is_ever_swallowed(far: TextPeer, near: TextLink) -> None:
    async def work() -> None:
        while True:
            await near.ask("A?")

    far.reply = lambda _: b"1\n"
    for turn in range(30):
        task = asyncio.create_task(work())
        await asyncio.sleep(0.0001 * turn)
        task.cancel()
        done, _ = await asyncio.wait({task}, timeout=0.5)
        assert done, "the task went on after its cancel"
        assert task.cancelled()


async def test_two_transactions_at_once_are_a_mistake_of_the_caller(far: TextPeer, near: TextLink) -> None:
    far.script.append([(0.01, b"1\n")])
    first = asyncio.create_task(near.ask("A?"))
    await asyncio.sleep(0.001)
    with pytest.raises(AssertionError, match="one after another"):
        await near.ask("B?")
    assert (await first).text == "1"


async def test_waiting_for_a_line_may_be_given_up_at_any_moment_and_loses_none(far: TextPeer, near: TextLink) -> None:
    got: list[bytes] = []

    async def listen() -> None:
        while True:
            line = await near.next_line(near.now() + 1.0)
            assert line is not None
            got.append(line.data)

    await near.open()
    for turn in range(30):
        task = asyncio.create_task(listen())
        await asyncio.sleep(0)
        far.say(b"%d\n" % turn)
        await asyncio.sleep(0.00005 * turn)
        task.cancel()
        await asyncio.wait({task})
    await asyncio.sleep(0.005)
    while (line := await near.next_line(near.now())) is not None:
        got.append(line.data)
    assert got == [b"%d\n" % turn for turn in range(30)]


# -- what comes unasked


async def test_lines_come_in_order_each_with_its_end(far: TextPeer, near: TextLink) -> None:
    await near.open()
    far.say(b"one\r\ntwo\nthr")
    assert (await heard_by(near)).data == b"one\r\n"
    assert (await heard_by(near)).data == b"two\n"
    far.say(b"ee\n")
    assert (await heard_by(near)).data == b"three\n"


async def test_a_line_is_stamped_between_the_last_empty_wire_and_its_last_byte(far: TextPeer, near: TextLink) -> None:
    await near.open()
    waiting = asyncio.create_task(heard_by(near))
    await asyncio.sleep(0.12)
    said_s = time.monotonic()
    far.say(b"half")
    await asyncio.sleep(0.02)
    ended_s = time.monotonic()
    far.say(b"whole\n")
    line = await waiting
    assert line.t_sent_s <= said_s
    assert said_s - line.t_sent_s < 0.11, "a link that waits knows that nothing had come"
    assert ended_s <= line.t_received_s < ended_s + 0.05


async def test_what_came_while_the_process_stood_still_is_as_old_as_that(far: TextPeer, near: TextLink) -> None:
    await near.open()
    waiting = asyncio.create_task(heard_by(near))
    await asyncio.sleep(0.001)
    stood_s = time.monotonic()
    far.say(b"one\n")
    time.sleep(0.15)  # noqa: ASYNC251
    assert (await waiting).t_sent_s <= stood_s


async def test_of_more_lines_than_are_kept_the_newest_stay(far: TextPeer, near: TextLink) -> None:
    await near.open()
    for count in range(NEWEST_KEPT + 6):
        far.say(b"%d\n" % count)
    await asyncio.sleep(0.01)
    assert (await heard_by(near)).data == b"6\n"


async def test_of_a_line_without_end_only_the_beginning_is_handed_on(far: TextPeer, near: TextLink) -> None:
    await near.open()
    for _ in range(5):
        far.say(b"1" * LONGEST_LINE)
        await asyncio.sleep(0.002)
    far.say(b"\nnext\n")
    assert (await heard_by(near)).data == b"1" * LONGEST_LINE
    assert (await heard_by(near)).data == b"next\n"


async def test_the_line_in_the_middle_of_which_the_port_was_opened_is_marked(far: TextPeer, near: TextLink) -> None:
    await near.open()
    far.say(b"lf\nwhole\n")
    assert (await heard_by(near)).first
    assert not (await heard_by(near)).first
    await near.close()
    await near.open()
    far.say(b"lf\n")
    assert (await heard_by(near)).first


async def test_waiting_ends_at_its_moment_without_a_line(near: TextLink) -> None:
    await near.open()
    before_s = time.monotonic()
    assert await near.next_line(near.now() + 0.02) is None
    assert 0.019 < time.monotonic() - before_s < 0.1


async def test_what_is_sent_leaves_while_lines_come(far: TextPeer, near: TextLink) -> None:
    await near.open()
    far.say(b"one\n")
    await asyncio.sleep(0.002)
    sent = await near.send(b"order\r\n")
    assert (await heard_by(near)).data == b"one\n", "nothing that came is thrown away"
    await far.asked.wait()
    assert far.heard == ["order"]
    assert sent.t_sent_s <= sent.t_received_s <= far.arrived_s[0]
