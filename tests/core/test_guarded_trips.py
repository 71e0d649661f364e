"""R2 for every contact and device around a tank: off in the step in which the cause counts, and nothing by itself."""

from __future__ import annotations

from dataclasses import replace

import pytest

from supervisor.core.actions import Record, SetPoints, Switch, SwitchOff, SwitchOn
from supervisor.core.anodize import State
from supervisor.core.effects import Effect, Interlock
from supervisor.core.events import Delayed
from supervisor.core.interlocks import CAUSES
from supervisor.core.line import Step
from tests.core.guarded import TRIPS, Guarded, guarded_setup
from tests.core.kit import of_kind
from tests.core.plain import patient

ENDS = {Effect.HOLD: State.HOLDING, Effect.STOP: State.STOPPING, Effect.ABORT: State.ABORTING}


def tripped(cause: str) -> tuple[Guarded, Step]:
    """A bench right after the step in which the trip counted; its devices do not obey yet."""
    bench = Guarded().under_way()
    bench.obeys = False
    return bench, TRIPS[cause][1](bench)


@pytest.mark.parametrize("cause", TRIPS)
def test_off_leaves_in_the_step_in_which_the_cause_counts(cause: str) -> None:
    bench, step = tripped(cause)
    assert [off.supply for off in of_kind(step, SwitchOff)][:1] == ["main"]
    assert bench.line.state.alarms[f"{TRIPS[cause][0]}/{cause}"].active
    assert (bench.stands(), bench.operation().why) == (ENDS[CAUSES[cause].effect], cause)


@pytest.mark.parametrize("cause", TRIPS)
def test_nothing_resumes_by_itself_when_the_cause_is_gone(cause: str) -> None:
    bench, _ = tripped(cause)
    before, bench.obeys = len(bench.actions), True
    bench.open, bench.silent, bench.devices["main"].gain = set(), set(), 1.0
    bench.run(60.0)
    assert bench.stands() in {State.HELD, State.STOPPED, State.ABORTED}
    refused = bench.ask("restart")
    assert any(f"{TRIPS[cause][0]}/{cause} waits for a reset" in reason for reason in refused.reasons)
    assert not [action for action in bench.actions[before:] if isinstance(action, SwitchOn | SetPoints | Record)]


@pytest.mark.parametrize("cause", [cause for cause in TRIPS if "contactor open" in CAUSES[cause].also])
def test_the_contactor_opens_in_the_same_step_and_after_off_where_the_table_says_so(cause: str) -> None:
    _, step = tripped(cause)
    wired = [action for action in step.actions if isinstance(action, SwitchOff | Switch)]
    assert isinstance(wired[0], SwitchOff)
    assert [(action.output, action.on) for action in wired if isinstance(action, Switch)][:1] == [("contactor", False)]


@pytest.mark.parametrize("cause", [cause for cause in TRIPS if "contactor open" not in CAUSES[cause].also])
def test_the_contactor_waits_for_the_proof_of_off_where_the_table_does_not(cause: str) -> None:
    bench, step = tripped(cause)
    assert not of_kind(step, Switch)
    assert bench.line.state.outputs["contactor"].on


@pytest.mark.parametrize("cause", [cause for cause in TRIPS if CAUSES[cause].effect is Effect.HOLD])
def test_a_load_held_by_it_goes_on_after_reset_and_restart(cause: str) -> None:
    bench, _ = tripped(cause)
    bench.obeys, bench.open, bench.silent, bench.devices["main"].gain = True, set(), set(), 1.0
    bench.run(60.0)
    for alarm in tuple(bench.line.state.alarms):
        bench.ask("alarm reset", alarm=alarm)
    answer = bench.ask("restart")
    assert answer.ok, answer.reasons
    bench.run(14.0)
    assert bench.stands() is State.RUNNING


def test_a_delay_keeps_what_is_short_from_tripping() -> None:
    bench = Guarded().under_way()
    bench.opens("air-flow", after_s=4.5)
    bench.open = set()
    bench.run(60.0)
    assert bench.stands() is State.RUNNING
    assert "air-flow/ventilation-lost" not in bench.line.state.alarms


def test_a_broken_wire_trips_like_an_open_contact() -> None:
    bench = Guarded().under_way()
    bench.unread = {"guard"}
    bench.run(3.5)
    assert bench.operation().why == "guard-open"


def test_still_acid_is_told_soon_and_held_later() -> None:
    bench = Guarded().under_way()
    bench.opens("air-pressure", after_s=13.0)
    assert bench.line.state.alarms["air-pressure/agitation-lost"].active
    assert bench.stands() is State.RUNNING
    bench.run(33.0)
    assert bench.operation().why == "agitation-long-lost"


def test_an_open_lid_of_a_hot_tank_is_told_and_holds_nothing() -> None:
    bench = Guarded(patient(guarded_setup())).under_way()
    bench.opens("seal-lid", after_s=601.0)
    assert bench.line.state.alarms["seal-lid/lid-open"].active
    assert bench.stands() is State.RUNNING


def test_a_level_of_another_tank_holds_nothing() -> None:
    bench = Guarded().under_way()
    bench.opens("seal-level", after_s=10.0)
    assert bench.line.state.alarms["seal-level/level-low"].active
    assert bench.stands() is State.RUNNING


def test_a_loop_that_was_a_little_late_holds_nothing() -> None:
    bench = Guarded().under_way()
    bench.later(0.5)
    bench.give(Delayed(bench.at, 1.9))
    assert bench.stands() is State.RUNNING


def test_the_emergency_stop_aborts_a_load_that_is_stopping_already() -> None:
    bench = Guarded().under_way()
    bench.obeys = False
    bench.temperature(25.0)
    assert bench.stands() is State.STOPPING
    bench.opens("stop")
    assert bench.stands() is State.ABORTING


def test_a_warning_that_a_line_file_lets_open_the_contactor_holds_the_load_too() -> None:
    opening = Interlock(Effect.WARN, frozenset({"contactor open"}))
    bench = Guarded(setup=guarded_setup(agitation_lost=opening)).under_way()
    bench.obeys = False
    step = bench.opens("air-pressure")
    assert [type(action) for action in step.actions if isinstance(action, SwitchOff | Switch)] == [SwitchOff, Switch]
    assert (bench.stands(), bench.operation().why) == (State.HOLDING, "agitation-lost")


def test_a_record_of_an_earlier_release_loses_no_device_that_was_read_well() -> None:
    """It knows good readings and not yet answers."""
    bench = Guarded().under_way()
    known = bench.line.state.channels
    bench.line.state = replace(
        bench.line.state, channels={name: replace(one, answered_s=None) for name, one in known.items()}
    )
    bench.later(0.1)
    bench.wake_up()
    assert "inputs/communication-lost" not in bench.line.state.alarms
