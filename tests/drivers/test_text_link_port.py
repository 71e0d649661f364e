"""A serial port under lines of text: missing, held, lost and back; cancels; and what comes unasked."""

from __future__ import annotations

import asyncio
import fcntl
import os
import time
from pathlib import Path

import pytest

from drivers.ports import LinkDown, NoAnswer
from drivers.text_link import LONGEST_LINE, NEWEST_KEPT, Ask, TextLink
from tests.drivers.text_peer import QUIET_S, TextPeer, heard_by, text_link

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
