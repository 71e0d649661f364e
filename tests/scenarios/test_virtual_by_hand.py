"""A supply with knobs, from start to end: the person turns them, the supervisor counts and ends what it can."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest

from supervisor.core.anodize import State
from tests.harness.virtual import VirtualLine, virtual_line, virtually

RAMP_S = 20.0
AIR_S = 35.0
"""The fan starts with the supervisor's first safe state, and air must be proven for 30 s, process time, s."""

NO_CONTACTOR: dict[str, object] = {
    "supplies.main.control": "none",
    "supplies.main.contactor": None,
    "outputs.main-contactor": None,
    "contacts.main-contactor-shut": None,
}


@asynccontextmanager
async def knobs() -> AsyncIterator[VirtualLine]:
    """A supply with knobs and a contactor; no supervisor yet."""
    async with virtual_line(base="knob-supply") as line:
        yield line


@asynccontextmanager
async def hands_alone() -> AsyncIterator[VirtualLine]:
    """A supply with knobs that nothing but a hand switches: the simulated contactor stands for a plain wire."""
    async with virtual_line(base="knob-supply", line=NO_CONTACTOR) as line:
        line.simulated.switches["main-contactor"].command(True, "hand")
        yield line


def turn(line: VirtualLine, *, on: bool = True, current_a: float = 0.0, ramp_s: float = 0.0) -> None:
    """Let a hand turn the knobs."""
    order = {"on": on, "current_a": current_a, "voltage_v": 20.0 if on else 0.0, "ramp_s": ramp_s}
    assert line.server.order({"knob": order}) == ""


def closed(line: VirtualLine) -> bool:
    return line.simulated.switches["main-contactor"].is_on


def current_a(line: VirtualLine) -> float:
    return line.simulated_supply.current_a


async def begin(line: VirtualLine) -> None:
    """Let the air be proven, start a small load and wait until the supervisor waits for hands."""
    await line.pass_time(AIR_S)
    answer = await line.ask("start", area="20 in^2", target="1 um", ramp=f"{RAMP_S:g} s", confirmed=True)
    assert answer["ok"], answer
    await line.until(lambda: line.service.status()["supplies"]["main"]["waits_for_hands"], 10.0)


async def turn_up(line: VirtualLine) -> None:
    """Turn up as told and say so."""
    turn(line, current_a=line.operation.plan.current_a, ramp_s=RAMP_S)
    await line.pass_time(RAMP_S + 1.0)
    assert (await line.ask("confirm"))["ok"]
    assert not line.service.status()["supplies"]["main"]["waits_for_hands"]


def counted_rightly(line: VirtualLine) -> bool:
    charge = line.operation.dose.charge
    return charge.low <= line.true_charge_c <= charge.high


@virtually
async def test_a_load_made_with_knobs_ends_at_its_target_with_the_contactor_open() -> None:
    async with knobs() as line:
        await line.start()
        turn(line)  # its own switch is on, its knobs stand at nought
        await begin(line)
        assert closed(line)
        await turn_up(line)
        await line.until_state(State.COMPLETE, within_s=300.0)
        assert not closed(line)
        assert current_a(line) == 0.0
        assert counted_rightly(line)
        assert line.operation.dose.charge.best == pytest.approx(line.operation.plan.target_c, rel=0.01)
        assert line.alarms == set()
        assert [fate.proven for fate in await line.stop()] == [True, True, True]


@virtually
async def test_nothing_closes_before_a_person_says_that_the_knobs_stand_at_nought() -> None:
    async with knobs() as line:
        await line.start()
        await line.pass_time(AIR_S)
        answer = await line.ask("start", area="20 in^2", target="1 um")
        assert answer["reasons"][0].startswith("knobs down: ")
        await line.pass_time(5.0)
        assert not closed(line)


@virtually
async def test_a_load_that_is_held_goes_on_after_a_restart_that_says_the_knobs_are_down() -> None:
    async with knobs() as line:
        await line.start()
        await begin(line)
        await turn_up(line)
        assert (await line.ask("hold"))["ok"]
        await line.until_state(State.HELD, within_s=10.0)
        assert not closed(line)
        turn(line)
        assert (await line.ask("restart"))["reasons"][0].startswith("knobs down: ")
        assert (await line.ask("restart", confirmed=True))["ok"]
        await line.until(lambda: line.service.status()["supplies"]["main"]["waits_for_hands"], 10.0)
        await turn_up(line)
        await line.until_state(State.COMPLETE, within_s=300.0)
        assert counted_rightly(line)


@virtually
async def test_without_a_contactor_the_person_switches_on_and_is_told_to_switch_off() -> None:
    async with hands_alone() as line:
        await line.start()
        await begin(line)
        await turn_up(line)
        await line.until(lambda: "main/switch-off-by-hand" in line.alarms, 300.0)
        assert current_a(line) > 1.0
        assert line.stands is State.STOPPING
        await line.pass_time(5.0)
        turn(line, on=False)
        await line.until_state(State.COMPLETE, within_s=10.0)
        assert counted_rightly(line)
        assert line.service.status()["supplies"]["main"]["off_proven"]


@virtually
@pytest.mark.parametrize("watch_only", [False, True])
async def test_a_run_made_by_hand_ends_when_the_supervisor_opens_its_contactor_at_the_start(watch_only: bool) -> None:
    async with knobs() as line:
        line.simulated.switches["main-contactor"].command(True, "hand")
        turn(line, current_a=1.5)
        await line.pass_time(5.0)
        assert current_a(line) > 1.0
        await line.start(watch_only=watch_only)
        assert not closed(line)
        assert current_a(line) == 0.0
        assert line.truly_on()  # its own switch is nothing the supervisor can reach


@virtually
async def test_a_run_made_by_hand_without_a_contactor_goes_on_and_is_never_told_as_off() -> None:
    async with hands_alone() as line:
        turn(line, current_a=1.5)
        await line.pass_time(5.0)
        await line.start(proven=False)
        await line.pass_time(30.0)
        assert current_a(line) > 1.0
        assert not line.service.status()["supplies"]["main"]["off_proven"]
        assert "off proven" in " ".join((await line.ask("start", area="20 in^2", target="1 um"))["reasons"])


@virtually
async def test_a_supervisor_that_ends_opens_the_contactor_of_the_load_under_way_and_holds_it() -> None:
    async with knobs() as line:
        await line.start()
        await begin(line)
        await turn_up(line)
        await line.stop()
        assert not closed(line)
        assert current_a(line) == 0.0
        await line.start()
        assert line.stands is State.HELD
        assert counted_rightly(line)
