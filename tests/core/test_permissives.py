"""Every permissive by name: alone it refuses, and its reason begins with its name."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from supervisor.core.actions import Record, SetPoints, Switch, SwitchOn
from supervisor.core.alarms import Alarm, AlarmState
from supervisor.core.anodize import State
from supervisor.core.events import Ending, Quality, Recorded
from supervisor.core.permissives import failing
from tests.core.kit import Bench, of_kind
from tests.core.plain import fitted_setup


def ready(*, watch_only: bool = False) -> Bench:
    bench = Bench()
    bench.start_service(watch_only=watch_only)
    return bench


def spoiled(spoil: Callable[[Bench], object]) -> Callable[[], Bench]:
    def make() -> Bench:
        bench = ready()
        spoil(bench)
        return bench

    return make


def told_off(bench: Bench) -> None:
    bench.give(bench.request("off"))
    bench.later(0.01)


def latched(bench: Bench) -> None:
    bench.temperature(25.0)
    bench.temperature(20.5)


AGAINST: dict[str, Callable[[], Bench]] = {
    "watching only: this": lambda: ready(watch_only=True),
    "not ending: this": spoiled(lambda bench: bench.give(Ending(bench.at))),
    "operation idle: main is running": lambda: Bench().running(),
    "off proven: the output of main": spoiled(told_off),
    "supply answers: no good": spoiled(lambda bench: bench.current(None, quality=Quality.NO_ANSWER)),
    "bath in band: no good": spoiled(lambda bench: bench.temperature(None, quality=Quality.ABSENT)),
    "bath in band: main-acid is at 22.5": spoiled(lambda bench: bench.temperature(22.5)),
    "bath in band: main-acid is at 22.0": spoiled(lambda bench: bench.temperature(22.0)),
    "bath in band: main-acid is at 18.0": spoiled(lambda bench: bench.temperature(18.0)),
    "no trip: main-acid/bath-high-high stands": spoiled(lambda bench: bench.temperature(25.0)),
    "no trip: main-acid/bath-high-high waits": spoiled(latched),
}


@pytest.mark.parametrize("name", AGAINST)
def test_a_permissive_that_does_not_hold_refuses_by_its_name(name: str) -> None:
    bench = AGAINST[name]()
    before = len(bench.named(SwitchOn))
    answer = bench.start()
    assert not answer.ok
    assert any(reason.startswith(name) for reason in answer.reasons)
    assert len(bench.named(SwitchOn)) == before


def test_with_every_permissive_the_list_of_reasons_is_empty() -> None:
    bench = ready()
    assert failing(bench.setup, bench.line.state, "main", "start", bench.now_s) == ()


def test_only_a_held_operation_can_be_restarted() -> None:
    assert ready().ask("restart").reasons == ("operation held: main is idle; only a held operation can be restarted.",)


def nearly_over(bench: Bench) -> float:
    """Hold a load until its longest time is all but over; return the process time at which it is."""
    bench.ask("hold")
    bench.run(2.0)
    ends_s = bench.operation().began_s + bench.operation().plan.longest_s
    bench.run(ends_s - bench.now_s - 0.3)
    assert bench.stands() is State.HELD
    return ends_s


def test_a_restart_whose_record_comes_when_the_longest_time_is_over_switches_nothing_on() -> None:
    for bench in (Bench().running(), Bench(fitted_setup()).running()):
        ends_s = nearly_over(bench)
        bench.keeps_records = False
        bench.give(bench.request("restart"))
        bench.now_s = ends_s
        step = bench.give(Recorded(bench.at, bench.named(Record)[-1].intent))
        assert not of_kind(step, SwitchOn)
        assert not of_kind(step, SetPoints)
        assert not any(action.on for action in of_kind(step, Switch))
        assert bench.operation().why == "longest-time"


def test_a_contactor_seen_closed_when_the_longest_time_is_over_switches_nothing_on() -> None:
    bench = Bench(fitted_setup()).running()
    ends_s = nearly_over(bench)
    bench.silent = {"relays"}
    bench.give(bench.request("restart"))
    bench.now_s = ends_s
    step = bench.contact(closed=True)
    assert not of_kind(step, SwitchOn)
    assert not of_kind(step, SetPoints)
    assert bench.operation().why == "longest-time"


def test_a_finished_operation_is_reset_before_the_next_start() -> None:
    bench = Bench().running()
    bench.ask("stop")
    bench.run(2.0)
    assert bench.start().reasons == ("operation idle: main is stopped with load load-1. Reset it first.",)
    bench.ask("reset")
    assert bench.start().ok


def test_a_load_is_anodized_once() -> None:
    bench = ready()
    assert bench.start(load="hinges").ok
    bench.ask("stop")
    bench.run(2.0)
    bench.ask("reset")
    (reason,) = bench.start(load="hinges").reasons
    assert reason.startswith("load: hinges was anodized already as test-1")


def test_a_warning_that_latches_refuses_and_one_that_does_not_lets_pass() -> None:
    bench = ready()
    bench.current(0.06)
    bench.run(2.0)
    assert any("current-without-operation waits" in reason for reason in bench.start().reasons)
    warned = ready()
    for value in (22.5, 22.5, 21.8):  # within the deadband, inside the band
        warned.later(11.0)
        warned.temperature(value)
        warned.current(0.0)
    assert warned.line.state.alarms["main-acid/bath-high"].standing
    assert not [r for r in failing(warned.setup, warned.line.state, "main", "start", warned.now_s) if "bath-high" in r]


def test_the_bath_of_another_tank_does_not_matter() -> None:
    bench = ready()
    far = Alarm("bath-high-high", "other-acid", AlarmState.UNACKNOWLEDGED)
    state = replace(bench.line.state, alarms={far.name: far})
    assert failing(bench.setup, state, "main", "start", bench.now_s) == ()
