"""The virtual harness itself: time jumps only when nothing real is on its way, and the same run comes out twice."""

from __future__ import annotations

import asyncio
import time

import pytest

from supervisor.core.anodize import State
from tests.harness.virtual import virtual_line, virtually
from tests.harness.virtual_loop import StuckError, run_virtual, virtual_loop


@virtually
async def test_a_long_sleep_takes_no_time() -> None:
    began_s, virtual_s = time.monotonic(), virtual_loop().time()
    await asyncio.sleep(86_400.0)
    assert virtual_loop().time() - virtual_s == pytest.approx(86_400.0)
    assert time.monotonic() - began_s < 1.0


@virtually
async def test_time_stands_still_while_a_thread_works() -> None:
    loop = virtual_loop()
    began_s = loop.time()
    sleeper = asyncio.create_task(asyncio.sleep(0.001))
    await loop.run_in_executor(None, time.sleep, 0.02)
    assert loop.time() == began_s
    await sleeper
    assert loop.time() == pytest.approx(began_s + 0.001)


def test_a_loop_in_which_nothing_can_happen_says_so() -> None:
    with pytest.raises(StuckError, match="Nothing is left"):
        run_virtual(asyncio.Event().wait())


async def one_load() -> tuple[float, float, list[str]]:
    async with virtual_line() as line:
        await line.start()
        await line.begin("2 um")
        await line.until_state(State.COMPLETE)
        return line.true_charge_c, line.clock.now(), [note.text for note in line.notes]


def test_the_same_scenario_comes_out_the_same_twice() -> None:
    assert run_virtual(one_load()) == run_virtual(one_load())


@virtually
async def test_a_port_that_was_unplugged_is_found_again_by_its_name_and_its_bytes_are_waited_for() -> None:
    async with virtual_line({"what": "port gone", "at_s": 300.0, "for_wire_s": 5.0}) as line:
        await line.start()
        await line.until(lambda: "main/supply-absent" in line.alarms, 900.0)
        assert not (line.files.links / "bus").is_symlink()
        await line.until(lambda: line.state.alarms["main/supply-absent"].state.startswith("returned"), 900.0)
        await line.pass_time(300.0)
        # With bytes lost count of, time would jump over answers and each would come too late.
        told = len(line.notes)
        await line.pass_time(1800.0)
        assert line.notes[told:] == []
