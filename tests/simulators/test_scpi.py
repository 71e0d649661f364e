"""An SCPI bench supply: answers by SCPI-1999 and IEEE 488.2, its moods, and faults on its wire."""

from __future__ import annotations

import asyncio
import itertools
import random
import time
from collections.abc import AsyncIterator, Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from simulators.line import SimulatedLine
from simulators.scpi import QUEUE_LENGTH, spellings
from simulators.scpi_supply import ScpiSupply
from simulators.server import LineServer
from simulators.text_plan import Choke, Condition, ScpiPlan
from tests.harness.virtual_loop import VirtualLoop
from tests.simulators.conftest import Peer
from tests.simulators.lines import made

SCPI = """
[links.supply]
kind = "serial text"

[devices.supply]
kind = "scpi supply"
link = "supply"
supply = "main"
answer_delay_ms = 0.0
"""
NO_ERROR = '0,"No error"'


class Desk:
    """A supply at arm's length: messages go in, answers come out, on a clock that jumps."""

    def __init__(self, folder: Path, plan: ScpiPlan) -> None:
        self.line = SimulatedLine(made(folder, ""), seed=1)
        self.supply = self.line.supplies["main"]
        self.loop = VirtualLoop()
        self.heard: list[tuple[float, str]] = []
        self.began_s = self.loop.time()
        self.conditions: tuple[Condition, ...] = ()
        self.device = self.loop.run_until_complete(self._device(plan))

    async def _device(self, plan: ScpiPlan) -> ScpiSupply:
        return ScpiSupply(plan, self.supply, say=self._hear, conditions=lambda: self.conditions)

    def _hear(self, answer: bytes) -> None:
        self.heard.append((self.loop.time() - self.began_s, answer.decode().rstrip("\n")))

    def send(self, message: str, rest_s: float) -> None:
        """Send a message and let so much time pass, s."""
        self.device.hear(message.encode(), self.loop.time())
        self.loop.run_until_complete(asyncio.sleep(rest_s))

    def say(self, message: str) -> str:
        """The answer without its end; empty where none comes. Seconds pass, so that nothing chokes."""
        self.heard.clear()
        self.send(message, 3.0)
        return self.heard[-1][1] if self.heard else ""

    def errors(self) -> list[str]:
        """What is in the queue, oldest first."""
        return list(itertools.takewhile(lambda entry: entry != NO_ERROR, iter(lambda: self.say("SYST:ERR?"), "")))


DeskOf = Callable[[ScpiPlan], Desk]


@pytest.fixture
def desk_of(tmp_path: Path) -> Iterator[DeskOf]:
    opened: list[Desk] = []

    def desk_of(plan: ScpiPlan) -> Desk:
        opened.append(Desk(tmp_path, plan))
        return opened[-1]

    yield desk_of
    for desk in opened:
        desk.loop.close()


@pytest.fixture
def desk(desk_of: DeskOf) -> Desk:
    return desk_of(ScpiPlan(number_form="NR2"))


def test_headers_are_short_or_long_and_optional_nodes_may_be_left_out() -> None:
    # SCPI-1999, volume 1, section 6.2 (from memory).
    assert spellings("[SOURce]:VOLTage") == {
        ":SOUR:VOLT", ":SOURCE:VOLT", ":SOUR:VOLTAGE", ":SOURCE:VOLTAGE", ":VOLT", ":VOLTAGE",
    }  # fmt: skip


@pytest.mark.parametrize("message", ["VOLT 12.5", ":source:voltage:level 12.5", "SOUR:VOLT 1.25E+1", "volt 12500 mV"])
def test_a_set_point_in_every_spelling_acts_and_reads_back(desk: Desk, message: str) -> None:
    assert desk.say(message) == ""
    assert desk.say("VOLT?") == "12.500"
    assert desk.supply.set_voltage_v == 12.5


@pytest.mark.parametrize(("form", "shown"), [("NR2", "1.950"), ("NR3", "+1.95000E+00")])
def test_numbers_come_in_the_form_of_the_device(desk_of: DeskOf, form: str, shown: str) -> None:
    # IEEE 488.2, section 8.7 (from memory): NR2 has a point, NR3 an exponent as well.
    desk = desk_of(replace(ScpiPlan(), number_form=form))  # type: ignore[arg-type]
    desk.say("CURR 1.95")
    assert desk.say("CURR?") == shown


@pytest.mark.parametrize(
    ("message", "error"),
    [
        ("VOLTS 5", '-113,"Undefined header"'),
        ("VOLT", '-109,"Missing parameter"'),
        ("VOLT five", '-104,"Data type error"'),
        ("VOLT 5 W", '-131,"Invalid suffix"'),
        ("VOLT 5 A", '-131,"Invalid suffix"'),
        ("VOLT 5,6", '-108,"Parameter not allowed"'),
        ("VOLT ,", '-108,"Parameter not allowed"'),
        ("VOLT=5", '-102,"Syntax error"'),
        ("MEAS:CURR", '-113,"Undefined header"'),
        ("VOLT 61", '-222,"Data out of range"'),
        ("CURR -1", '-222,"Data out of range"'),
        ("VOLT 1E999", '-222,"Data out of range"'),
        ("OUTP MAYBE", '-224,"Illegal parameter value"'),
    ],
)
def test_a_mistake_goes_into_the_queue_by_its_number_and_changes_nothing(desk: Desk, message: str, error: str) -> None:
    # SCPI-1999, volume 2, chapter 21 (from memory).
    assert desk.say(message) == ""
    assert desk.say("SYST:ERR?") == error
    assert desk.say("SYST:ERR:NEXT?") == NO_ERROR
    assert (desk.supply.set_voltage_v, desk.supply.set_current_a, desk.supply.is_on) == (0.0, 0.0, False)


def test_errors_are_read_in_the_order_they_came_and_too_many_are_told_as_that(desk: Desk) -> None:
    desk.say("VOLT")
    for _ in range(QUEUE_LENGTH + 5):
        desk.say("NONSENSE")
    read = desk.errors()
    assert len(read) == QUEUE_LENGTH
    assert (read[0], read[-2:]) == (
        '-109,"Missing parameter"', ['-113,"Undefined header"', '-350,"Queue overflow"'],
    )  # fmt: skip


def test_clear_empties_the_queue(desk: Desk) -> None:
    desk.say("NONSENSE")
    desk.say("*CLS")
    assert desk.say("SYST:ERR?") == NO_ERROR


def test_queries_of_one_message_are_answered_in_one_line(desk: Desk) -> None:
    assert desk.say("VOLT 20;CURR 2;VOLT?;CURR?;OUTP?") == "20.000;2.000;0"


def test_a_header_goes_on_where_the_last_one_stood(desk: Desk) -> None:
    # SCPI-1999, volume 1, section 6.2.4 (from memory); a common command in between changes nothing.
    desk.say("VOLT 40;CURR 2;OUTP ON")
    desk.line.advance(60.0)
    current, voltage, set_voltage = desk.say("MEAS:CURR?;*OPC;VOLT?;:VOLT?").split(";")
    assert (current, set_voltage) == ("2.000", "40.000")
    assert 5.0 < float(voltage) < 40.0


def test_a_command_error_ends_its_message_and_an_execution_error_does_not(desk: Desk) -> None:
    assert desk.say("VOLT 20;VOLT?;NONSENSE;OUTP ON;OUTP?") == "20.000"
    assert desk.say("VOLT five;OUTP ON;VOLT?") == ""
    assert desk.say("VOLT 61;VOLT?") == "20.000"
    assert not desk.supply.is_on
    assert desk.errors() == ['-113,"Undefined header"', '-104,"Data type error"', '-222,"Data out of range"']


def test_a_new_message_takes_back_the_answer_that_has_not_begun(desk: Desk) -> None:
    # IEEE 488.2, section 6.3.2.3, and SCPI-1999 error -410 (both from memory).
    desk.send("VOLT?", 0.002)
    desk.send("OUTP?", 1.0)
    assert [answer for _, answer in desk.heard] == ["0"]
    assert desk.errors() == ['-410,"Query INTERRUPTED"']


def test_events_are_told_once_by_the_class_of_their_error(desk: Desk) -> None:
    # IEEE 488.2, section 11.5.1 (from memory): 128 power on, 32 command, 16 execution, 4 query error, 1 complete.
    assert [desk.say("*ESR?"), desk.say("*ESR?")] == ["128", "0"]
    for message in ("NONSENSE", "VOLT 61", "*OPC"):
        desk.say(message)
    assert desk.say("*STB?") == "4"
    assert desk.say("*ESE 32;*SRE 32;*STB?") == str(4 + 32 + 64)
    assert desk.say("VOLT?;*STB?").endswith(f";{4 + 16 + 32 + 64}")
    assert desk.say("*ESR?") == str(32 + 16 + 1)
    desk.say("*CLS")
    assert desk.say("*STB?") == "0"


def test_it_tells_who_it_is_and_which_standard_it_keeps(desk: Desk) -> None:
    assert len(desk.say("*IDN?").split(",")) == 4
    assert desk.say("SYST:VERS?;*OPC?;*TST?") == "1999.0;1;0"


@pytest.mark.parametrize(("word", "on"), [("ON", True), ("1", True), ("2", True), ("0.4", False), ("off", False)])
def test_a_number_switches_as_the_standard_rounds_it(desk: Desk, word: str, on: bool) -> None:
    # SCPI-1999, volume 1, section 7.3 (from memory): rounded to a whole number, and on unless that is 0.
    desk.say(f"OUTP {'OFF' if on else 'ON'}")
    desk.say(f"OUTP {word}")
    assert desk.supply.is_on is on


def test_over_voltage_trips_the_output_and_keeps_it_off_until_cleared(desk: Desk) -> None:
    desk.say("VOLT 40;CURR 2;VOLT:PROT 10;:OUTP ON")
    desk.line.advance(60.0)
    assert not desk.supply.is_on
    assert desk.say("OUTP?;VOLT:PROT:TRIP?;:VOLT:PROT?;:STAT:QUES:COND?") == "0;1;10.000;1"
    desk.say("OUTP ON")
    assert desk.errors() == ['-221,"Settings conflict"']
    desk.say("VOLT:PROT MAX;:VOLT:PROT:CLE;:OUTP ON")
    desk.line.advance(120.0)
    assert desk.say("OUTP?;VOLT:PROT:TRIP?") == "1;0"


def test_the_output_is_switched_and_its_meters_show_it(desk: Desk) -> None:
    desk.say("VOLT 40;CURR 2;OUTP ON")
    desk.line.advance(60.0)
    current_a, voltage_v, on = desk.say("MEAS:CURR?;:MEAS:VOLT?;:OUTP?").split(";")
    assert (float(current_a), on) == (2.0, "1")
    assert float(voltage_v) == pytest.approx(desk.supply.voltage_v, abs=0.001)
    desk.say("OUTP 0")
    assert desk.say("MEAS:CURR?;:OUTP?") == "0.000;0"


def test_set_points_are_rounded_to_the_steps_of_the_device(desk_of: DeskOf) -> None:
    desk = desk_of(ScpiPlan(current_step_a=0.01))
    desk.say("CURR 1.9567")
    assert desk.supply.set_current_a == pytest.approx(1.96)


def test_limits_are_asked_for_by_name(desk: Desk) -> None:
    assert desk.say("VOLT? MAX;CURR? MIN") == "60.000;0.000"


def test_reset_is_off_with_nothing_set(desk: Desk) -> None:
    desk.say("VOLT 40;CURR 2;OUTP ON")
    desk.say("*RST")
    assert (desk.supply.is_on, desk.supply.set_current_a, desk.supply.set_voltage_v) == (False, 0.0, 0.0)


def test_before_remote_settings_are_refused_and_off_is_not(desk_of: DeskOf) -> None:
    desk = desk_of(ScpiPlan(needs_remote=True))
    desk.say("VOLT 12")
    desk.say("OUTP ON")
    assert [desk.say("SYST:ERR?") for _ in range(3)] == ['-203,"Command protected"'] * 2 + [NO_ERROR]
    desk.say("SYST:REM")
    desk.say("VOLT 12;OUTP ON")
    assert (desk.supply.set_voltage_v, desk.supply.is_on) == (12.0, True)
    desk.say("SYST:LOC")
    desk.say("OUTP OFF")
    assert not desk.supply.is_on


def test_condition_bits_are_where_the_plan_puts_them(desk_of: DeskOf) -> None:
    desk = desk_of(ScpiPlan(condition_bits={"voltage held": 9, "current held": 8}))
    assert desk.say("STAT:QUES:COND?") == "0"
    desk.say("CURR 2;OUTP ON")
    assert desk.say("STAT:QUES:COND?") == str(1 << 9)
    desk.say("VOLT 40")
    assert desk.say("STAT:QUES:COND?") == str(1 << 8)


def test_what_stands_beside_shows_at_its_bit(desk: Desk) -> None:
    desk.conditions = ("over temperature",)
    assert desk.say("STAT:QUES:COND?") == str(1 << 4)


@pytest.mark.parametrize(("choke", "late"), [("late", [1.405]), ("silent", [])])
def test_a_supply_asked_too_often_chokes_and_recovers(desk_of: DeskOf, choke: Choke, late: list[float]) -> None:
    desk = desk_of(ScpiPlan(chokes_above_per_s=4.0, choke=choke))
    for _ in range(4):
        desk.send("VOLT?", 0.1)
    desk.send("VOLT?", 10.0)
    desk.send("VOLT?", 1.0)
    assert [told_s for told_s, _ in desk.heard] == pytest.approx([0.005, 0.105, 0.205, 0.305, *late, 10.405])


class Wire:
    """The same supply behind a pty."""

    def __init__(self, folder: Path) -> None:
        self.server = LineServer(made(folder, SCPI), now=time.monotonic, tell=lambda _: None)
        self.supply = self.server.line.supplies["main"]
        self.peer = Peer(self.server.links["supply"].path)

    def fault(self, what: str, **keys: object) -> None:
        assert self.server.order({"fault": {"what": what, **keys}}) == ""

    async def ask(self, message: str, wait_s: float = 0.02) -> bytes:
        self.peer.send(message.encode() + b"\n")
        return await self.peer.rest(wait_s)

    def close(self) -> None:
        self.peer.close()
        self.server.close()


@pytest.fixture
async def wire(tmp_path: Path) -> AsyncIterator[Wire]:
    opened = Wire(tmp_path)
    yield opened
    opened.close()


async def test_a_message_is_complete_at_its_end_of_line(wire: Wire) -> None:
    wire.peer.send(b"VOLT 12;VO")
    assert await wire.peer.rest(0.01) == b""
    assert wire.supply.set_voltage_v == 0.0
    wire.peer.send(b"LT?\r\n")
    assert await wire.peer.rest(0.02) == b"+1.20000E+01\n"


@pytest.mark.parametrize(
    ("what", "keys", "answer"),
    [
        ("answer dropped", {}, b""),
        ("answer duplicated", {}, b"+2.00000E+00;+1.20000E+01\n" * 2),
        ("answer truncated", {"bytes": 4}, b"+2.00000E+00;+1.20000E"),
        ("values swapped", {}, b"+1.20000E+01;+2.00000E+00\n"),
        ("value out of range", {"value": 9.9e37}, b"+9.90000E+37;+1.20000E+01\n"),
        ("wrong register count", {}, b"+2.00000E+00\n"),
        ("wrong CRC", {}, b"+2.00000E+00;+1.20000E+01\n"),
        ("device silent", {}, b""),
        ("request dropped", {}, b""),
    ],
)
async def test_what_faults_make_of_an_answer(wire: Wire, what: str, keys: dict[str, float], answer: bytes) -> None:
    await wire.ask("CURR 2;VOLT 12", 0.01)
    wire.fault(what, device="supply", **keys)
    assert await wire.ask("CURR?;VOLT?") == answer


async def test_a_dropped_request_has_not_acted_and_a_dropped_answer_has(wire: Wire) -> None:
    for what, acted in (("request dropped", 0.0), ("answer dropped", 12.0)):
        wire.fault(what, device="supply", times=1)
        assert await wire.ask("VOLT 12;VOLT?") == b""
        assert wire.supply.set_voltage_v == acted


async def test_a_slow_drip_comes_byte_by_byte(wire: Wire) -> None:
    wire.fault("slow drip", device="supply", gap_ms=5)
    began_s = time.monotonic()
    wire.peer.send(b"OUTP?\n")
    assert await wire.peer.take(2) == b"0\n"
    assert time.monotonic() - began_s >= 0.010 - 1e-3


async def test_a_supply_that_refuses_tells_it_in_its_queue_and_goes_on_reading(wire: Wire) -> None:
    wire.fault("device refuses", device="supply")
    assert await wire.ask("VOLT 12") == b""
    assert await wire.ask("VOLT?;SYST:ERR?") == b'+0.00000E+00;-203,"Command protected"\n'


async def test_stuck_values_are_the_last_answers_again(wire: Wire) -> None:
    assert await wire.ask("VOLT?") == b"+0.00000E+00\n"
    wire.fault("values stuck", device="supply")
    assert await wire.ask("VOLT 12;VOLT?") == b"+0.00000E+00\n"
    assert wire.supply.set_voltage_v == 12.0


async def test_a_supply_in_a_mains_dip_neither_acts_nor_answers(wire: Wire) -> None:
    wire.fault("mains dip")
    assert await wire.ask("VOLT 12;VOLT?") == b""
    assert wire.supply.set_voltage_v == 0.0


def test_chance_of_faults_comes_from_the_seed(tmp_path: Path) -> None:
    plan = made(tmp_path, SCPI)
    draws = [SimulatedLine(plan, seed=seed).supplies["main"].cell.draw for seed in (1, 1, 2)]
    assert draws[0] == draws[1] != draws[2]
    assert random.Random("1 wire").random() == random.Random("1 wire").random()
