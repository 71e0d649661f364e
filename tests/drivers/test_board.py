"""The board: what it tells becomes numbers once and only once."""

from __future__ import annotations

import asyncio
import itertools
import os
import time
from collections.abc import AsyncIterator

import pytest

from drivers.board_sentence import BoardSentence
from drivers.points import Field
from drivers.ports import BadAnswer, LinkDown, NoAnswer, Scan
from drivers.text_link import TextLink
from tests.drivers.board_peer import ALL, said, told
from tests.drivers.text_peer import TIME_OUT_S, TextPeer, board_map, text_link
from tests.harness.virtual_loop import run_virtual


@pytest.fixture
async def near(far: TextPeer) -> AsyncIterator[TextLink]:
    link = text_link(far.port)
    await link.open()
    yield link
    await link.close()


# -- reading


async def test_a_sentence_gives_its_values_in_the_units_of_the_points(far: TextPeer, board: BoardSentence) -> None:
    far.say(said("READ", 17, "t1=20.56", "e2=812.4", "cj=24", "level=1", "unknown=3"))
    scan = await board.read(ALL)
    assert scan.values == pytest.approx({"t1": 20.56, "emf": 812.4e-6, "cj": 24.0, "level": 1.0})
    assert scan.raw == {"t1": (), "emf": (), "cj": (24,), "level": (1,)}
    assert scan.t_sent_s <= scan.t_received_s


async def test_an_open_sensor_has_no_value_and_one_not_named_is_left_out(far: TextPeer, board: BoardSentence) -> None:
    far.say(said("READ", 1, "t1=", "level=0"))
    assert await told(board) == {"t1": None, "level": 0.0}


async def test_only_points_that_are_due_come(far: TextPeer, board: BoardSentence) -> None:
    far.say(said("BEAT", 1, "3.5") + said("READ", 2, "t1=20.5", "cj=24"))
    assert await told(board, "cj") == {"cj": 24.0}


async def test_the_heartbeat_is_told_by_its_own_sentence_alone(far: TextPeer, board: BoardSentence) -> None:
    far.say(said("READ", 1, "heartbeat=99", "t1=20") + said("BEAT", 2, "431.5"))
    assert await told(board) == {"t1": 20.0}
    assert await told(board) == {"heartbeat": 431.5}


async def test_a_state_the_profile_does_not_know_is_a_bad_answer(far: TextPeer, board: BoardSentence) -> None:
    far.say(said("READ", 1, "level=2"))
    with pytest.raises(BadAnswer, match=r"level came as 2, which is no state of it \(0 = open, 1 = closed\)"):
        await board.read(ALL)


async def test_a_number_that_stands_for_no_value_is_none(far: TextPeer, near: TextLink) -> None:
    board = BoardSentence(near, board_map(t1=Field("t1", unit="degC", no_value=(-999,))))
    far.say(said("READ", 1, "t1=-999"))
    assert await told(board, "t1") == {"t1": None}


async def test_silence_is_no_answer(board: BoardSentence) -> None:
    with pytest.raises(NoAnswer, match="told nothing that was asked for within 50 ms"):
        await board.read(ALL)


def test_silence_is_no_answer_after_the_response_time_out_to_the_last_digit_of_any_clock() -> None:
    """On a clock that stands still while anything is ready, a rest of a billionth must not be waited for in vain."""

    async def listen() -> None:
        loop = asyncio.get_running_loop()
        with TextPeer() as far:
            for turn in range(1, 200):
                board = BoardSentence(text_link(far.port, time_out_s=turn / 77, now=loop.time), board_map())
                before_s = loop.time()
                with pytest.raises(NoAnswer):
                    await board.read(ALL)
                assert loop.time() - before_s == pytest.approx(turn / 77, abs=2e-6)
                await board._link.close()

    run_virtual(listen())


async def test_sentences_without_what_was_asked_for_are_no_answer_either(far: TextPeer, board: BoardSentence) -> None:
    async def beat() -> None:
        for number in range(100):
            far.say(said("BEAT", number, f"{number}.5"))
            await asyncio.sleep(0.005)

    beating = asyncio.create_task(beat())
    with pytest.raises(NoAnswer):
        await asyncio.wait_for(board.read({"t1"}), TIME_OUT_S * 4)
    beating.cancel()


SPOILT = {
    "wrong check sum": said("READ", 2, "t1=20.56").replace(b"20.56", b"20.57"),
    "noise": b"\xff\x00\x13\n",
    "half a sentence": said("READ", 2, "t1=20.56")[9:],
    "a value that is none": said("READ", 2, "t1=warm"),
    "a heartbeat of two numbers": said("BEAT", 2, "1", "2"),
}


@pytest.mark.parametrize("line", SPOILT.values(), ids=SPOILT.keys())
async def test_a_spoilt_sentence_is_a_bad_answer_and_the_next_is_read(
    far: TextPeer, board: BoardSentence, line: bytes
) -> None:
    far.say(said("READ", 1, "t1=20") + line + said("READ", 3, "t1=22"))
    assert await told(board) == {"t1": 20.0}
    with pytest.raises(BadAnswer, match="sent a spoilt sentence"):
        await board.read(ALL)
    assert await told(board) == {"t1": 22.0}


async def test_the_half_sentence_in_which_the_port_was_opened_is_passed_over(
    far: TextPeer, board: BoardSentence
) -> None:
    far.say(said("READ", 1, "t1=20")[5:] + said("READ", 2, "t1=21"))
    assert await told(board) == {"t1": 21.0}


async def test_a_lost_port_is_told_at_once_to_a_read_that_waits(far: TextPeer, near: TextLink) -> None:
    board = BoardSentence(text_link(far.port, time_out_s=5.0), board_map())
    await near.close()
    asyncio.get_running_loop().call_later(0.01, far.unplug)
    start_s = time.monotonic()
    with pytest.raises(LinkDown):
        await board.read(ALL)
    assert time.monotonic() - start_s < 1.0


async def test_a_read_may_be_given_up_at_any_moment_and_loses_nothing(far: TextPeer, board: BoardSentence) -> None:
    got: list[float | None] = []

    async def listen() -> None:
        while True:
            got.append((await told(board, "t1"))["t1"])

    for turn in range(20):
        task = asyncio.create_task(listen())
        await asyncio.sleep(0)
        far.say(said("READ", turn, f"t1={turn}"))
        await asyncio.sleep(0.0001 * turn)
        task.cancel()
        await asyncio.wait({task})
    while len(got) < 20:
        got.append((await told(board, "t1"))["t1"])
    assert got == [float(turn) for turn in range(20)]


async def test_a_read_sends_nothing(far: TextPeer, board: BoardSentence) -> None:
    far.say(said("READ", 1, "t1=20"))
    await board.read(ALL)
    await asyncio.sleep(0.005)
    assert far.heard == []


async def test_points_the_board_does_not_have_are_refused(board: BoardSentence) -> None:
    for due in ({"t9"}, set[str]()):
        with pytest.raises(ValueError, match="are not points of it"):
            await board.read(due)


# -- news


async def news(far: TextPeer, board: BoardSentence, *lines: bytes) -> list[Scan]:
    """What is taken as news of these sentences."""
    far.say(b"".join(lines))
    got = []
    while True:
        try:
            got.append(await board.read(ALL))
        except NoAnswer:
            return got


def numbers(scans: list[Scan]) -> list[float | None]:
    return [value for scan in scans for value in scan.values.values()]


async def test_a_repeated_or_older_sentence_is_no_news(far: TextPeer, board: BoardSentence) -> None:
    lines = [said("READ", number, f"t1={number}") for number in (7, 8, 8, 6, 7, 9)]
    assert numbers(await news(far, board, *lines)) == [7.0, 8.0, 9.0]


async def test_lost_sentences_do_not_matter_and_the_count_goes_round(far: TextPeer, board: BoardSentence) -> None:
    lines = [said("READ", number, f"t1={number}") for number in (65530, 65535, 0, 4)]
    assert numbers(await news(far, board, *lines)) == [65530.0, 65535.0, 0.0, 4.0]


async def test_a_smaller_heartbeat_tells_of_a_reset_and_the_count_begins_anew(
    far: TextPeer, board: BoardSentence
) -> None:
    lines = [
        said("READ", 500, "t1=20"), said("BEAT", 501, "431.5"), said("READ", 0, "t1=99"), said("BEAT", 1, "0.2"),
        said("READ", 2, "t1=21"),
    ]  # fmt: skip
    assert numbers(await news(far, board, *lines)) == [20.0, 431.5, 0.2, 21.0]


async def test_a_repeated_older_heartbeat_is_no_reset(far: TextPeer, board: BoardSentence) -> None:
    """The board cannot have run for 430 s since the heartbeat before, which came just now."""
    lines = [said("BEAT", 10, "430.5"), said("BEAT", 11, "431.5"), said("BEAT", 10, "430.5"), said("READ", 11, "t1=9")]
    assert numbers(await news(far, board, *lines)) == [430.5, 431.5]


async def test_after_the_port_was_opened_again_the_count_begins_anew(
    far: TextPeer, near: TextLink, board: BoardSentence
) -> None:
    assert numbers(await news(far, board, said("READ", 500, "t1=20"))) == [20.0]
    await near.close()
    await near.open()
    assert numbers(await news(far, board, said("READ", 3, "t1=21"))) == [21.0]


def hand_over_in_pieces(monkeypatch: pytest.MonkeyPatch, far: TextPeer) -> None:
    """Let the computer hand received bytes over a few at a time, as it does when more lie there than it can show."""
    read, turn = os.read, itertools.count()

    def in_pieces(fd: int, most: int) -> bytes:
        if fd == far.master:
            return read(fd, most)
        if next(turn) % 2:
            raise BlockingIOError
        return read(fd, min(most, 500))

    monkeypatch.setattr(os, "read", in_pieces)


async def test_what_lay_there_while_the_process_stood_still_is_not_handed_out_as_fresh(
    far: TextPeer, board: BoardSentence, monkeypatch: pytest.MonkeyPatch
) -> None:
    reading = asyncio.create_task(board.read(ALL))
    await asyncio.sleep(0.001)
    hand_over_in_pieces(monkeypatch, far)
    for number in range(150):
        far.say(said("READ", number, f"t1={number}"))
    time.sleep(TIME_OUT_S * 2.5)  # noqa: ASYNC251
    with pytest.raises(NoAnswer):
        await reading
    far.say(said("READ", 900, "t1=40"))
    assert await told(board) == {"t1": 40.0}


async def test_a_sentence_that_waited_for_too_long_is_not_handed_out_as_fresh(
    far: TextPeer, board: BoardSentence
) -> None:
    far.say(said("READ", 1, "t1=20"))
    await asyncio.sleep(TIME_OUT_S * 2.5)
    far.say(said("READ", 2, "t1=22"))
    with pytest.raises(NoAnswer):
        await board.read(ALL)
