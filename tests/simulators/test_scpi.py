"""An SCPI bench supply: answers by SCPI-1999 and IEEE 488.2, its moods, and faults on its wire."""

from __future__ import annotations

import random
import time
from collections.abc import AsyncIterator
from dataclasses import replace
from pathlib import Path

import pytest

from simulators.line import SimulatedLine
from simulators.scpi_supply import MOST_ERRORS, ScpiSupply, spellings
from simulators.server import LineServer
from simulators.text_plan import ScpiPlan
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
    """A supply at arm's length: messages go in, answers come out."""

    def __init__(self, folder: Path, plan: ScpiPlan) -> None:
        self.line = SimulatedLine(made(folder, ""), seed=1)
        self.supply = self.line.supplies["main"]
        self.device = ScpiSupply(plan, self.supply)
        self.now_s = 0.0

    def say(self, message: str) -> str:
        """The answer without its end; empty where none comes. A second passes, so that nothing chokes."""
        self.now_s += 1.0
        pieces = self.device.hear(message.encode(), self.now_s)
        return pieces[0].data.decode().rstrip("\n") if pieces else ""


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    return Desk(tmp_path, ScpiPlan(number_form="NR2"))


def test_headers_are_short_or_long_and_optional_nodes_may_be_left_out() -> None:
    # SCPI-1999, volume 1, section 6.2 (from memory).
    assert set(spellings("[SOURce]:VOLTage?")) == {
        "SOUR:VOLT?", "SOURCE:VOLT?", "SOUR:VOLTAGE?", "SOURCE:VOLTAGE?", "VOLT?", "VOLTAGE?",
    }  # fmt: skip


@pytest.mark.parametrize("message", ["VOLT 12.5", ":source:voltage:level 12.5", "SOUR:VOLT 1.25E+1", "volt 12500 mV"])
def test_a_set_point_in_every_spelling_acts_and_reads_back(desk: Desk, message: str) -> None:
    assert desk.say(message) == ""
    assert desk.say("VOLT?") == "12.500"
    assert desk.supply.set_voltage_v == 12.5


@pytest.mark.parametrize(("form", "shown"), [("NR2", "1.950"), ("NR3", "+1.95000E+00")])
def test_numbers_come_in_the_form_of_the_device(tmp_path: Path, form: str, shown: str) -> None:
    # IEEE 488.2, section 8.7 (from memory): NR2 has a point, NR3 an exponent as well.
    desk = Desk(tmp_path, replace(ScpiPlan(), number_form=form))  # type: ignore[arg-type]
    desk.say("CURR 1.95")
    assert desk.say("CURR?") == shown


@pytest.mark.parametrize(
    ("message", "error"),
    [
        ("VOLTS 5", '-113,"Undefined header"'),
        ("VOLT", '-109,"Missing parameter"'),
        ("VOLT five", '-104,"Data type error"'),
        ("VOLT 5 W", '-104,"Data type error"'),
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
    for _ in range(MOST_ERRORS + 5):
        desk.say("NONSENSE")
    read = [desk.say("SYST:ERR?") for _ in range(MOST_ERRORS + 1)]
    assert read[0] == '-109,"Missing parameter"'
    assert read[-2:] == ['-350,"Queue overflow"', NO_ERROR]


def test_clear_empties_the_queue(desk: Desk) -> None:
    desk.say("NONSENSE")
    desk.say("*CLS")
    assert desk.say("SYST:ERR?") == NO_ERROR


def test_queries_of_one_message_are_answered_in_one_line(desk: Desk) -> None:
    assert desk.say("VOLT 20;CURR 2;VOLT?;NONSENSE;CURR?;OUTP?") == "20.000;2.000;0"


def test_the_output_is_switched_and_its_meters_show_it(desk: Desk) -> None:
    desk.say("VOLT 40;CURR 2;OUTP ON")
    desk.line.advance(60.0)
    current_a, voltage_v, on = desk.say("MEAS:CURR?;:MEAS:VOLT?;OUTP?").split(";")
    assert (float(current_a), on) == (2.0, "1")
    assert float(voltage_v) == pytest.approx(desk.supply.voltage_v, abs=0.001)
    desk.say("OUTP 0")
    assert desk.say("MEAS:CURR?;OUTP?") == "0.000;0"


def test_set_points_are_rounded_to_the_steps_of_the_device(tmp_path: Path) -> None:
    desk = Desk(tmp_path, ScpiPlan(current_step_a=0.01))
    desk.say("CURR 1.9567")
    assert desk.supply.set_current_a == pytest.approx(1.96)


def test_limits_are_asked_for_by_name(desk: Desk) -> None:
    assert desk.say("VOLT? MAX;CURR? MIN") == "60.000;0.000"


def test_reset_is_off_with_nothing_set(desk: Desk) -> None:
    desk.say("VOLT 40;CURR 2;OUTP ON")
    desk.say("*RST")
    assert (desk.supply.is_on, desk.supply.set_current_a, desk.supply.set_voltage_v) == (False, 0.0, 0.0)


def test_before_remote_settings_are_refused_and_off_is_not(tmp_path: Path) -> None:
    desk = Desk(tmp_path, ScpiPlan(needs_remote=True))
    desk.say("VOLT 12")
    desk.say("OUTP ON")
    assert [desk.say("SYST:ERR?") for _ in range(3)] == ['-203,"Command protected"'] * 2 + [NO_ERROR]
    desk.say("SYST:REM")
    desk.say("VOLT 12;OUTP ON")
    assert (desk.supply.set_voltage_v, desk.supply.is_on) == (12.0, True)
    desk.say("SYST:LOC")
    desk.say("OUTP OFF")
    assert not desk.supply.is_on


def test_condition_bits_are_where_the_plan_puts_them(tmp_path: Path) -> None:
    desk = Desk(tmp_path, ScpiPlan(condition_bits={"voltage held": 9, "current held": 8}))
    assert desk.say("STAT:QUES:COND?") == "0"
    desk.say("CURR 2;OUTP ON")
    assert desk.say("STAT:QUES:COND?") == str(1 << 9)
    desk.say("VOLT 40")
    assert desk.say("STAT:QUES:COND?") == str(1 << 8)


@pytest.mark.parametrize(("choke", "answers"), [("late", [(0.005, 4), (1.0, 1)]), ("silent", [(0.005, 4)])])
def test_a_supply_asked_too_often_chokes_and_recovers(
    tmp_path: Path, choke: str, answers: list[tuple[float, int]]
) -> None:
    plan = replace(ScpiPlan(chokes_above_per_s=4.0), choke=choke)  # type: ignore[arg-type]
    device = Desk(tmp_path, plan).device
    pieces = [piece for tenth in range(5) for piece in device.hear(b"VOLT?", 10.0 + tenth / 10)]
    assert [piece.delay_s for piece in pieces] == [delay_s for delay_s, count in answers for _ in range(count)]
    assert [piece.delay_s for piece in device.hear(b"VOLT?", 20.0)] == [0.005]


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
        ("value out of range", {"value": 9.9e37}, b"9.9E+37;+1.20000E+01\n"),
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
