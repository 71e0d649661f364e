"""What becomes of a load when the supervisor ends in its middle: off and proven, then held, the gap told honestly."""

from __future__ import annotations

from collections.abc import Awaitable, Callable

import pytest

from supervisor.core.anodize import State
from tests.harness.virtual import VirtualLine, virtual_line, virtually


def width_c(line: VirtualLine) -> float:
    charge = line.operation.dose.charge
    return charge.high - charge.low


@virtually
async def test_a_supervisor_told_to_end_leaves_the_output_proven_off() -> None:
    async with virtual_line() as line:
        await line.start()
        await line.begin("20 um")
        await line.pass_time(300.0)
        assert line.truly_on()
        fates = await line.stop()
        assert [fate.proven for fate in fates] == [True]
        assert not line.truly_on()


ENDS: dict[str, Callable[[VirtualLine], Awaitable[object]]] = {
    "told to end": VirtualLine.stop,
    "cancelled": VirtualLine.crash,
}


@pytest.mark.parametrize("ends", ENDS)
@virtually
async def test_after_an_end_in_mid_operation_the_load_is_held_and_the_truth_lies_within_its_charge(ends: str) -> None:
    async with virtual_line() as line:
        await line.start()
        operation = await line.begin("20 um")
        await line.pass_time(300.0)
        before_c = width_c(line)
        await ENDS[ends](line)
        assert not line.truly_on()
        await line.pass_time(600.0)
        await line.start()
        assert line.stands is State.HELD
        assert line.operation.id == operation
        assert "main/interrupted" in line.alarms
        assert width_c(line) > before_c
        charge = line.operation.dose.charge
        assert charge.low <= line.true_charge_c <= charge.high
        assert not line.truly_on()


@virtually
async def test_a_load_held_by_a_restart_goes_on_after_the_alarm_is_reset() -> None:
    async with virtual_line() as line:
        await line.start()
        await line.begin("4 um")
        await line.pass_time(200.0)
        await line.stop()
        await line.start()
        refused = await line.ask("restart")
        assert not refused["ok"]
        assert (await line.ask("alarm reset", alarm="main/interrupted"))["ok"]
        await line.pass_time(60.0)
        assert (await line.ask("restart"))["ok"]
        await line.until_state(State.COMPLETE)
        charge = line.operation.dose.charge
        assert charge.low <= line.true_charge_c <= charge.high


@virtually
async def test_an_output_left_on_is_switched_off_by_the_first_command_of_a_start() -> None:
    async with virtual_line() as line:
        line.switch_on_by_hand()
        await line.pass_time(60.0)
        assert line.truly_on()
        await line.start()
        assert not line.truly_on()
        assert line.supply.output.proven_off
