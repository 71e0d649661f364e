"""R2, R3, R11: a trip commands off in its own step, off stays, off comes first, and off waits for nothing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from supervisor.core.actions import Answer, Record, SetPoints, SwitchOff, SwitchOn
from supervisor.core.alarms import AlarmState
from supervisor.core.anodize import State
from supervisor.core.effects import Effect
from supervisor.core.events import Ending, Quality, Reading, Recorded, RequestKind, Scanned, Started
from supervisor.core.interlocks import CAUSES, strongest
from supervisor.core.line import Line, Step
from supervisor.core.state import LineState
from tests.core import guarded, test_watching
from tests.core.kit import Bench, of_kind
from tests.core.plain import line_setup

ENDS = {Effect.HOLD: State.HOLDING, Effect.STOP: State.STOPPING, Effect.ABORT: State.ABORTING}


def says(bench: Bench, what: str, value: float) -> Step:
    """One reading of what the supply says of itself."""
    setup = bench.setup.supplies["main"]
    reading = Reading(getattr(setup, what), Quality.GOOD, value)
    return bench.give(Scanned(bench.at, setup.device, bench.now_s, bench.now_s, (reading,)))


def contact_lost(bench: Bench) -> Step:
    for _ in range(4):
        bench.later(0.4)
        step = bench.current(0.0)
    return step


def on_fails(bench: Bench) -> Step:
    return bench.give(bench.written(bench.named(SwitchOn)[-1], ok=False))


def nothing_answers(bench: Bench) -> Step:
    for _ in range(10):
        bench.later(0.3)
        step = bench.current(None, quality=Quality.NO_ANSWER)
        bench.temperature(20.5)
    return step


def nothing_from_the_bath(bench: Bench) -> Step:
    for _ in range(10):
        bench.later(0.3)
        bench.current(1.95)
        step = bench.temperature(None, quality=Quality.ABSENT)
    return step


def longest_time(bench: Bench) -> Step:
    operation = bench.operation()
    bench.line.state = with_operation(bench, began_s=bench.now_s - operation.plan.longest_s)
    return bench.wake_up()


def largest_charge(bench: Bench) -> Step:
    bench.line.state = with_operation(bench, commanded_c=bench.operation().plan.largest_c)
    return bench.wake_up()


def with_operation(bench: Bench, **changes: float) -> LineState:
    operation = replace(bench.operation(), **changes)  # type: ignore[arg-type]
    supply = replace(bench.supply(), operation=operation)
    return replace(bench.line.state, supplies={**bench.line.state.supplies, "main": supply})


TRIPS: dict[str, Callable[[Bench], Step]] = {
    "main-acid/bath-low-low": lambda bench: bench.temperature(16.0),
    "main-acid/bath-high-high": lambda bench: bench.temperature(24.0),
    "main-acid/temperature-lost": nothing_from_the_bath,
    "main/supply-silent": nothing_answers,
    "main/current-lost": contact_lost,
    "main/output-dropped": lambda bench: says(bench, "output_state", 0.0),
    "main/settings-differ": lambda bench: says(bench, "set_current", 1.0),
    "main/command-failed": on_fails,
    "main/over-current": lambda bench: bench.current(2.5),
    "main/longest-time": longest_time,
    "main/largest-charge": largest_charge,
}


def tripped(name: str) -> tuple[Bench, Step]:
    """A bench whose devices no longer obey, right after the step in which the trip appeared."""
    bench = Bench().running()
    bench.later(0.1)
    bench.obeys = False
    return bench, TRIPS[name](bench)


@pytest.mark.parametrize("name", TRIPS)
def test_a_trip_commands_off_in_the_step_in_which_its_alarm_appears(name: str) -> None:
    bench, step = tripped(name)
    assert bench.line.state.alarms[name].standing
    assert [action.supply for action in of_kind(step, SwitchOff)] == ["main"]
    assert bench.stands() is ENDS[CAUSES[name.split("/")[1]].effect]


@pytest.mark.parametrize("name", TRIPS)
def test_after_a_trip_nothing_resumes_by_itself_and_a_restart_needs_the_reset(name: str) -> None:
    bench, _ = tripped(name)
    before = len(bench.actions)
    bench.obeys = True
    bench.devices["main"].set_a = 1.95
    bench.run(6.0)
    assert bench.stands() not in {State.RUNNING, State.RESTARTING}
    assert bench.line.state.alarms[name].latched
    refused = bench.ask("restart")
    assert not refused.ok
    assert any(f"{name} waits for a reset" in reason for reason in refused.reasons)
    assert not [action for action in bench.actions[before:] if isinstance(action, SwitchOn | SetPoints | Record)]


def test_a_held_load_restarts_after_the_reset_alone() -> None:
    bench, _ = tripped("main/current-lost")
    bench.obeys = True
    bench.run(3.0)
    assert bench.ask("alarm reset", alarm="main/current-lost").ok
    assert bench.stands() is State.HELD
    assert bench.ask("restart").ok
    bench.run(12.0)
    assert bench.stands() is State.RUNNING


def test_a_latch_is_not_reset_while_its_cause_stands() -> None:
    bench, _ = tripped("main-acid/bath-high-high")
    answer = bench.ask("alarm reset", alarm="main-acid/bath-high-high")
    assert answer.reasons == ("alarm: main-acid/bath-high-high cannot be reset while its cause stands.",)
    assert bench.line.state.alarms["main-acid/bath-high-high"].standing


def test_acknowledging_an_alarm_neither_clears_nor_resets_it() -> None:
    bench, _ = tripped("main-acid/bath-high-high")
    assert bench.ask("alarm acknowledge", alarm="main-acid/bath-high-high").ok
    assert bench.alarm("main-acid/bath-high-high") is AlarmState.ACKNOWLEDGED
    bench.obeys = True
    bench.run(2.0)
    assert bench.alarm("main-acid/bath-high-high") is AlarmState.LATCHED_ACKNOWLEDGED
    assert not bench.ask("restart").ok


def test_every_trip_of_the_table_is_tried_here() -> None:
    trips = {cause for cause, row in CAUSES.items() if row.effect > Effect.WARN}
    elsewhere = {
        "interrupted", "heartbeat-lost", "contactor-dropped", "contactor-failed", "not-ready", *guarded.TRIPS,
        *test_watching.TRIPS,
    }  # fmt: skip
    assert trips - elsewhere == {name.split("/")[1] for name in TRIPS}


@pytest.mark.parametrize(
    ("first", "second", "ends"),
    [
        ("main/current-lost", "main-acid/bath-high-high", State.STOPPING),
        ("main/over-current", "main-acid/bath-high-high", State.ABORTING),
    ],
)
def test_the_stronger_of_two_trips_wins_whichever_came_first(first: str, second: str, ends: State) -> None:
    bench, _ = tripped(first)
    TRIPS[second](bench)
    assert bench.stands() is ends


def test_the_strongest_cause_is_named_and_none_where_none_stands() -> None:
    effects = {"bath-low": Effect.WARN, "longest-time": Effect.STOP, "current-lost": Effect.HOLD}
    assert strongest(effects) == "longest-time"
    assert strongest({"guard-open": Effect.HOLD, "communication-lost": Effect.HOLD}) == "communication-lost"
    assert strongest({}) is None


# -- R3


def started(bench: Bench) -> Step:
    return bench.give(Started(bench.at, "boot", "1", "hash", watch_only=False))


STATES: tuple[tuple[str, tuple[RequestKind, ...]], ...] = (
    ("running", ()), ("holding", ("hold",)), ("stopping", ("stop",)), ("aborting", ("abort",)),
)  # fmt: skip


@pytest.mark.parametrize("proven", [True, False])
@pytest.mark.parametrize(("state", "asked"), STATES)
def test_the_first_command_after_a_start_is_off_from_every_state(
    state: str, asked: tuple[RequestKind, ...], proven: bool
) -> None:
    bench = Bench().running()
    bench.obeys = proven
    for what in asked:
        bench.ask(what)
    if proven and asked:
        bench.run(2.0)
        assert bench.stands() in {State.HELD, State.STOPPED, State.ABORTED}
    else:
        assert bench.stands() == state
    again = Bench(state=bench.line.state, now_s=bench.now_s + 5.0)
    again.obeys = False
    step = started(again)
    wired = [action for action in step.actions if isinstance(action, SwitchOff | SwitchOn | SetPoints)]
    assert [type(action) for action in wired] == [SwitchOff]
    assert not again.supply().output.proven_off


def test_the_first_command_after_a_start_is_off_with_restart_or_intent_under_way() -> None:
    bench = Bench().running()
    bench.ask("hold")
    bench.run(2.0)
    bench.keeps_records = False
    bench.give(bench.request("restart"))
    assert bench.supply().pending is not None
    for state in (bench.line.state, restarting(bench)):
        again = Bench(state=state, now_s=bench.now_s + 5.0)
        step = started(again)
        assert [type(action) for action in step.actions if isinstance(action, SwitchOff | SwitchOn)] == [SwitchOff]
        assert again.supply().pending is None


def restarting(bench: Bench) -> LineState:
    bench.keeps_records = True
    bench.later(1.1)
    bench.scan()
    assert bench.ask("restart").ok
    assert bench.stands() is State.RESTARTING
    return bench.line.state


def test_every_supply_is_switched_off_at_start_and_at_the_end() -> None:
    bench = Bench(line_setup(3))
    step = started(bench)
    assert [action.supply for action in of_kind(step, SwitchOff)] == ["main", "side", "third"]
    bench.run(2.5)
    step = bench.give(Ending(bench.at))
    assert [action.supply for action in of_kind(step, SwitchOff)] == ["main", "side", "third"]


def test_a_line_that_ends_switches_nothing_on_any_more() -> None:
    bench = Bench().running()
    bench.give(Ending(bench.at))
    bench.run(2.0)
    assert bench.stands() is State.HELD
    bench.ask("alarm reset", alarm="main/interrupted")
    refused = bench.ask("restart")
    assert refused.reasons == ("not ending: this supervisor was told to end and switches nothing on any more.",)


def test_an_intent_recorded_after_the_end_was_told_is_refused() -> None:
    bench = Bench()
    bench.start_service()
    intent = bench.pending()
    bench.give(Ending(bench.at))
    bench.give(Recorded(bench.at, intent))
    assert not bench.named(SwitchOn)
    assert not bench.named(Answer)[-1].ok


# -- R11


@pytest.mark.parametrize("what", ["hold", "stop", "abort", "off"])
def test_off_is_commanded_in_the_step_of_the_request_though_no_record_is_ever_kept(what: RequestKind) -> None:
    bench = Bench().running()
    bench.keeps_records = False
    step = bench.give(bench.request(what))
    assert of_kind(step, SwitchOff)
    assert not of_kind(step, Record)


def test_off_asked_for_is_sent_even_where_off_was_proven() -> None:
    bench = Bench()
    bench.start_service()
    assert bench.supply().output.proven_off
    assert of_kind(bench.give(bench.request("off")), SwitchOff)
    assert not bench.supply().output.proven_off


def test_a_supply_at_its_voltage_ceiling_warns_without_ending_the_load() -> None:
    bench = Bench().running()
    bench.devices["main"].voltage_held = True
    bench.run(CAUSES["voltage-ceiling"].on_delay_s + 1.0)
    assert bench.alarm("main/voltage-ceiling") is AlarmState.UNACKNOWLEDGED
    assert bench.stands() is State.RUNNING
    bench.devices["main"].voltage_held = False
    bench.run(1.0)
    assert bench.alarm("main/voltage-ceiling") is AlarmState.RETURNED_UNACKNOWLEDGED


def test_a_restored_line_needs_nothing_but_its_state() -> None:
    bench = Bench().running()
    event = Scanned(bench.at, "main-device", bench.now_s, bench.now_s, ())
    assert Line(bench.setup, bench.line.state).step(event).actions == bench.line.step(event).actions
