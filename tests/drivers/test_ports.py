"""Taking, losing and giving back a serial port, and what a cancel does to a transaction."""

from __future__ import annotations

import asyncio
import fcntl
import gc
import os
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest

from drivers import serial_link
from drivers.modbus_rtu import RtuLink
from drivers.ports import LinkDown, NoAnswer
from tests.drivers.peer import GOOD, QUIET_S, TIME_OUT_S, Peer, read_two, settings


def link_at(port: str) -> RtuLink:
    return RtuLink(settings(port, time_out_s=1.0), time.monotonic)


async def test_a_missing_port_says_to_plug_the_adapter_in(tmp_path: Path) -> None:
    with pytest.raises(LinkDown, match=r"nowhere is missing; plug the adapter in"):
        await read_two(link_at(f"{tmp_path}/nowhere"))


async def test_a_name_that_points_nowhere_says_where_it_points(tmp_path: Path) -> None:
    (tmp_path / "bus").symlink_to(tmp_path / "gone")
    with pytest.raises(LinkDown, match=r"bus is missing: it points to .*gone"):
        await link_at(f"{tmp_path}/bus").open()


async def test_a_port_is_found_through_a_name_that_points_to_it(peer: Peer, tmp_path: Path) -> None:
    (tmp_path / "bus").symlink_to(peer.port)
    peer.answer(GOOD)
    link = link_at(f"{tmp_path}/bus")
    assert (await read_two(link)).raw == (0x0102, 0x0304)
    await link.close()


async def test_a_port_held_by_another_link_is_busy(peer: Peer, link: RtuLink) -> None:
    await link.open()
    with pytest.raises(LinkDown, match="busy: another program holds it"):
        await link_at(peer.port).open()


async def test_a_port_held_by_another_process_is_busy_until_that_process_is_killed(peer: Peer) -> None:
    holder = (
        "import serial, sys; port = serial.Serial(sys.argv[1], exclusive=True); print(flush=True); sys.stdin.read()"
    )
    process = subprocess.Popen(  # noqa: ASYNC220
        [sys.executable, "-c", holder, peer.port], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    )
    with process:
        assert process.stdout is not None
        process.stdout.readline()
        with pytest.raises(LinkDown, match="busy"):
            await link_at(peer.port).open()
        process.kill()
        process.wait()
    link = link_at(peer.port)
    await link.open()
    await link.close()


async def test_an_open_port_holds_the_lock_that_other_programs_ask_for(peer: Peer, link: RtuLink) -> None:
    await link.open()
    fd = os.open(peer.port, os.O_RDWR | os.O_NOCTTY)
    with pytest.raises(BlockingIOError):
        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
    os.close(fd)


@pytest.mark.parametrize("kind", ["file", "folder", "device"])
async def test_what_is_no_serial_port_is_named_so(tmp_path: Path, kind: str) -> None:
    (tmp_path / "file").write_text("no port")
    (tmp_path / "folder").mkdir()
    port = "/dev/null" if kind == "device" else f"{tmp_path}/{kind}"
    with pytest.raises(LinkDown, match="is not a serial port"):
        await link_at(port).open()


async def test_a_port_of_another_group_names_the_group_to_join(peer: Peer, monkeypatch: pytest.MonkeyPatch) -> None:
    def forbidden(*_: object) -> int:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "open", forbidden)
    with pytest.raises(LinkDown, match=r"may not be opened by this user; add the user to the group \w+"):
        await link_at(peer.port).open()


async def test_parity_is_no_obstacle_on_a_pseudo_terminal(peer: Peer) -> None:
    peer.answer(GOOD)
    link = RtuLink(settings(peer.port, parity="E", time_out_s=1.0), time.monotonic)
    assert (await read_two(link)).raw == (0x0102, 0x0304)
    await link.close()


async def test_settings_the_port_does_not_take_are_named_as_the_cause(peer: Peer) -> None:
    link = RtuLink(settings(peer.port, baud=0x7FFF_FFFF_FFFF), time.monotonic)
    with pytest.raises(LinkDown, match=r"does not take its settings .* check speed, parity and stop bits"):
        await link.open()


async def test_a_port_may_be_closed_twice_and_opens_by_itself_again(peer: Peer, link: RtuLink) -> None:
    peer.answer(GOOD, GOOD)
    await read_two(link)
    await link.close()
    await link.close()
    assert (await read_two(link)).raw == (0x0102, 0x0304)


async def test_a_port_lost_under_a_request_is_told_at_once(peer: Peer) -> None:
    link = RtuLink(settings(peer.port, time_out_s=5.0), time.monotonic)
    asyncio.get_running_loop().call_later(0.01, peer.unplug)
    start_s = time.monotonic()
    with pytest.raises(LinkDown, match="was lost; plug the adapter in again"):
        await read_two(link)
    assert time.monotonic() - start_s < 1.0


async def test_a_port_lost_before_its_first_request_is_told_once(
    peer: Peer, link: RtuLink, caplog: pytest.LogCaptureFixture
) -> None:
    await link.open()
    peer.unplug()
    with pytest.raises(LinkDown, match="was lost"):
        await read_two(link)
    gc.collect()
    await asyncio.sleep(0)
    assert not caplog.records


async def test_a_port_lost_between_requests_is_told_at_the_next_and_burns_no_time(peer: Peer, tmp_path: Path) -> None:
    name = tmp_path / "bus"
    name.symlink_to(peer.port)
    link = link_at(str(name))
    peer.answer(GOOD)
    await read_two(link)
    name.unlink()
    peer.unplug()
    spent_s = time.process_time()
    await asyncio.sleep(0.1)
    assert time.process_time() - spent_s < 0.05
    with pytest.raises(LinkDown, match="missing"):
        await read_two(link)


async def test_a_port_that_comes_back_is_opened_afresh(peer: Peer, tmp_path: Path) -> None:
    name = tmp_path / "bus"
    name.symlink_to(peer.port)
    link = link_at(str(name))
    peer.answer(GOOD)
    await read_two(link)
    name.unlink()
    peer.unplug()
    with pytest.raises(LinkDown):
        await read_two(link)
    with Peer() as again:
        name.symlink_to(again.port)
        again.answer(GOOD)
        assert (await read_two(link)).raw == (0x0102, 0x0304)
        await link.close()


@pytest.mark.parametrize("ends", ["an answer", "silence", "a cancel"])
async def test_a_link_that_is_opened_for_each_reading_gives_its_port_back_whatever_came_of_it(
    peer: Peer, ends: str
) -> None:
    link = RtuLink(replace(settings(peer.port), opens_each_scan=True), time.monotonic)
    if ends == "an answer":
        peer.answer(GOOD)
    reading = asyncio.create_task(read_two(link))
    if ends == "a cancel":
        await peer.asked.wait()
        reading.cancel()
    await asyncio.wait({reading})
    assert reading.cancelled() or type(reading.exception()) in {NoAnswer, type(None)}
    other = link_at(peer.port)
    await other.open()
    await other.close()


async def test_a_cancel_lets_the_request_end_first_and_is_then_raised(peer: Peer, link: RtuLink) -> None:
    peer.script.append(lambda _: [(0.015, GOOD)])
    task = asyncio.create_task(read_two(link))
    await peer.asked.wait()
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
    assert peer.last_sent_s > peer.arrived_s[0], "the answer was waited for"
    peer.answer(GOOD)
    assert (await read_two(link)).raw == (0x0102, 0x0304)


async def test_a_cancel_during_a_request_without_answer_still_leaves_the_silence_behind_it(
    peer: Peer, link: RtuLink
) -> None:
    start_s = time.monotonic()
    task = asyncio.create_task(read_two(link))
    await peer.asked.wait()
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
    peer.answer(GOOD)
    await read_two(link)
    assert peer.arrived_s[1] - start_s >= TIME_OUT_S + QUIET_S - 0.002


async def test_a_cancel_before_the_request_leaves_sends_nothing(peer: Peer, link: RtuLink) -> None:
    with pytest.raises(NoAnswer):
        await read_two(link)
    task = asyncio.create_task(read_two(link))
    await asyncio.sleep(0.005)  # inside the silence
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
    await asyncio.sleep(0.03)
    assert len(peer.requests) == 1


async def test_a_task_that_was_cancelled_can_still_send_its_last_command(peer: Peer, link: RtuLink) -> None:
    peer.answer(GOOD)
    last: list[tuple[int, ...]] = []

    async def work() -> None:
        try:
            await asyncio.sleep(10)
        finally:
            last.append((await read_two(link)).raw)

    task = asyncio.create_task(work())
    await asyncio.sleep(0)
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
    assert last == [(0x0102, 0x0304)]


async def test_no_cancel_is_ever_swallowed_by_a_request(peer: Peer, link: RtuLink) -> None:
    async def work() -> None:
        while True:
            peer.answer(GOOD)
            await read_two(link)

    for turn in range(40):
        task = asyncio.create_task(work())
        await asyncio.sleep(0.0001 * turn)
        task.cancel()
        done, _ = await asyncio.wait({task}, timeout=0.5)
        assert done, "the task went on after its cancel"
        assert task.cancelled()
        peer.script.clear()


async def test_two_requests_at_once_on_one_link_are_a_mistake_of_the_caller(peer: Peer) -> None:
    # Telling of an assertion takes pytest longer than the usual time-out of these tests.
    link = RtuLink(settings(peer.port, time_out_s=5.0), time.monotonic)
    peer.script.append(lambda _request: [(0.1, GOOD)])  # the first is under way until then
    first = asyncio.create_task(read_two(link))
    await asyncio.sleep(0.001)
    with pytest.raises(AssertionError, match="one after another"):
        await read_two(link)
    assert (await first).raw == (0x0102, 0x0304)
    await link.close()


async def test_what_the_library_says_does_not_reach_the_log(
    peer: Peer, link: RtuLink, caplog: pytest.LogCaptureFixture, capfd: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(NoAnswer):
        await read_two(link)
    assert not caplog.records
    assert capfd.readouterr().err == ""


TIOCGEXCL = 0x80045440
"""Linux: asks whether a terminal is marked for one opening only (asm-generic/ioctls.h)."""


async def test_a_real_port_is_marked_for_one_opening_only_and_a_pseudo_terminal_is_not(
    peer: Peer, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def marked_while_open() -> int:
        link = link_at(peer.port)
        await link.open()
        fd = os.open(peer.port, os.O_RDWR | os.O_NOCTTY)
        answer = fcntl.ioctl(fd, TIOCGEXCL, bytes(4))
        os.close(fd)
        await link.close()
        return int.from_bytes(answer, sys.byteorder)

    assert await marked_while_open() == 0
    monkeypatch.setattr(serial_link, "PTY_MAJORS", ())  # so that it counts as a real port
    assert await marked_while_open() == 1
