"""An output exercised over the socket: away from its safe state for a moment, and back whatever its client does."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import aclosing, asynccontextmanager
from typing import Any

import pytest

from supervisor.config.load import records_folder
from supervisor.config.wiring import wiring
from supervisor.core.exercise import LONGEST_S
from supervisor.edges.client import RefusedError, _connected, ask, stream
from supervisor.edges.client import _send as send
from supervisor.edges.control import Answer, socket_path
from supervisor.edges.requests import new_body
from supervisor.records.exercised import exercised_path, never_exercised, read_exercised
from tests.harness.virtual import VirtualLine, virtual_line, virtually

AWAY_S = 2.0
"""On the wire an exercised output is away from its safe state for no longer, wire s."""


@asynccontextmanager
async def watched(base: str = "knob-supply", *faults: dict[str, Any]) -> AsyncIterator[VirtualLine]:
    """A line that is only watched, every output at rest."""
    async with virtual_line(*faults, base=base) as line:
        await line.start(watch_only=True)
        yield line


def body(line: VirtualLine, output: str, **more: str | bool) -> dict[str, Any]:
    return new_body(line.clock.now(), output=output, **more)


def trial(line: VirtualLine, output: str, **more: str | bool) -> Any:
    return aclosing(stream(socket_path(line.service.setup.name), body(line, output, **more), "exercise"))


async def tried(line: VirtualLine, output: str, **more: str | bool) -> list[Answer]:
    """Exercise an output for as long as may be; return all states that were told."""
    async with trial(line, output, **more) as states:
        return [state async for state in states]


def changes(line: VirtualLine, switch: str) -> list[tuple[bool, float]]:
    """When a simulated switch truly changed, and to what."""
    return [
        (bool(truth["on"]), float(str(truth["wire_s"])))
        for truth in line.truths
        if truth["truth"] == "switch" and truth["switch"] == switch and truth["changed"]
    ]


async def seen(line: VirtualLine, output: str, what: str) -> Answer:
    return await ask(socket_path(line.service.setup.name), "exercised", {"output": output, "seen": what})


@virtually
async def test_an_output_goes_away_from_its_safe_state_and_back_within_two_seconds() -> None:
    async with watched() as line:
        before = len(changes(line, "fan"))
        states = await tried(line, "fan")
        (off, off_s), (on, on_s) = changes(line, "fan")[before:]
        assert (off, on) == (False, True)  # the fan's safe state is on
        assert LONGEST_S * 0.9 < on_s - off_s < AWAY_S
        assert states[0]["exercise"] == "fan"
        assert any(
            state["outputs"]["fan"] == {**state["outputs"]["fan"], "on": False, "confirmed": True} for state in states
        )
        assert states[-1]["exercise"] is None
        assert states[-1]["outputs"]["fan"]["confirmed"]


@virtually
async def test_a_client_that_leaves_brings_the_output_back_at_once() -> None:
    async with watched() as line:
        async with trial(line, "fan") as states:
            async for _ in states:
                if not line.simulated.switches["fan"].is_on:
                    break
        left_s = line.clock.now()
        await line.until(lambda: line.simulated.switches["fan"].is_on, 1.0)
        assert changes(line, "fan")[-1][1] - left_s < 0.3


@virtually
async def test_a_client_that_is_gone_before_its_first_answer_leaves_nothing_switched() -> None:
    async with watched() as line:
        async with _connected(socket_path(line.service.setup.name)) as (_, writer):
            await send(writer, "exercise", body(line, "fan"))
        asked_s = line.clock.now()
        await line.pass_time(0.5)
        assert line.state.exercise is None
        assert line.simulated.switches["fan"].is_on
        assert changes(line, "fan")[-1][1] - asked_s < 0.3


@virtually
async def test_a_client_that_stands_still_is_not_waited_for() -> None:
    async with watched() as line, _connected(socket_path(line.service.setup.name)) as (_, writer):
        await send(writer, "exercise", body(line, "fan"))
        await line.until(lambda: not line.simulated.switches["fan"].is_on, 1.0)
        await line.until(lambda: line.simulated.switches["fan"].is_on, AWAY_S)


@virtually
async def test_one_that_leaves_late_does_not_end_another_trial_of_the_same_output() -> None:
    async with watched() as line, trial(line, "fan") as first:
        await anext(first)
        await line.until(lambda: line.state.exercise is None, AWAY_S)
        async with trial(line, "fan") as second:
            await anext(second)
            await first.aclose()
            await line.pass_time(0.3)
            assert line.state.exercise is not None


@virtually
async def test_every_reason_against_a_trial_is_told_and_nothing_moves() -> None:
    async with watched() as line:
        before = len(line.truths)
        with pytest.raises(RefusedError, match="own switch off"):
            await tried(line, "main-contactor")
        with pytest.raises(RefusedError, match="is no output; this line has main-contactor, fan"):
            await tried(line, "horn")
        assert not [truth for truth in line.truths[before:] if truth["truth"] == "switch" and truth["changed"]]


@virtually
async def test_a_contactor_is_tried_only_with_its_supply_proven_off() -> None:
    async with watched() as line:
        await tried(line, "main-contactor", confirmed=True)
        assert [on for on, _ in changes(line, "main-contactor")] == [True, False]
        assert line.truly_on() is False
    async with watched("scpi-and-board") as line:
        line.switch_on_by_hand()
        line.simulated.switches["main-contactor"].command(True, "hand")
        await line.until(lambda: not line.service.status()["supplies"]["main"]["off_proven"], 30.0)
        with pytest.raises(RefusedError, match="off is not proven"):
            await tried(line, "main-contactor")


@virtually
async def test_outputs_are_exercised_only_while_only_watching() -> None:
    async with virtual_line(base="knob-supply") as line:
        await line.start()
        with pytest.raises(RefusedError, match="--watch-only"):
            await tried(line, "fan")
        assert line.simulated.switches["fan"].is_on


@virtually
async def test_what_was_seen_is_kept_with_who_when_and_how_it_was_wired() -> None:
    async with watched() as line:
        await tried(line, "fan")
        assert (await seen(line, "fan", "as named"))["ok"]
        file = line.files.load()
        kept = read_exercised(exercised_path(records_folder(file), file.name))
        assert set(kept) == {"fan"}
        assert kept["fan"].seen == "as named"
        assert kept["fan"].wired == wiring(file)["fan"]
        assert kept["fan"].wall_s == pytest.approx(line.clock.wall(), abs=1.0)
        assert kept["fan"].who
        assert never_exercised(kept, wiring(file)) == {"main-contactor": "never exercised"}


@virtually
async def test_nothing_is_kept_of_what_was_not_exercised_or_cannot_be_understood() -> None:
    async with watched() as line:
        path = socket_path(line.service.setup.name)
        untried = await seen(line, "fan", "as named")
        assert "was not in this run" in untried["reasons"][0]
        wrong = await ask(path, "exercised", {"output": "horn", "seen": "moved", "extra": 1})
        assert [reason.partition(":")[0] for reason in wrong["reasons"]] == ["extra", "seen", "output"]
        file = line.files.load()
        assert not exercised_path(records_folder(file), file.name).exists()


@virtually
async def test_what_cannot_be_written_is_told() -> None:
    async with watched() as line:
        await tried(line, "fan")
        file = line.files.load()
        exercised_path(records_folder(file), file.name).with_suffix(".new").mkdir()
        answer = await seen(line, "fan", "as named")
        assert not answer["ok"]
        assert "cannot be written" in answer["reasons"][0]


@virtually
async def test_a_run_that_only_watched_leaves_what_was_exercised_safe_and_all_else_alone() -> None:
    async with watched("scpi-and-board") as line:
        await tried(line, "horn")
        line.simulated.switches["horn"].command(True, "hand")
        line.simulated.switches["main-contactor"].command(True, "hand")
        fates = await line.stop()
        assert [(fate.name, fate.proven) for fate in fates] == [("horn", True)]
        assert not line.simulated.switches["horn"].is_on
        assert line.simulated.switches["main-contactor"].is_on


@virtually
async def test_a_supervisor_told_to_end_in_the_middle_of_a_trial_brings_the_output_back() -> None:
    async with watched() as line, trial(line, "main-contactor", confirmed=True) as states:
        await anext(states)
        await line.until(lambda: line.simulated.switches["main-contactor"].is_on, 1.0)
        await line.stop()
        assert not line.simulated.switches["main-contactor"].is_on


@virtually
async def test_a_supervisor_cancelled_in_the_middle_of_a_trial_brings_the_output_back() -> None:
    async with watched() as line, trial(line, "main-contactor", confirmed=True) as states:
        await anext(states)
        await line.until(lambda: line.simulated.switches["main-contactor"].is_on, 1.0)
        await line.crash()
        assert not line.simulated.switches["main-contactor"].is_on


@virtually
async def test_a_device_that_does_not_bring_it_back_is_sent_the_safe_state_until_it_does() -> None:
    silent = {"what": "device silent", "device": "relays"}
    async with watched() as line, trial(line, "fan") as states:
        await anext(states)
        await line.until(lambda: not line.simulated.switches["fan"].is_on, 1.0)
        assert line.server.order({"fault": silent}) == ""
        await asyncio.sleep(4.0)
        assert line.state.exercise is None
        assert not line.simulated.switches["fan"].is_on
        assert line.server.order({"clear": "device silent"}) == ""
        await line.until(lambda: line.simulated.switches["fan"].is_on, 3.0)
        told = [state async for state in states]
        assert told[-1]["outputs"]["fan"]["confirmed"]
