"""A microcontroller board on its wire: what it streams, what it obeys, and what happens when it is reset."""

from __future__ import annotations

import asyncio
import os
import time
from collections.abc import AsyncIterator
from functools import reduce
from operator import xor
from pathlib import Path

import pytest

from simulators.line import Truth
from simulators.microcontroller import sentence
from simulators.server import LineServer
from simulators.tables import FileError
from tests.simulators.conftest import Peer
from tests.simulators.lines import made

BOARD = """
[sensors.top]
tank = "acid"
noise_c = 0.0

[sensors.air]
noise_c = 0.0

[switches]
fan = { kind = "fan" }
pump = { kind = "agitation", tank = "acid" }

[contacts]
lid = { kind = "lid" }
air-flow = { kind = "air flow", follows = "fan" }

[links.board]
kind = "serial text"

[devices.board]
kind = "microcontroller"
link = "board"
boot_ms = 60.0
beat_period_ms = 20.0
answer_delay_ms = 1.0
relays = [ { name = "fan", switch = "fan" }, { name = "pump", switch = "pump" } ]

[[devices.board.groups]]
period_ms = 10.0
fields = [
    { name = "t1", sensor = "top" },
    { name = "t2" },
    { name = "lid", contact = "lid" },
    { name = "air-flow", contact = "air-flow" },
    { name = "e1", form = "microvolts", sensor = "top", cold_junction = "cj" },
    { name = "cj", sensor = "air" },
]
"""


def whole(line: str) -> list[str]:
    """The fields of a sentence with a check sum that fits."""
    assert line.startswith("$")
    body, _, told = line[1:].partition("*")
    assert f"{reduce(xor, body.encode(), 0):02X}" == told
    return body.split(",")


class Board:
    """A server with a board, and a peer that takes its lines."""

    def __init__(self, folder: Path) -> None:
        self.told: list[Truth] = []
        self.server = LineServer(made(folder, BOARD), now=time.monotonic, tell=self.told.append)
        self.line = self.server.line
        self.peer = Peer(self.server.links["board"].path)
        self._text = b""

    def fault(self, what: str, **keys: object) -> None:
        assert self.server.order({"fault": {"what": what, **keys}}) == ""

    def send(self, body: str) -> None:
        self.peer.send(sentence(body))

    async def next(self, *words: str, within_s: float = 2.0) -> list[str]:
        """The fields of the next sentence with one of these words."""
        async with asyncio.timeout(within_s):
            while True:
                while b"\r\n" not in self._text:
                    self._text += await self.peer.take(1)
                line, _, self._text = self._text.partition(b"\r\n")
                fields = whole(line.decode("ascii"))
                if fields[0] in words:
                    return fields

    async def ask(self, body: str) -> str:
        self.send(body)
        return ",".join(await self.next("DONE", "NOT"))

    async def values(self) -> dict[str, str]:
        """The values of a sentence that begins after this moment."""
        self._text += await self.peer.rest(0.015)
        self._text = b""
        await self.peer.take(1)
        async with asyncio.timeout(2.0):
            while await self.peer.take(1) != b"\n":
                pass
        return dict(field.split("=") for field in (await self.next("READ"))[2:])

    def fan_is_on(self) -> bool:
        return self.line.switches["fan"].is_on

    def switches_told(self) -> list[tuple[object, ...]]:
        return [(t["switch"], t["on"], t["cause"]) for t in self.told if t["truth"] == "switch" and t["changed"]]

    def close(self) -> None:
        self.peer.close()
        self.server.close()


@pytest.fixture
async def board(tmp_path: Path) -> AsyncIterator[Board]:
    made_board = Board(tmp_path)
    yield made_board
    made_board.close()


def test_a_sentence_is_framed_as_the_published_example() -> None:
    # NMEA 0183, an example that is widely published (from memory).
    assert sentence("GPGLL,4916.45,N,12311.12,W,225444,A,") == b"$GPGLL,4916.45,N,12311.12,W,225444,A,*1D\r\n"


async def test_it_streams_its_values_by_name_and_counts_its_sentences(board: Board) -> None:
    first, second = await board.next("READ", "BEAT"), await board.next("READ", "BEAT")
    assert int(second[1]) == int(first[1]) + 1
    values = await board.values()
    assert float(values["t1"]) == pytest.approx(20.5, abs=0.1)
    assert (values["t2"], values["lid"], values["air-flow"]) == ("", "1", "0")


async def test_its_heartbeat_tells_the_seconds_since_it_began(board: Board) -> None:
    beats = [float((await board.next("BEAT"))[2]) for _ in range(7)]
    assert beats == sorted(beats)
    assert 0.0 < beats[-1] < 1.0


async def test_microvolts_are_those_of_the_junction_less_those_of_the_cold_junction(board: Board) -> None:
    # NIST ITS-90 tables, type K: 4.096 mV at 100 degC and 1.000 mV at 25 degC, to the microvolt.
    board.line.sensors["top"].sheath_c = 100.0
    board.line.sensors["air"].sheath_c = 25.0
    values = await board.values()
    assert float(values["e1"]) == pytest.approx(3096.0, abs=8.0)


async def test_an_open_thermocouple_has_no_value_in_either_form(board: Board) -> None:
    board.fault("thermocouple open", sensor="top")
    values = await board.values()
    assert (values["t1"], values["e1"]) == ("", "")


async def test_a_relay_is_switched_and_answered_with_the_number_of_the_order(board: Board) -> None:
    assert await board.ask("SET,5,fan=1") == "DONE,5,fan=1"
    assert (await board.values())["air-flow"] == "1"
    assert await board.ask("SET,6,fan=0") == "DONE,6,fan=0"
    assert board.switches_told() == [("fan", True, "command"), ("fan", False, "command")]


@pytest.mark.parametrize(
    ("order", "answer"),
    [
        ("SET,7,horn=1", "NOT,7,1"),
        ("SET,8,fan=2", "NOT,8,2"),
        ("SET,9,fan", "NOT,9,2"),
        ("KEEP,10,soon", "NOT,10,2"),
        ("KEEP,11,-5", "NOT,11,2"),
    ],
)
async def test_an_order_that_makes_no_sense_is_refused_with_its_reason(board: Board, order: str, answer: str) -> None:
    assert await board.ask(order) == answer
    assert not board.fan_is_on()


async def test_a_board_that_refuses_says_that_it_could_not_be_done_and_does_nothing(board: Board) -> None:
    board.fault("device refuses", device="board")
    assert await board.ask("SET,5,fan=1") == "NOT,5,3"
    assert not board.line.switches["fan"].commanded


@pytest.mark.parametrize(
    "line",
    [
        b"$SET,5,fan=1*00\r\n",                       # wrong check sum
        sentence("SET,5,fan=1")[1:],                  # no beginning
        sentence("SET,5,fan=1")[:-2] + b"\n",         # CR missing
        sentence("SET,70000,fan=1"),                  # no such number
        sentence("set,5,fan=1"),                      # no such word
        sentence("KEEP,5," + "0" * 250),              # longer than a sentence may be
        b"\x00" + sentence("SET,5,fan=1"),            # something before it
    ],
)  # fmt: skip
async def test_what_is_not_one_whole_sentence_is_nothing(board: Board, line: bytes) -> None:
    board.peer.send(line)
    assert await board.ask("KEEP,6,0") == "DONE,6,0"
    assert not board.fan_is_on()


async def test_an_armed_board_lets_its_relays_rest_after_silence_and_not_before(board: Board) -> None:
    await board.ask("SET,1,fan=1")
    assert await board.ask("KEEP,2,150") == "DONE,2,150"
    for number in range(3, 7):
        await asyncio.sleep(0.05)
        await board.ask(f"KEEP,{number},150")
    assert board.fan_is_on()
    await asyncio.sleep(0.2)
    assert not board.fan_is_on()
    assert board.switches_told()[-1] == ("fan", False, "rest")


async def test_a_board_that_is_not_armed_keeps_its_relays(board: Board) -> None:
    await board.ask("SET,1,fan=1")
    await board.ask("KEEP,2,40")
    await board.ask("KEEP,3,0")
    await asyncio.sleep(0.08)
    assert board.fan_is_on()


async def test_a_reset_board_rests_is_dumb_while_it_boots_and_begins_to_count_anew(board: Board) -> None:
    await board.ask("SET,1,fan=1")
    await board.ask("KEEP,2,60000")
    before_s = float((await board.next("BEAT"))[2])
    await asyncio.sleep(0.1)
    board.fault("board resets", device="board")
    await asyncio.sleep(0)
    reset_s = time.monotonic()
    assert board.switches_told()[-1] == ("fan", False, "rest")
    await board.peer.rest(0.01)  # what it said before is still on its way
    board.send("SET,3,fan=1")
    first = await board.next("READ", "BEAT", "DONE")
    assert time.monotonic() - reset_s >= 0.06
    assert int(first[1]) == 0
    assert float((await board.next("BEAT"))[2]) <= before_s + 0.1
    assert not board.fan_is_on()
    assert await board.ask("SET,4,fan=1") == "DONE,4,fan=1"


async def test_a_board_whose_plug_is_out_writes_into_no_other_file(
    board: Board, monkeypatch: pytest.MonkeyPatch
) -> None:
    # The number of a closed descriptor is soon another file's.
    number = getattr(board.server.links["board"], "_master")  # noqa: B009 - the other links have none
    write, written = os.write, list[int]()

    def spy(descriptor: int, data: bytes) -> int:
        written.append(descriptor)
        return write(descriptor, data)

    await board.next("BEAT")
    board.peer.close()
    board.fault("port gone")
    await asyncio.sleep(0)
    monkeypatch.setattr(os, "write", spy)
    await asyncio.sleep(0.05)
    assert number not in written
    board.server.order({"clear": "port gone"})
    await asyncio.sleep(0)
    board.peer = Peer(board.server.links["board"].path)
    assert await board.next("BEAT")


async def test_what_strikes_a_boards_sentences_is_not_used_up_by_what_it_hears(board: Board) -> None:
    await board.next("BEAT")
    board.fault("answer dropped", device="board", times=1)
    # Heard before the board says anything again: the loop takes what is readable before what is due.
    board.server._texts["board"]._hear(sentence("SET,1,fan=1")[:-1], time.monotonic())
    assert len(board.line.board.strike("board", 0.0)) == 1


async def test_what_strikes_what_a_board_hears_is_not_used_up_by_what_it_says(board: Board) -> None:
    await board.peer.rest(0.0)
    board.fault("request dropped", device="board", times=1)
    # Many sentences of its own go by before the first that it hears.
    await asyncio.sleep(0.05)
    board.send("SET,1,fan=1")
    assert await board.ask("SET,2,pump=1") == "DONE,2,pump=1"
    assert not board.fan_is_on()


async def test_a_silent_board_neither_speaks_nor_hears(board: Board) -> None:
    board.fault("device silent", device="board")
    await board.peer.rest(0.005)
    board.send("SET,1,fan=1")
    assert await board.peer.rest(0.04) == b""
    assert not board.fan_is_on()


async def test_stuck_values_stay_while_sentences_and_relays_go_on(board: Board) -> None:
    await board.values()
    board.fault("values stuck", device="board")
    await board.ask("SET,1,fan=1")
    assert (await board.values())["air-flow"] == "0"
    board.server.order({"clear": "values stuck"})
    assert (await board.values())["air-flow"] == "1"


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ('cold_junction = "cj"', 'cold_junction = "elsewhere"', "cold junction"),
        ('sensor = "air" }', 'sensor = "nobody" }', "nobody"),
        ('switch = "pump"', 'switch = "nobody"', "nobody"),
        ('kind = "serial text"', 'kind = "modbus rtu"', "serial text"),
        ("boot_ms = 60.0", "boot_min = 1.0", "boot_min"),
    ],
)
def test_a_mistake_in_a_boards_table_is_named(tmp_path: Path, old: str, new: str, named: str) -> None:
    assert old in BOARD
    with pytest.raises(FileError, match=named):
        made(tmp_path, BOARD.replace(old, new))
