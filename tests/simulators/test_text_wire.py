"""A wire of text: where its lines end, when its bytes pass, what faults make of them, and what a thermocouple gives."""

from __future__ import annotations

import asyncio
import os
import random
from collections.abc import Callable, Coroutine
from typing import Any

import pytest

from simulators.faults import Fault
from simulators.microcontroller import check_sum, sentence
from simulators.plan import LinkPlan
from simulators.pty import Piece
from simulators.text_plan import ThermocoupleType
from simulators.text_spoil import babble, spoil
from simulators.text_wire import LONGEST_LINE, TextPtyLink
from simulators.thermocouple import emf_mv
from tests.harness.virtual_loop import run_virtual, virtual_loop

CHARACTER_S = 10 / 1000
"""At 1000 baud, 8N1: start bit, eight bits, stop bit."""


class End:
    """A text link and its other end, on a clock that jumps. Times count from its making.

    Attributes:
        heard: lines the device heard, with the time told for each one. came: bytes at the other end, with their time.
    """

    def __init__(self, *, baud_true: bool = False, ends: bytes = b"\r\n") -> None:
        self._loop = virtual_loop()
        self._began_s = self._loop.time()
        plan = LinkPlan(1000, baud_true, "serial text")
        self.link = TextPtyLink(plan, self._hear, self._loop.time, ends)
        self.heard: list[tuple[bytes, float]] = []
        self.came: list[tuple[bytes, float]] = []
        self._fd = os.open(self.link.path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        self._sent = 0
        self._loop.add_reader(self._fd, self._read)
        self._loop.carriers.append(self)

    def in_flight(self) -> bool:
        return self._sent > self.link.bytes_received or self.link.bytes_sent > len(self.text)

    def give_up(self) -> None:
        raise AssertionError("a pty lost bytes")

    @property
    def text(self) -> bytes:
        return b"".join(data for data, _ in self.came)

    def _hear(self, line: bytes, arrived_s: float) -> None:
        assert arrived_s <= self._loop.time() + 1e-9
        self.heard.append((line, arrived_s - self._began_s))

    def _read(self) -> None:
        self.came.append((os.read(self._fd, 4096), self._loop.time() - self._began_s))

    async def send(self, data: bytes) -> None:
        """Send and let all that follows happen."""
        self._sent += os.write(self._fd, data)
        await asyncio.sleep(60.0)

    def close(self) -> None:
        self._loop.carriers.remove(self)
        self._loop.remove_reader(self._fd)
        os.close(self._fd)
        self.link.close()


def on_wire(work: Callable[[End], Coroutine[Any, Any, None]], **keys: Any) -> None:
    """Run it with a wire of its own."""

    async def whole() -> None:
        end = End(**keys)
        try:
            await work(end)
        finally:
            end.close()

    run_virtual(whole())


@pytest.mark.parametrize(
    ("sent", "lines"),
    [
        (b"one\ntwo\r\nthree\rfour", [b"one", b"two", b"three"]),
        (b"\r\n\n\r", []),
        (b"x" * (LONGEST_LINE + 1) + b"\nshort\n", [b"short"]),
        (b"x" * LONGEST_LINE + b"\n", [b"x" * LONGEST_LINE]),
    ],
)
def test_a_line_ends_at_either_end_and_one_too_long_is_not_heard(sent: bytes, lines: list[bytes]) -> None:
    async def work(end: End) -> None:
        await end.send(sent)
        assert [line for line, _ in end.heard] == lines

    on_wire(work)


def test_a_line_that_must_end_with_lf_keeps_its_cr() -> None:
    async def work(end: End) -> None:
        await end.send(b"one\r\ntwo\rthree\n")
        assert [line for line, _ in end.heard] == [b"one\r", b"two\rthree"]

    on_wire(work, ends=b"\n")


def test_what_is_left_of_a_line_waits_for_its_end() -> None:
    async def work(end: End) -> None:
        await end.send(b"VOLT")
        assert end.heard == []
        await end.send(b"?\n")
        assert [line for line, _ in end.heard] == [b"VOLT?"]

    on_wire(work)


def test_a_flood_without_an_end_fills_no_memory() -> None:
    async def work(end: End) -> None:
        for _ in range(4):
            await end.send(b"x" * LONGEST_LINE)
        assert len(end.link._line) == LONGEST_LINE + 1

    on_wire(work)


def test_with_true_byte_timing_each_line_arrives_when_its_own_end_has_passed() -> None:
    async def work(end: End) -> None:
        await end.send(b"abc\nde\n")
        assert [line for line, _ in end.heard] == [b"abc", b"de"]
        assert [at_s for _, at_s in end.heard] == pytest.approx([4 * CHARACTER_S, 7 * CHARACTER_S], abs=1e-6)

    on_wire(work, baud_true=True)


def test_with_true_byte_timing_bytes_appear_one_by_one_and_lines_one_after_the_other() -> None:
    async def work(end: End) -> None:
        end.link.say(Piece(b"ab\n"))
        end.link.say(Piece(b"cd\n"))
        await asyncio.sleep(1.0)
        assert end.text == b"ab\ncd\n"
        assert [at_s for _, at_s in end.came] == pytest.approx(
            [CHARACTER_S * (1 + byte) for byte in range(6)], abs=2e-3
        )

    on_wire(work, baud_true=True)


def test_what_is_said_late_holds_nothing_up_and_what_drips_is_not_cut_into() -> None:
    async def work(end: End) -> None:
        end.link.say(Piece(b"late\n", delay_s=1.0))
        end.link.say(Piece(b"drip\n", character_s=0.1))
        end.link.say(Piece(b"next\n"))
        await asyncio.sleep(5.0)
        assert end.text == b"drip\nnext\nlate\n"

    on_wire(work)


def test_what_is_equally_late_keeps_its_order() -> None:
    async def work(end: End) -> None:
        lines = [b"%d\n" % number for number in range(9)]
        for line in lines:
            end.link.say(Piece(line, delay_s=0.3))
        await asyncio.sleep(1.0)
        assert end.text == b"".join(lines)

    on_wire(work)


READ = sentence("READ,7,t1=20.56,t2=21.00,level=1")


def made_of(line: bytes, what: str, **amounts: float) -> bytes:
    """What one fault makes of a line."""
    fault = Fault(what, "board", 0.0, "", None, None, 1.0, amounts)
    return b"".join(piece.data for piece in spoil(line, [fault], random.Random(3)))


@pytest.mark.parametrize(
    ("what", "amounts", "body"),
    [
        ("values swapped", {}, "READ,7,t1=21.00,t2=20.56,level=1"),
        ("value out of range", {"value": 99999.0}, "READ,7,t1=99999.00,t2=21.00,level=1"),
        ("value out of range", {"value": -9.9e6}, "READ,7,t1=-9900000.00,t2=21.00,level=1"),
        ("wrong register count", {}, "READ,7,t1=20.56,t2=21.00"),
        ("wrong number", {}, "READ,14,t1=20.56,t2=21.00,level=1"),
        ("wrong function", {}, "DAER,7,t1=20.56,t2=21.00,level=1"),
    ],
)  # fmt: skip
def test_a_fault_of_content_leaves_a_whole_sentence(what: str, amounts: dict[str, float], body: str) -> None:
    assert made_of(READ, what, **amounts) == sentence(body)


def test_a_wrong_check_sum_is_the_only_thing_wrong() -> None:
    spoilt = made_of(READ, "wrong CRC")
    assert (spoilt[:-4], spoilt[-2:]) == (READ[:-4], b"\r\n")
    assert int(spoilt[-4:-2], 16) != check_sum(READ[1:-5])


def test_what_makes_no_sense_for_a_line_leaves_it() -> None:
    assert made_of(b"+1.00000E+00\n", "wrong CRC") == b"+1.00000E+00\n"
    assert made_of(sentence("BEAT,8,1.0"), "values swapped") == sentence("BEAT,8,1.0")


def test_faults_of_bytes_break_what_faults_of_content_have_made() -> None:
    faults = [
        Fault(what, "board", 0.0, "", None, None, 1.0, {"bytes": 3.0}) for what in ("answer truncated", "wrong number")
    ]
    (piece,) = spoil(READ, faults, random.Random(3))
    assert piece.data == sentence("READ,14,t1=20.56,t2=21.00,level=1")[:-3]


def test_babble_is_of_the_length_asked_for_and_ends_lines() -> None:
    fault = Fault("babble", "board", 0.0, "", None, None, 1.0, {"bytes": 500.0})
    noise = babble(fault, random.Random(3)).data
    assert len(noise) == 500
    assert b"\n" in noise


@pytest.mark.parametrize(
    ("of", "temperature_c", "published_mv"),
    [
        ("K", -100.0, -3.554), ("K", 0.0, 0.000), ("K", 21.0, 0.838), ("K", 400.0, 16.397), ("K", 1300.0, 52.410),
        ("J", -100.0, -4.633), ("J", 0.0, 0.000), ("J", 21.0, 1.071), ("J", 500.0, 27.393), ("J", 1200.0, 69.553),
        ("T", -100.0, -3.379), ("T", 0.0, 0.000), ("T", 21.0, 0.830), ("T", 350.0, 17.819),
    ],
)  # fmt: skip
def test_a_thermocouple_gives_the_published_voltage(
    of: ThermocoupleType, temperature_c: float, published_mv: float
) -> None:
    # NIST ITS-90 Thermocouple Database, SRD 60, all.tab: tables to 0.001 mV.
    assert emf_mv(of, temperature_c) == pytest.approx(published_mv, abs=0.0005)
