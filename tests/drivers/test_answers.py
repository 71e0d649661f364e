"""What the link takes for an answer, and what becomes of everything else."""

from __future__ import annotations

import asyncio
import contextlib
import os
import time
import tty

import pytest

from drivers.modbus_rtu import RtuLink
from drivers.ports import BadAnswer, NoAnswer, Refused
from tests.drivers.peer import GOOD, QUIET_S, TIME_OUT_S, Peer, framed, link_to, read_two, settings


async def write_one(link: RtuLink) -> None:
    await link.write(1, "holding register", 16, (0x0790,))


async def test_a_good_answer_gives_its_registers_and_stamps_in_order(peer: Peer, link: RtuLink) -> None:
    peer.answer(GOOD)
    before = time.monotonic()
    answer = await read_two(link)
    assert answer.raw == (0x0102, 0x0304)
    assert before <= answer.t_sent_s <= peer.arrived_s[0] <= answer.t_received_s <= time.monotonic()


async def test_an_answer_in_single_bytes_is_still_one_answer(peer: Peer) -> None:
    link = RtuLink(settings(peer.port, time_out_s=0.5), time.monotonic)
    peer.script.append(lambda _: [(0.0005, bytes([byte])) for byte in GOOD])
    assert (await read_two(link)).raw == (0x0102, 0x0304)
    await link.close()


BAD = {
    "noise": b"\x55\xaa\x00\xff\x13\x37",
    "noise before a good answer": b"\x00" + GOOD,
    "noise behind a good answer": GOOD + b"\x00",
    "a good answer twice": GOOD * 2,
    "half a frame": GOOD[:5],
    "one byte": GOOD[:1],
    "wrong check sum": GOOD[:-1] + bytes([GOOD[-1] ^ 1]),
    "one bit turned over in a value": GOOD[:4] + bytes([GOOD[4] ^ 0x10]) + GOOD[5:],
    "wrong unit": framed(2, 3, 4, 1, 2, 3, 4),
    "wrong function": framed(1, 4, 4, 1, 2, 3, 4),
    "one register too few": framed(1, 3, 2, 1, 2),
    "one register too many": framed(1, 3, 6, 1, 2, 3, 4, 5, 6),
    "an odd count of bytes": framed(1, 3, 3, 1, 2, 3),
    "an exception of another function": framed(1, 0x84, 2),
    "an exception of another unit": framed(2, 0x83, 2),
    "an exception with a wrong check sum": framed(1, 0x83, 2)[:-1] + b"\x00",
    "an exception with no code": framed(1, 0x83, 0),
    "the request as an echo": bytes.fromhex("01 03 00 00 00 02 C4 0B"),
    "a flood": bytes(range(256)) * 12,
}


@pytest.mark.parametrize("data", BAD.values(), ids=BAD.keys())
async def test_anything_but_exactly_one_good_answer_is_a_bad_answer(peer: Peer, link: RtuLink, data: bytes) -> None:
    peer.answer(data, GOOD)
    with pytest.raises(BadAnswer, match="unit 1"):
        await read_two(link)
    assert (await read_two(link)).raw == (0x0102, 0x0304), "the bus must be usable again"


async def test_a_good_answer_in_pieces_behind_noise_stays_bad(peer: Peer, link: RtuLink) -> None:
    peer.script.append(lambda _: [(0.0, b"\x00"), (0.002, GOOD)])
    with pytest.raises(BadAnswer):
        await read_two(link)


async def test_a_good_answer_behind_more_noise_than_the_library_keeps_stays_bad(peer: Peer, link: RtuLink) -> None:
    """At the last of these bytes its buffer of 4096 is thrown away, and the good answer then stands alone in it."""
    noise = [(0.001, b"\x7e" * 1024)] * 4 + [(0.001, b"\x7e")]
    peer.script.append(lambda _: [*noise, (0.001, GOOD)])
    with pytest.raises(BadAnswer):
        await read_two(link)


async def test_silence_is_no_answer(peer: Peer, link: RtuLink) -> None:
    with pytest.raises(NoAnswer, match="did not answer within 50 ms"):
        await read_two(link)


async def test_a_late_answer_is_not_taken_for_the_answer_to_the_next_request(peer: Peer) -> None:
    link = link_to(peer, quiet_s=0.1)
    late = framed(1, 3, 4, 0xDE, 0xAD, 0xDE, 0xAD)
    peer.script.append(lambda _: [(TIME_OUT_S + 0.01, late)])
    peer.answer(GOOD)
    with pytest.raises(NoAnswer):
        await read_two(link)
    assert (await read_two(link)).raw == (0x0102, 0x0304)
    await link.close()


async def test_late_bytes_that_lie_unread_are_thrown_away_before_the_next_request(peer: Peer, link: RtuLink) -> None:
    peer.answer(GOOD)
    await read_two(link)
    await asyncio.sleep(0.005)
    peer.send(framed(1, 3, 4, 0xDE, 0xAD, 0xDE, 0xAD))
    time.sleep(0.002)  # the loop stands still: the bytes wait in the kernel  # noqa: ASYNC251
    peer.answer(GOOD)
    assert (await read_two(link)).raw == (0x0102, 0x0304)


@pytest.mark.parametrize("first", [b"", b"\x55", GOOD[:6]], ids=["silence", "noise", "half a frame"])
async def test_after_a_failure_the_bus_stays_quiet_for_the_worst_answer_time(
    peer: Peer, link: RtuLink, first: bytes
) -> None:
    peer.answer(first, GOOD)
    start_s = time.monotonic()
    with pytest.raises((NoAnswer, BadAnswer)):
        await read_two(link)
    await read_two(link)
    assert peer.arrived_s[1] - start_s >= TIME_OUT_S + QUIET_S - 0.002


async def test_between_good_frames_there_are_three_and_a_half_characters_of_silence(peer: Peer) -> None:
    link = link_to(peer, baud=4800)  # 3.5 characters of 11 bits are 8.02 ms
    peer.answer(GOOD, GOOD)
    await read_two(link)
    answered_s = peer.last_sent_s
    await read_two(link)
    await link.close()
    assert peer.arrived_s[1] - answered_s >= 0.008


async def test_a_refusal_needs_no_longer_silence_than_an_answer(peer: Peer) -> None:
    link = link_to(peer, quiet_s=0.5)
    peer.answer(framed(1, 0x83, 2), GOOD)
    with pytest.raises(Refused):
        await read_two(link)
    await read_two(link)
    await link.close()
    assert peer.arrived_s[1] - peer.arrived_s[0] < 0.2


async def test_chatter_on_the_bus_cannot_hold_a_request_back_for_ever(peer: Peer) -> None:
    async def chatter() -> None:
        while True:
            peer.send(b"\x00")
            await asyncio.sleep(0.0005)

    link = link_to(peer, baud=1200)  # 3.5 characters are 32 ms: this chatter leaves no such silence
    await link.open()
    task = asyncio.create_task(chatter())
    await asyncio.sleep(0.005)
    with pytest.raises(BadAnswer):
        await asyncio.wait_for(read_two(link), 0.5)
    task.cancel()
    await link.close()
    assert len(peer.requests) == 1


async def test_a_request_that_could_not_leave_in_time_never_leaves_later() -> None:
    master, slave = os.openpty()
    tty.setraw(slave)
    os.set_blocking(master, False)
    os.set_blocking(slave, False)
    link = RtuLink(settings(os.ttyname(slave)), time.monotonic)
    await link.open()
    with contextlib.suppress(BlockingIOError):
        while True:
            os.write(slave, b"\x55" * 1024)  # until the wire takes no more
    with pytest.raises(NoAnswer):
        await write_one(link)
    arrived = b""
    for _ in range(3):
        with contextlib.suppress(BlockingIOError):
            while True:
                arrived += os.read(master, 4096)
        await asyncio.sleep(0.002)
    await link.close()
    os.close(slave)
    os.close(master)
    assert set(arrived) == {0x55}


@pytest.mark.parametrize("code", [1, 2, 3, 4, 6, 11, 255])
async def test_an_exception_answer_is_a_refusal_with_its_code(peer: Peer, link: RtuLink, code: int) -> None:
    peer.answer(framed(1, 0x83, code))
    with pytest.raises(Refused, match=f"code {code}") as caught:
        await read_two(link)
    assert caught.value.code == code


async def test_a_write_is_confirmed_only_by_its_own_echo(peer: Peer, link: RtuLink) -> None:
    peer.answer(framed(1, 6, 0, 16, 0x07, 0x90))
    await write_one(link)
    assert peer.requests == [framed(1, 6, 0, 16, 0x07, 0x90)]


ECHOES = {
    "another value": framed(1, 6, 0, 16, 0x07, 0x91),
    "another address": framed(1, 6, 0, 17, 0x07, 0x90),
    "another function": framed(1, 16, 0, 16, 0x07, 0x90),
    "another unit": framed(3, 6, 0, 16, 0x07, 0x90),
    "broken off": framed(1, 6, 0, 16, 0x07, 0x90)[:-1],
    "a read's answer": GOOD,
}


@pytest.mark.parametrize("echo", ECHOES.values(), ids=ECHOES.keys())
async def test_a_write_with_any_other_echo_is_a_bad_answer(peer: Peer, link: RtuLink, echo: bytes) -> None:
    peer.answer(echo)
    with pytest.raises(BadAnswer):
        await write_one(link)


async def test_coils_are_read_bit_by_bit_and_written_as_the_specification_says(peer: Peer, link: RtuLink) -> None:
    peer.answer(framed(1, 1, 2, 0b1000_0001, 0b0000_0001), framed(1, 5, 0, 7, 0xFF, 0))
    answer = await link.read(1, "coil", 0, 9)
    await link.write(1, "coil", 7, (1,))
    assert answer.raw == (1, 0, 0, 0, 0, 0, 0, 1, 1)
    assert peer.requests[1] == framed(1, 5, 0, 7, 0xFF, 0)


@pytest.mark.parametrize("count", [8, 17])
async def test_coils_in_the_wrong_number_of_bytes_are_a_bad_answer(peer: Peer, link: RtuLink, count: int) -> None:
    peer.answer(framed(1, 2, 2, 0xFF, 0x01))
    with pytest.raises(BadAnswer):
        await link.read(1, "discrete input", 0, count)


async def test_the_trace_sees_every_byte_once(peer: Peer) -> None:
    seen: list[tuple[bool, bytes]] = []
    link = link_to(peer)
    link._trace = lambda sending, data: seen.append((sending, data))
    peer.script.append(lambda _: [(0.0, GOOD[:4]), (0.002, GOOD[4:])])
    await read_two(link)
    peer.send(b"\x11")
    await asyncio.sleep(0.005)
    await link.close()
    assert b"".join(data for sending, data in seen if not sending) == GOOD + b"\x11"
    assert [data for sending, data in seen if sending] == peer.requests


@pytest.mark.parametrize("behind", [b"\x55", GOOD, framed(1, 3, 4, 9, 9, 9, 9)])
async def test_what_comes_behind_a_whole_answer_is_nobodys(peer: Peer, behind: bytes) -> None:
    seen: list[bytes] = []
    clock_s = iter(range(100))
    link = RtuLink(settings(peer.port), lambda: float(next(clock_s)), lambda _, data: seen.append(data))
    peer.answer(GOOD)
    await link.open()
    whole = link._traced

    def traced(sending: bool, data: bytes) -> bytes:
        """The library reads twice before whoever waits has its turn."""
        taken = whole(sending, data)
        if data == GOOD:
            assert taken == GOOD
            assert (whole(False, behind), whole(False, behind + b"\x01")) == (b"", b"")
        return taken

    assert link._client is not None
    link._client.ctx.trace_packet = traced
    answer = await read_two(link)
    assert answer.raw == (0x0102, 0x0304)
    assert (answer.t_sent_s, answer.t_received_s) == (0.0, 1.0)
    assert seen[1:] == [GOOD, behind, b"\x01"]
    await link.close()
