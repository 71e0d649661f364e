"""When an output was switched last, which a jump of a temperature is held against."""

from __future__ import annotations

from dataclasses import replace

import pytest

from supervisor.core.actions import SetPoints, SwitchOff, SwitchOn
from supervisor.core.events import Order, Started, Written
from tests.core.kit import Bench


def fate(bench: Bench, kind: type[SwitchOff | SwitchOn | SetPoints], *, ok: bool) -> dict[str, float]:
    """What is known as switched after the fate of the newest command of a kind, a second on."""
    bench.line.state = replace(bench.line.state, switched={})
    bench.later(1.0)
    bench.give(bench.written(bench.named(kind)[-1], ok=ok))
    return dict(bench.line.state.switched)


@pytest.mark.parametrize("kind", [SwitchOn, SwitchOff])
def test_an_output_that_was_switched_is_known_by_the_moment(kind: type[SwitchOff | SwitchOn]) -> None:
    bench = Bench().running()
    bench.ask("stop")
    bench.obeys = False
    assert fate(bench, kind, ok=True) == {"main": bench.now_s}


@pytest.mark.parametrize("kind", [SwitchOn, SwitchOff])
def test_a_command_that_failed_has_switched_nothing_for_all_anybody_knows(kind: type[SwitchOff | SwitchOn]) -> None:
    bench = Bench().running()
    bench.ask("stop")
    bench.obeys = False
    assert fate(bench, kind, ok=False) == {}


def test_set_points_switch_nothing() -> None:
    bench = Bench()
    bench.start_service()
    bench.ask("start", order=Order(0.013, 20.0))
    bench.run(2.0)
    assert fate(bench, SetPoints, ok=True) == {}


def test_a_time_out_that_is_armed_switches_nothing() -> None:
    bench = Bench().running()
    bench.line.state = replace(bench.line.state, switched={})
    bench.give(Written(bench.at, "main", "time-out", 1, True, bench.now_s, bench.now_s))
    assert bench.line.state.switched == {}


def test_a_start_of_the_service_knows_of_nothing_that_was_switched_before() -> None:
    bench = Bench().running()
    assert bench.line.state.switched
    bench.obeys = False
    bench.give(Started(bench.at, "boot", "1", "hash", watch_only=False, journal_s=bench.now_s))
    assert bench.line.state.switched == {}
