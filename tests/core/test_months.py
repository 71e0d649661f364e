"""What a line remembers over months, and over changes of its file and release: bounded, and never a stumbling block."""

from __future__ import annotations

from dataclasses import replace

import pytest

from supervisor.core import energise
from supervisor.core.alarms import Alarm, AlarmState
from supervisor.core.anodize import State
from supervisor.core.state import LineState, SupplyState
from tests.core import run_ups
from tests.core.kit import Bench


def anodized(bench: Bench, load: str) -> None:
    """One load, stopped right after its start, its operation reset."""
    assert bench.start(load=load).ok
    bench.run(2.0)
    bench.ask("stop")
    bench.run(2.0)
    assert bench.ask("reset").ok


def test_only_the_newest_loads_are_remembered(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(energise, "REMEMBERED_LOADS", 3)
    monkeypatch.setattr(run_ups, "STOOD", {})
    bench = Bench()
    bench.start_service()
    for number in range(5):
        anodized(bench, f"tray {number}")
    assert list(bench.line.state.loads) == ["tray 2", "tray 3", "tray 4"]
    assert not bench.start(load="tray 4").ok
    assert bench.start(load="tray 0").ok


@pytest.mark.parametrize(
    "alarm",
    [
        Alarm("over-current", "supply of an older line file", AlarmState.UNACKNOWLEDGED),
        Alarm("a cause of another release", "main", AlarmState.UNACKNOWLEDGED),
    ],
)
def test_an_alarm_nobody_can_tell_or_clear_any_more_is_left_behind_at_a_start(alarm: Alarm) -> None:
    bench = Bench(state=LineState(supplies={"main": SupplyState()}, alarms={alarm.name: alarm}))
    bench.start_service()
    assert bench.start().ok
    assert bench.stands() is State.RUNNING
    assert alarm.name not in bench.line.state.alarms


def test_an_alarm_of_this_line_is_not_left_behind_at_a_start() -> None:
    alarm = Alarm("over-current", "main", AlarmState.LATCHED_UNACKNOWLEDGED)
    bench = Bench(state=replace(LineState(supplies={"main": SupplyState()}), alarms={alarm.name: alarm}))
    bench.start_service()
    assert not bench.start().ok
