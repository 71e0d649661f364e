"""Orders to the board: an order counts when the board says that it is done, and what its map may mean."""

from __future__ import annotations

import asyncio
import time
from collections.abc import AsyncIterator
from dataclasses import replace
from typing import cast

import pytest

from drivers.board_sentence import BoardSentence, board_times
from drivers.catalog import build_device, drivers
from drivers.points import Field, SerialSettings
from drivers.ports import BadAnswer, NoAnswer, Refused
from drivers.text_link import TextLink
from tests.drivers.board_peer import ALL, obeying, order_of, said, told
from tests.drivers.text_peer import TIME_OUT_S, TextPeer, board_map, text_link


@pytest.fixture
async def near(far: TextPeer) -> AsyncIterator[TextLink]:
    link = text_link(far.port)
    await link.open()
    yield link
    await link.close()


# -- orders


async def test_an_order_is_a_sentence_and_counts_when_the_board_says_so(far: TextPeer, board: BoardSentence) -> None:
    far.reply = obeying
    sent = await board.set_switch("fan", on=True)
    await board.set_switch("fan", on=False)
    first, second = (order_of(line) for line in far.heard)
    assert (first.word, first.fields, second.fields) == ("SET", ("fan=1",), ("fan=0",))
    assert second.number == (first.number + 1) % 65536
    assert sent.t_sent_s <= far.arrived_s[0] <= sent.t_received_s


async def test_on_and_off_are_the_raw_values_that_the_profile_calls_so(far: TextPeer, near: TextLink) -> None:
    board = BoardSentence(near, board_map(fan=Field("fan", label="relay-3", states={0: "on", 1: "off"})))
    far.reply = obeying
    await board.set_switch("fan", on=False)
    assert order_of(far.heard[0]).fields == ("relay-3=1",)


async def test_what_is_said_during_an_order_is_kept_for_the_next_reads(far: TextPeer, board: BoardSentence) -> None:
    far.reply = lambda line: said("READ", 1, "t1=20") + b"noise\r\n" + said("BEAT", 3, "7") + obeying(line)
    far.say(said("READ", 0, "t1=19"))
    await board.set_switch("fan", on=True)
    far.say(said("READ", 4, "t1=21"))
    assert await told(board) == {"t1": 19.0}
    assert await told(board) == {"t1": 20.0}
    with pytest.raises(BadAnswer):
        await board.read(ALL)
    assert await told(board) == {"heartbeat": 7.0}
    assert await told(board) == {"t1": 21.0}


@pytest.mark.parametrize("code", [1, 2, 3, 9])
async def test_a_refusal_is_told_with_its_code(far: TextPeer, board: BoardSentence, code: int) -> None:
    far.reply = lambda line: said("NOT", order_of(line).number, str(code))
    with pytest.raises(Refused, match=f"refused `SET fan=1` with code {code}: ") as caught:
        await board.set_switch("fan", on=True)
    assert caught.value.code == code


async def test_a_confirmation_of_another_state_is_a_bad_answer(far: TextPeer, board: BoardSentence) -> None:
    far.reply = lambda line: said("DONE", order_of(line).number, "fan=0")
    with pytest.raises(BadAnswer, match="confirmed `fan=0`, ordered was `fan=1`"):
        await board.set_switch("fan", on=True)


NO_CONFIRMATIONS = {
    "nothing": lambda _line: b"",
    "another number": lambda line: said("DONE", (order_of(line).number + 1) % 65536, "fan=1"),
    "a spoilt one": lambda line: obeying(line).replace(b"fan", b"fun"),
    "a refusal without a code": lambda line: said("NOT", order_of(line).number, ""),
    "the order itself": lambda line: line.encode() + b"\r\n",
}


@pytest.mark.parametrize("reply", NO_CONFIRMATIONS.values(), ids=NO_CONFIRMATIONS.keys())
async def test_without_its_own_confirmation_an_order_is_not_taken_as_done(
    far: TextPeer, board: BoardSentence, reply: object
) -> None:
    far.reply = reply  # type: ignore[assignment]
    with pytest.raises(NoAnswer, match="did not confirm `SET fan=1` within 50 ms"):
        await board.set_switch("fan", on=True)


async def test_a_late_confirmation_does_not_confirm_the_next_order(far: TextPeer, board: BoardSentence) -> None:
    with pytest.raises(NoAnswer):
        await board.set_switch("fan", on=True)
    far.say(obeying(far.heard[0]))
    with pytest.raises(NoAnswer):
        await board.set_switch("fan", on=True)


async def test_a_board_that_talks_without_end_cannot_hold_an_order_up(far: TextPeer, board: BoardSentence) -> None:
    async def talk() -> None:
        while True:
            far.say(said("BEAT", 1, "1") * 4)
            await asyncio.sleep(0)

    talking = asyncio.create_task(talk())
    with pytest.raises(NoAnswer):
        await asyncio.wait_for(board.set_switch("fan", on=True), TIME_OUT_S * 4)
    talking.cancel()


async def test_a_confirmation_that_was_read_late_is_still_one(far: TextPeer, board: BoardSentence) -> None:
    ordered = asyncio.create_task(board.set_switch("fan", on=True))
    await far.asked.wait()
    far.say(obeying(far.heard[0]))
    time.sleep(TIME_OUT_S * 2)  # noqa: ASYNC251
    await ordered


async def test_a_cancel_lets_an_order_end_first_and_is_then_raised(far: TextPeer, board: BoardSentence) -> None:
    task = asyncio.create_task(board.set_switch("fan", on=True))
    await far.asked.wait()
    task.cancel()
    await asyncio.sleep(0.005)
    assert not task.done(), "the confirmation is waited for"
    far.say(obeying(far.heard[0]))
    with pytest.raises(asyncio.CancelledError):
        await task


@pytest.mark.parametrize("point", ["level", "t1", "nothing"])
async def test_what_is_no_switch_is_refused_before_anything_is_sent(
    far: TextPeer, board: BoardSentence, point: str
) -> None:
    with pytest.raises(ValueError, match="is no switch"):
        await board.set_switch(point, on=True)
    await asyncio.sleep(0.002)
    assert far.heard == []


async def test_the_board_is_told_to_keep_its_relays_for_so_many_milliseconds(
    far: TextPeer, board: BoardSentence
) -> None:
    far.reply = obeying
    await board.keep()
    assert (order_of(far.heard[0]).word, order_of(far.heard[0]).fields) == ("KEEP", ("2000",))
    assert board.keep_every_s == pytest.approx(2.0 / 3)


async def test_a_board_that_cannot_be_told_to_keep_is_not(near: TextLink) -> None:
    board = BoardSentence(near, board_map(keep_s=None))
    assert board.keep_every_s is None
    with pytest.raises(ValueError, match="gives no time for that"):
        await board.keep()


# -- the map


UNUSABLE = {
    "a sentence cannot name `set_fan`": Field("set_fan"),
    "a sentence cannot name `Fan`": Field("fan", label="Fan"),
    "two points have one label": Field("t2", label="t1"),
}


@pytest.mark.parametrize("why", UNUSABLE)
def test_a_map_the_board_could_not_mean_is_refused_at_once(why: str) -> None:
    with pytest.raises(ValueError, match=why):
        build_device(text_link("unused"), board_map(added=UNUSABLE[why]))


def test_a_board_takes_no_opening_texts() -> None:
    with pytest.raises(ValueError, match="takes no opening texts"):
        build_device(text_link("unused"), replace(board_map(), opening=("SYST:REM",)))


def test_a_time_to_keep_below_a_millisecond_would_disarm_and_is_refused() -> None:
    with pytest.raises(ValueError, match="counts in milliseconds"):
        build_device(text_link("unused"), board_map(keep_s=0.0004))


def test_the_catalog_knows_the_board() -> None:
    board = cast("BoardSentence", build_device(text_link("unused"), board_map()))
    assert (drivers()["sentence board"].role, board.streams, board.groups) == ("module", True, (frozenset(ALL),))


def test_an_order_takes_its_own_bytes_and_those_of_a_sentence_before_its_confirmation() -> None:
    """`$DONE,65535,heartbeat=1*00` with its line end has 28 bytes, 10 bits each; an order is no longer."""
    settings = SerialSettings("wire", "serial text", 1.0, 0.005, port="unused", baud=9600)
    times = board_times(settings, board_map())
    assert times.command_s == pytest.approx((250 + 2 * 28) * 10 / 9600 + 0.005)
    assert times.longest_s == times.command_s
