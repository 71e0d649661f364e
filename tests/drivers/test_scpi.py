"""An SCPI supply read and switched: what is taken as done, and that off comes before everything else."""

from __future__ import annotations

import asyncio
import math
from collections.abc import AsyncIterator
from dataclasses import replace

import pytest

from drivers.points import Field
from drivers.ports import BadAnswer, NoAnswer, Refused
from drivers.supply_scpi import SupplyScpi
from drivers.text_link import TextLink
from tests.drivers.scpi_bench import NO_ERROR, RESTARTED, Bench, settled
from tests.drivers.text_peer import TextPeer, scpi_map


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
