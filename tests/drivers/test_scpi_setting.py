"""What an SCPI supply is set to: rounded, read back and told of its errors; its texts, and what its map may mean."""

from __future__ import annotations

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
from tests.drivers.scpi_bench import NO_ERROR, TIME_OUT, Bench, settled
from tests.drivers.text_peer import TextPeer, scpi_map, text_link


@pytest.fixture
def bench() -> Bench:
    return Bench()


@pytest.fixture
async def far(bench: Bench) -> AsyncIterator[TextPeer]:
    with TextPeer(bench.reply) as peer:
        yield peer


@pytest.fixture
def supply(near: TextLink) -> SupplyScpi:
    return SupplyScpi(near, scpi_map())


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
