"""Alarms at the control socket: every reason against a request at once, and a shelved alarm's interlock still acts."""

from __future__ import annotations

from typing import Any

from supervisor.core.anodize import State
from supervisor.edges.client import ask, stream
from supervisor.edges.control import socket_path
from tests.harness.virtual import VirtualLine, virtual_line, virtually


def subjects(answer: dict[str, Any]) -> list[str]:
    return [reason.partition(":")[0] for reason in answer["reasons"]]


async def shelve(line: VirtualLine, alarm: str = "acid/bath-high-high", **said: str) -> dict[str, Any]:
    return await line.ask("alarm shelve", alarm=alarm, **said)


@virtually
async def test_a_shelving_without_time_and_reason_is_told_both_and_what_else_is_against_it() -> None:
    async with virtual_line() as line:
        await line.start()
        assert subjects(await shelve(line)) == ["why", "for"]
        assert subjects(await shelve(line, alarm="main/off-not-proven")) == ["alarm", "why", "for"]
        assert subjects(await shelve(line, alarm="acid/bath-hihg")) == ["alarm", "why", "for"]
        assert subjects(await line.ask("alarm out of service", alarm="acid/bath-hihg")) == ["alarm", "why"]


@virtually
async def test_a_time_that_cannot_be_read_is_told_once_with_all_the_rest() -> None:
    async with virtual_line() as line:
        await line.start()
        answer = await shelve(line, alarm="main/off-not-proven", **{"for": "30"})
        assert subjects(answer) == ["for", "alarm", "why"]
        assert "has no unit" in answer["reasons"][0]
        assert subjects(await shelve(line, **{"for": "30", "why": "pump"})) == ["for"]
        assert subjects(await shelve(line, **{"for": "9 h", "why": "pump"})) == ["for"]


@virtually
async def test_nothing_comes_of_a_shelving_that_is_refused() -> None:
    async with virtual_line() as line:
        await line.start()
        await shelve(line, **{"for": "30", "why": "pump"})
        assert line.state.alarms.get("acid/bath-high-high") is None
        assert line.state.alarm_log == ()


@virtually
async def test_a_shelved_alarm_is_not_told_and_its_interlock_stops_the_load_all_the_same() -> None:
    async with virtual_line({"what": "bath heats", "after_current_s": 60.0, "rate_c_per_min": 1.5}) as line:
        await line.start()
        assert (await shelve(line, **{"for": "2 h", "why": "the pump is out"}))["ok"]
        await line.begin("20 um")
        await line.until_state(State.STOPPED)
        told = await ask(socket_path("demo"), "status", {})
        (alarm,) = (one for one in told["alarms"] if one["name"] == "acid/bath-high-high")
        assert (alarm["state"], alarm["active"]) == ("shelved", True)
        assert alarm["why"].startswith("the pump is out (")
        assert 0 < alarm["shelved_for_s"] < 7200.0
        assert told["supplies"]["main"]["operation"]["why"] == "bath-high-high"


@virtually
async def test_the_history_comes_with_the_status_and_not_with_every_state_of_a_watch() -> None:
    async with virtual_line() as line:
        await line.start()
        assert (await shelve(line, **{"for": "2 h", "why": "the pump is out"}))["ok"]
        told = await ask(socket_path("demo"), "status", {})
        assert [(one["name"], one["state"]) for one in told["alarm_log"]] == [("acid/bath-high-high", "shelved")]
        states = stream(socket_path("demo"))
        assert "alarm_log" not in await anext(states)
        await states.aclose()
