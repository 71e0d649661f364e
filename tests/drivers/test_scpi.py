"""An SCPI supply: what is asked and sent, what is taken as done, and that off comes before everything else."""

from __future__ import annotations

import asyncio
import math
from collections.abc import AsyncIterator
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.catalog import build_device, drivers
from drivers.points import Field, Point, SerialSettings
from drivers.ports import BadAnswer, NoAnswer, Refused
from drivers.scpi_text import entry, number, rounded_down, whole_number
from drivers.supply_scpi import SupplyScpi, scpi_times
from drivers.text_link import TextLink
from tests.drivers.text_peer import TextPeer, scpi_map, text_link

NO_ERROR = '0,"No error"'
TIME_OUT = Field("time_out", scale=0.1, unit="s", low=0, high=60, command="SYST:COMM:TIM", query="SYST:COMM:TIM?")
RESTARTED = Field("restarted", bits={7: "yes"})


class Bench:
    """What an invented supply answers: it keeps what it is told, and refuses nothing by itself."""

    def __init__(self) -> None:
        self.kept = {"CURR": "0.000", "VOLT": "0.00", "OUTP": "0", "SYST:COMM:TIM": "0.0"}
        self.errors: list[str] = []

    def reply(self, line: str) -> bytes | None:
        """The answer to one line."""
        head, _, value = line.partition(" ")
        if value:
            self.kept[head] = {"ON": "1", "OFF": "0"}.get(value, value)
        if line == "*CLS":
            self.errors.clear()
        if line == "SYST:ERR?":
            return (self.errors.pop(0) if self.errors else NO_ERROR).encode() + b"\n"
        return self.kept[head[:-1]].encode() + b"\n" if head.endswith("?") else None


@pytest.fixture
def bench() -> Bench:
    return Bench()


@pytest.fixture
async def far(bench: Bench) -> AsyncIterator[TextPeer]:
    with TextPeer(bench.reply) as peer:
        yield peer


@pytest.fixture
async def near(far: TextPeer) -> AsyncIterator[TextLink]:
    link = text_link(far.port)
    yield link
    await link.close()


@pytest.fixture
def supply(near: TextLink) -> SupplyScpi:
    return SupplyScpi(near, scpi_map())


async def settled(far: TextPeer) -> list[str]:
    """All that was heard, the last line too."""
    await asyncio.sleep(0.005)
    return far.heard


# -- reading


async def test_each_point_is_asked_for_alone_by_its_own_query(far: TextPeer, supply: SupplyScpi) -> None:
    asked = {
        "current": "MEAS:CURR?",
        "voltage": "MEAS:VOLT?",
        "output": "OUTP?",
        "mode": "STAT:QUES:COND?",
        "set_current": "CURR?",
        "set_voltage": "VOLT?",
    }
    assert set(supply.groups) == {frozenset({name}) for name in asked}
    for name in asked:
        far.answer("1")
        await supply.read({name})
    assert far.heard == list(asked.values())


async def test_a_reading_is_what_the_device_says_whatever_the_step(far: TextPeer, supply: SupplyScpi) -> None:
    far.answer("+1.950E+00")
    scan = await supply.read(["current"])
    assert scan.values == {"current": 1.95}
    assert scan.raw == {"current": ()}
    assert scan.t_sent_s <= far.arrived_s[0] <= scan.t_received_s


async def test_a_profile_may_name_its_own_query(far: TextPeer, near: TextLink) -> None:
    supply = SupplyScpi(near, scpi_map(current=Field("current", query="MEAS:SCAL:CURR:DC?")))
    far.answer("1")
    await supply.read({"current"})
    assert far.heard == ["MEAS:SCAL:CURR:DC?"]


async def test_more_or_less_than_one_point_is_refused_before_anything_is_sent(
    far: TextPeer, supply: SupplyScpi
) -> None:
    for due in ({"current", "voltage"}, {"unheard of"}, set[str]()):
        with pytest.raises(ValueError, match="not one point that can be asked for"):
            await supply.read(due)
    assert await settled(far) == []


@pytest.mark.parametrize(("answer", "value"), [("9.9E37", math.inf), ("-9.90000E+37", -math.inf)])
async def test_infinity_is_passed_on_as_such(far: TextPeer, supply: SupplyScpi, answer: str, value: float) -> None:
    far.answer(answer)
    assert (await supply.read({"current"})).values == {"current": value}


async def test_not_a_number_is_passed_on_as_such(far: TextPeer, supply: SupplyScpi) -> None:
    far.answer("9.91E37")
    value = (await supply.read({"current"})).values["current"]
    assert value is not None
    assert math.isnan(value)


@pytest.mark.parametrize(
    "answer", ["", "none", "1.95 A", "1,95", "nan", "inf", "1_0", "0x10", "#H1F", "1.9.5", "1e9999"]
)
async def test_what_is_no_number_is_a_bad_answer(far: TextPeer, supply: SupplyScpi, answer: str) -> None:
    far.answer(answer)
    with pytest.raises(BadAnswer):
        await supply.read({"current"})


@pytest.mark.parametrize(("answer", "state"), [("0", 0.0), ("1", 1.0), ("+1", 1.0)])
async def test_the_output_is_on_or_off(far: TextPeer, supply: SupplyScpi, answer: str, state: float) -> None:
    far.answer(answer)
    scan = await supply.read({"output"})
    assert (scan.values, scan.raw) == ({"output": state}, {"output": (int(state),)})


@pytest.mark.parametrize("answer", ["2", "-1", "0.5", "ON", "9.91E37"])
async def test_an_output_that_is_neither_is_a_bad_answer(far: TextPeer, supply: SupplyScpi, answer: str) -> None:
    far.answer(answer)
    with pytest.raises(BadAnswer, match=r"`OUTP\?`"):
        await supply.read({"output"})


@pytest.mark.parametrize(("bits", "mode"), [("1", 1.0), ("2", 0.0), ("0", None), ("18", 0.0), ("16", None)])
async def test_the_mode_stands_in_the_bits_that_the_profile_names(
    far: TextPeer, supply: SupplyScpi, bits: str, mode: float | None
) -> None:
    far.answer(bits)
    scan = await supply.read({"mode"})
    assert (scan.values, scan.raw) == ({"mode": mode}, {"mode": (int(bits),)})


@pytest.mark.parametrize("bits", ["3", "-1", "1.5"])
async def test_bits_that_contradict_each_other_or_are_none_are_a_bad_answer(
    far: TextPeer, supply: SupplyScpi, bits: str
) -> None:
    far.answer(bits)
    with pytest.raises(BadAnswer):
        await supply.read({"mode"})


# -- setting


async def test_a_set_point_is_sent_rounded_down_checked_for_errors_and_read_back(
    far: TextPeer, supply: SupplyScpi
) -> None:
    sent = await supply.set_current(1.9509)
    await supply.set_voltage(21.999)
    assert far.heard == ["CURR 1.950", "SYST:ERR?", "CURR?", "VOLT 21.99", "SYST:ERR?", "VOLT?"]
    assert sent.t_sent_s <= far.arrived_s[0] < far.arrived_s[2] <= sent.t_received_s


async def test_an_entry_in_the_error_queue_is_a_refusal_with_the_words_of_the_device(
    bench: Bench, far: TextPeer, supply: SupplyScpi
) -> None:
    bench.errors = ['-222,"Data out of range;limited"', '-100,"Command error"']
    with pytest.raises(Refused, match=r"refused `CURR 9.500`: Data out of range;limited \(error -222\)") as caught:
        await supply.set_current(9.5)
    assert caught.value.code == -222
    assert far.heard == ["CURR 9.500", "SYST:ERR?", "SYST:ERR?", "SYST:ERR?"], "the queue is emptied"


async def test_an_error_queue_without_end_does_not_hold_the_link_for_ever(
    bench: Bench, far: TextPeer, supply: SupplyScpi
) -> None:
    bench.errors = ['-350,"Queue overflow"'] * 100
    with pytest.raises(Refused):
        await supply.set_current(1.0)
    assert len(far.heard) == 4


@pytest.mark.parametrize("answer", ["No error", "0", '0,"No error', "-222"])
async def test_what_is_no_entry_of_an_error_queue_is_a_bad_answer(
    far: TextPeer, supply: SupplyScpi, answer: str
) -> None:
    far.answer(b"", answer)
    with pytest.raises(BadAnswer, match=r"`SYST:ERR\?`"):
        await supply.set_current(1.0)


@pytest.mark.parametrize("back", ["1.949", "1.951", "0", "9.91E37"])
async def test_another_set_point_read_back_is_a_bad_answer(far: TextPeer, supply: SupplyScpi, back: str) -> None:
    far.answer(b"", NO_ERROR, back)
    with pytest.raises(BadAnswer, match=r"was told `CURR 1.950` and answers"):
        await supply.set_current(1.95)


@pytest.mark.parametrize("back", ["1.9504", "1.9496", "+1.95000E+00"])
async def test_half_a_step_between_set_and_read_back_is_no_difference(
    far: TextPeer, supply: SupplyScpi, back: str
) -> None:
    far.answer(b"", NO_ERROR, back)
    await supply.set_current(1.95)


async def test_no_answer_to_the_check_is_no_answer(far: TextPeer, supply: SupplyScpi) -> None:
    far.answer(b"", b"")
    with pytest.raises(NoAnswer):
        await supply.set_current(1.0)


@pytest.mark.parametrize("current_a", [-0.001, 10.001, math.nan, math.inf, -math.inf])
async def test_a_set_point_outside_the_range_or_not_finite_is_never_sent(
    far: TextPeer, supply: SupplyScpi, current_a: float
) -> None:
    with pytest.raises(ValueError, match="set_current"):
        await supply.set_current(current_a)
    assert await settled(far) == []


async def test_the_time_out_is_armed_only_where_the_device_has_one(far: TextPeer, near: TextLink) -> None:
    assert await SupplyScpi(near, scpi_map()).arm_time_out(2.0) is None
    assert await settled(far) == []
    assert await SupplyScpi(near, scpi_map(time_out=TIME_OUT)).arm_time_out(2.09) is not None
    assert far.heard == ["SYST:COMM:TIM 2.0", "SYST:ERR?", "SYST:COMM:TIM?"]


async def test_a_time_out_that_cannot_be_read_back_is_checked_by_the_error_queue_alone(
    far: TextPeer, near: TextLink
) -> None:
    await SupplyScpi(near, scpi_map(time_out=replace(TIME_OUT, query=""))).arm_time_out(2.0)
    assert far.heard == ["SYST:COMM:TIM 2.0", "SYST:ERR?"]


@pytest.mark.parametrize("time_out_s", [0.09, 0.0])
async def test_a_time_out_that_would_round_to_nought_is_refused(
    far: TextPeer, near: TextLink, time_out_s: float
) -> None:
    with pytest.raises(ValueError, match="would switch it off"):
        await SupplyScpi(near, scpi_map(time_out=TIME_OUT)).arm_time_out(time_out_s)
    assert await settled(far) == []


# -- on and off


async def test_on_is_checked_for_errors_and_read_back(far: TextPeer, supply: SupplyScpi) -> None:
    await supply.switch_on()
    assert far.heard == ["OUTP ON", "SYST:ERR?", "OUTP?"]


async def test_on_fails_if_anything_stands_in_the_error_queue(bench: Bench, supply: SupplyScpi) -> None:
    bench.errors = ['300,"Over temperature"']
    with pytest.raises(Refused, match="Over temperature"):
        await supply.switch_on()


async def test_on_fails_if_the_output_stays_off(far: TextPeer, supply: SupplyScpi) -> None:
    far.answer(b"", NO_ERROR, "0")
    with pytest.raises(BadAnswer, match="was told `OUTP ON` and answers `0`"):
        await supply.switch_on()


async def test_off_is_the_first_line_and_counts_when_the_output_says_off(far: TextPeer, supply: SupplyScpi) -> None:
    sent = await supply.switch_off()
    assert await settled(far) == ["OUTP OFF", "OUTP?", "*CLS"]
    assert sent.t_sent_s <= far.arrived_s[0] < far.arrived_s[1] <= sent.t_received_s


async def test_off_comes_before_the_greeting_that_is_due_and_again_after_it(far: TextPeer, near: TextLink) -> None:
    await SupplyScpi(near, scpi_map(opening=["SYST:REM", "*CLS"])).switch_off()
    assert await settled(far) == ["OUTP OFF", "SYST:REM", "*CLS", "OUTP OFF", "OUTP?", "*CLS"]


async def test_old_errors_do_not_make_a_confirmed_off_fail_nor_refuse_the_next_start(
    bench: Bench, supply: SupplyScpi
) -> None:
    bench.errors = ['-113,"Undefined header"', '-350,"Queue overflow"']
    await supply.switch_off()
    await supply.set_current(1.0)
    await supply.switch_on()


async def test_off_fails_if_the_output_stays_on(far: TextPeer, supply: SupplyScpi) -> None:
    far.answer(b"", "1", NO_ERROR)
    with pytest.raises(BadAnswer, match="the output is still on"):
        await supply.switch_off()


async def test_off_that_is_refused_says_why(far: TextPeer, supply: SupplyScpi) -> None:
    far.answer(b"", "1", '-203,"Command protected"', NO_ERROR)
    with pytest.raises(Refused, match=r"refused `OUTP OFF`: Command protected \(error -203\)"):
        await supply.switch_off()


async def test_off_without_an_answer_is_not_taken_as_done(far: TextPeer, supply: SupplyScpi) -> None:
    far.answer(b"", b"")
    with pytest.raises(NoAnswer):
        await supply.switch_off()
    assert far.heard[0] == "OUTP OFF"


async def test_a_profile_may_name_its_own_switch(far: TextPeer, near: TextLink) -> None:
    own = Field("output", command="OUTP:STAT", query="OUTP:STAT?")
    far.answer(b"", "0")
    await SupplyScpi(near, scpi_map(output=own)).switch_off()
    assert far.heard[:2] == ["OUTP:STAT OFF", "OUTP:STAT?"]


async def test_a_cancel_does_not_cut_a_command_from_its_checks(far: TextPeer, supply: SupplyScpi) -> None:
    task = asyncio.create_task(supply.set_current(1.0))
    await far.asked.wait()
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
    assert far.heard == ["CURR 1.000", "SYST:ERR?", "CURR?"]


async def test_the_greeting_is_sent_once_after_each_opening(far: TextPeer, near: TextLink) -> None:
    supply = SupplyScpi(near, scpi_map(opening=["SYST:REM"]))
    for _ in range(2):
        await supply.read({"output"})
    await near.close()
    await supply.read({"output"})
    assert far.heard == ["SYST:REM", "OUTP?", "OUTP?", "SYST:REM", "OUTP?"]


async def test_one_that_may_have_been_without_power_is_greeted_anew(far: TextPeer, near: TextLink) -> None:
    supply = SupplyScpi(near, scpi_map(opening=["SYST:REM"], restarted=RESTARTED))
    await supply.read({"output"})
    far.answer(b"")
    with pytest.raises(NoAnswer):
        await supply.read({"output"})
    far.heard.clear()
    await supply.switch_off()
    assert await settled(far) == ["OUTP OFF", "SYST:REM", "OUTP OFF", "OUTP?", "*CLS"]
    far.answer("128")
    await supply.read({"restarted"})
    await supply.read({"output"})
    assert far.heard[5:] == ["*ESR?", "SYST:REM", "OUTP?"]


async def test_one_that_refuses_what_it_takes_only_after_its_greeting_is_greeted_anew(
    bench: Bench, far: TextPeer, near: TextLink
) -> None:
    supply = SupplyScpi(near, scpi_map(opening=["SYST:REM"]))
    await supply.switch_off()
    assert (await settled(far))[-1] == "*CLS"  # which nobody answers: late, it would clear the error to come
    bench.errors = ['-203,"Command protected"']
    with pytest.raises(Refused):
        await supply.set_current(1.0)
    far.heard.clear()
    await supply.set_current(1.0)
    assert far.heard[:2] == ["SYST:REM", "CURR 1.000"]


# -- what it counts and what became of its power


@pytest.mark.parametrize(("answer", "told", "raw"), [("128", 1.0, 128), ("+164", 1.0, 164), ("36", 0.0, 36)])
async def test_the_power_on_bit_of_the_event_register_tells_a_new_beginning(
    answer: str, told: float, raw: int, far: TextPeer, near: TextLink
) -> None:
    """Bit 7 of the standard event status register, IEEE 488.2, 11.5.1.2 (from memory)."""
    far.answer(answer)
    scan = await SupplyScpi(near, scpi_map(restarted=RESTARTED)).read({"restarted"})
    assert (scan.values, scan.raw) == ({"restarted": told}, {"restarted": (raw,)})
    assert far.heard == ["*ESR?"]


async def test_a_register_that_keeps_the_news_may_be_named_and_read_by_its_states(
    far: TextPeer, near: TextLink
) -> None:
    supply = SupplyScpi(near, scpi_map(restarted=Field("restarted", query="SYST:PON?", states={0: "no", 1: "yes"})))
    far.answer("1", "0", "2")
    assert [(await supply.read({"restarted"})).values["restarted"] for _ in range(2)] == [1.0, 0.0]
    with pytest.raises(BadAnswer, match="is no state of it"):
        await supply.read({"restarted"})
    assert set(far.heard) == {"SYST:PON?"}


async def test_a_condition_that_is_no_whole_number_is_no_news_of_power(far: TextPeer, near: TextLink) -> None:
    far.answer("-1")
    with pytest.raises(BadAnswer):
        await SupplyScpi(near, scpi_map(restarted=RESTARTED)).read({"restarted"})


async def test_what_it_counts_comes_in_the_unit_of_its_point(far: TextPeer, near: TextLink) -> None:
    charge = Field("charge", query="FETC:AHO?", scale=3600.0, unit="C")
    uptime = Field("uptime", query="SYST:ONT?", scale=60.0, unit="s")
    supply = SupplyScpi(near, scpi_map(charge=charge, uptime=uptime))
    far.answer("0.0125", "3")
    assert (await supply.read({"charge"})).values == {"charge": 45.0}
    assert (await supply.read({"uptime"})).values == {"uptime": 180.0}


@pytest.mark.parametrize(
    "point",
    [
        Field("charge", scale=3600.0, unit="C"),
        Field("uptime", query="SYST:ONT?", scale=0.0, unit="s"),
        Field("restarted", query="*ESR?"),
    ],
)
async def test_a_map_that_does_not_say_how_such_a_point_is_told_is_refused(point: Field, near: TextLink) -> None:
    with pytest.raises(ValueError, match=f"`{point.name}` needs"):
        SupplyScpi(near, replace(scpi_map(), points={**scpi_map().points, point.name: point}))


# -- text


@given(st.integers(-(10**9), 10**9), st.integers(0, 9))
def test_numbers_are_read_in_all_three_forms(mantissa: int, places: int) -> None:
    """NR1, NR2 and NR3 of IEEE 488.2, 8.7.2 to 8.7.4 (from memory)."""
    assert number(f"{mantissa:+d}") == mantissa
    assert number(f"{mantissa}E-{places}") == float(f"{mantissa}E-{places}")
    assert number(f"{mantissa / 1000:.3f}") == mantissa / 1000


@given(st.text())
def test_any_other_text_is_refused_or_a_number_and_nothing_else(text: str) -> None:
    for read in (number, whole_number, entry):
        try:
            read(text)
        except ValueError:
            continue


@pytest.mark.parametrize("text", ["-1", "0.5", "9.9E37"])
def test_a_state_is_a_whole_number_from_nought_up(text: str) -> None:
    with pytest.raises(ValueError, match="no whole number from 0 up"):
        whole_number(text)


def test_an_entry_may_hold_quotes_and_a_plus() -> None:
    assert (entry('+0,"No error"').code, entry('-131,"Invalid suffix ""mA"""').text) == (0, 'Invalid suffix "mA"')


@given(st.integers(0, 100_000), st.sampled_from([0.001, 0.01, 0.1, 1.0, 0.005, 0.0002]))
def test_every_whole_step_is_met_exactly(steps: int, step: float) -> None:
    assert float(rounded_down(steps * step, step)) == pytest.approx(steps * step, rel=1e-12)


@given(st.floats(0, 1000), st.sampled_from([0.001, 0.01, 0.1, 1.0, 0.005, 1e-5]))
def test_a_value_is_never_rounded_up_and_is_plain_decimal_text(value: float, step: float) -> None:
    text = rounded_down(value, step)
    assert set(text) <= set("0123456789.")
    assert value - step * (1 + 1e-6) < float(text) <= value + step * 1e-8


# -- the map


UNUSABLE: dict[str, dict[str, Field | None]] = {
    "needs a point `output`": {"output": None},
    "needs a point `current`": {"current": None},
    "has no point `switch`": {"switch": Field("switch")},
    "`set_current` needs a command and a scale above nought": {"set_current": Field("set_current", scale=-0.001)},
    "`time_out` needs a command": {"time_out": Field("time_out", scale=0.1)},
    "`mode` needs bits": {"mode": Field("mode", bits={0: "held"})},
}


@pytest.mark.parametrize("why", UNUSABLE)
def test_a_map_by_which_a_supply_could_not_be_driven_is_refused_at_once(why: str) -> None:
    points: dict[str, Point | None] = {**scpi_map().points, **UNUSABLE[why]}
    usable = replace(scpi_map(), points={name: point for name, point in points.items() if point is not None})
    with pytest.raises(ValueError, match=why):
        build_device(text_link("unused"), usable)


def test_the_catalog_knows_the_supply() -> None:
    assert build_device(text_link("unused"), scpi_map()).name == "rectifier"
    assert drivers()["scpi supply"].role == "supply"


def test_an_off_takes_its_command_its_proof_and_a_clearing_each_with_the_silence_after_it() -> None:
    """At 9600 baud and 10 bits a character; `STAT:QUES:COND?` is the longest query, `OUTP` the longest command."""
    settings = SerialSettings("wire", "serial text", 1.0, 0.02, port="unused", baud=9600)
    device = replace(scpi_map(), worst_answer_s=0.02, quiet_s=0.05)
    times = scpi_times(settings, device)
    characters = (4 + 1 + 18) + (15 + 1 + 18) + 5
    assert times.command_s == pytest.approx(characters * 10 / 9600 + 0.02 + 3 * 0.05)
    refused = (4 + 1 + 18) + 3 * (10 + 266)
    assert times.longest_s == pytest.approx(refused * 10 / 9600 + 3 * 0.02 + 4 * 0.05)


def test_no_exchange_is_counted_for_longer_than_the_response_time_out() -> None:
    settings = SerialSettings("wire", "serial text", 0.1, 0.02, port="unused", baud=1200)
    assert scpi_times(settings, scpi_map()).command_s <= 3 * 0.1
