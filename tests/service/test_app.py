"""The service when something in it fails: off comes first, and nothing is switched on without a record."""

from __future__ import annotations

import asyncio
import sqlite3
from collections.abc import Sequence

import pytest

from supervisor.core.anodize import State
from supervisor.core.events import Event, Woken
from supervisor.core.line import Line, Step
from supervisor.edges.client import ask, stream
from supervisor.edges.control import socket_path
from supervisor.edges.requests import new_body
from supervisor.records import rows
from supervisor.service.app import Service
from supervisor.service.holder import AlreadyHeldError
from tests.harness.virtual import VirtualLine, virtual_line, virtually


def refuse_to_write(_connection: sqlite3.Connection, _run: int, _batch: Sequence[rows.Row]) -> bool:
    raise sqlite3.OperationalError("disk I/O error")


async def running(line: VirtualLine) -> None:
    await line.start()
    await line.begin("20 um")
    await line.pass_time(300.0)
    assert line.truly_on()


@pytest.mark.parametrize("where", ["a wake nobody awaits", "any event"])
def test_a_step_that_fails_ends_the_service_in_off(where: str, monkeypatch: pytest.MonkeyPatch) -> None:
    @virtually
    async def scenario() -> None:
        async with virtual_line() as line:
            await running(line)
            step = Line.step

            def failing(self: Line, event: Event) -> Step:
                if where == "any event" or isinstance(event, Woken):
                    raise ZeroDivisionError("planted")
                return step(self, event)

            monkeypatch.setattr(Line, "step", failing)
            await line.pass_time(3600.0)
            assert not line.truly_on()
            with pytest.raises(ExceptionGroup):
                await line.stop()
            line._run = None

    scenario()


def test_a_disk_that_refuses_does_not_hold_up_off(monkeypatch: pytest.MonkeyPatch) -> None:
    @virtually
    async def scenario() -> None:
        async with virtual_line() as line:
            await running(line)
            monkeypatch.setattr(rows, "write", refuse_to_write)
            await line.pass_time(60.0)
            asked_s = line.clock.now()
            assert (await line.ask("hold"))["ok"]
            await line.until_state(State.HELD)
            assert line.clock.now() - asked_s < 0.5
            assert not line.truly_on()

    scenario()


def test_a_start_whose_record_is_not_durable_within_a_second_switches_nothing_on(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    @virtually
    async def scenario() -> None:
        async with virtual_line() as line:
            await line.start()
            await line.pass_time(60.0)
            monkeypatch.setattr(rows, "write", refuse_to_write)
            asked_s = line.clock.now()
            answer = await line.ask("start", area="130 cm^2", target="4 um")
            assert not answer["ok"]
            assert "journal" in answer["reasons"][0]
            assert line.clock.now() - asked_s == pytest.approx(1.0, abs=0.1)
            await line.pass_time(600.0)
            assert [truth for truth in line.truths if truth["truth"] == "output" and truth["on"]] == []
            assert line.service.status()["journal"]["healthy"] is False

    scenario()


@virtually
async def test_a_second_supervisor_of_the_line_is_refused_and_names_the_first() -> None:
    async with virtual_line() as line:
        await running(line)
        second = Service(line.files.load(), line.clock, tell=line.notes.append)
        with pytest.raises(AlreadyHeldError, match="process"):
            await second.run(asyncio.Event())
        assert line.truly_on()


@virtually
async def test_a_start_written_wrongly_is_also_told_what_else_is_against_it() -> None:
    async with virtual_line() as line:
        await running(line)
        answer = await line.ask("start", area="130", target="20 um")
        assert [reason.partition(":")[0] for reason in answer["reasons"]] == ["area", "operation idle", "off proven"]


@virtually
async def test_a_start_with_one_figure_unreadable_is_told_every_reason_against_the_others() -> None:
    async with virtual_line() as line:
        await line.start()
        answer = await line.ask("start", area="130", target="20 mm", density="99 A/dm^2", voltage="900 V")
        subjects = ("area: ", "No coat of this kind", "The density", "The voltage")
        assert all(reason.startswith(subject) for reason, subject in zip(answer["reasons"], subjects, strict=True))


@virtually
async def test_a_start_without_area_and_target_is_told_both_and_an_unreadable_target_is_not_called_missing() -> None:
    async with virtual_line() as line:
        await line.start()
        area, target = (await line.ask("start"))["reasons"]
        assert area.startswith("area: this is missing")
        assert target.startswith("No target is given")
        (unread,) = (await line.ask("start", area="130 cm^2", target="20"))["reasons"]
        assert unread.startswith("target: '20' has no unit")


@virtually
async def test_a_wrongly_written_stop_is_told_nothing_that_does_not_concern_it() -> None:
    async with virtual_line() as line:
        await running(line)
        answer = await line.ask("stop", area="1 cm^2")
        assert [reason.partition(":")[0] for reason in answer["reasons"]] == ["area"]


@virtually
async def test_a_request_repeated_while_it_is_decided_does_not_take_its_answer() -> None:
    async with virtual_line() as line:
        await line.start()
        await line.pass_time(60.0)
        body = new_body(line.clock.now(), area="130 cm^2", target="4 um")
        path = socket_path("demo")
        first, second = await asyncio.gather(ask(path, "start", body), ask(path, "start", body))
        assert sorted([first["ok"], second["ok"]]) == [False, True]
        assert line.stands is State.RUNNING
        assert line.service.steps._answers == {}


@virtually
async def test_an_unknown_kind_of_request_is_refused_and_changes_nothing() -> None:
    async with virtual_line() as line:
        await running(line)
        answer = await line.ask("faster")
        assert not answer["ok"]
        assert line.stands is State.RUNNING


@virtually
async def test_a_watcher_sees_how_the_supply_was_left_before_the_stream_ends() -> None:
    async with virtual_line() as line:
        await running(line)
        states: list[bool] = []

        async def look() -> None:
            states.extend(
                [s["supplies"]["main"]["off_proven"] async for s in stream(socket_path(line.service.setup.name))]
            )

        watching = asyncio.create_task(look())
        await line.pass_time(60.0)
        await line.stop()
        await watching
        assert states[0] is False
        assert states[-1] is True
