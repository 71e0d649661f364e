"""A device's heartbeat: stopped or begun anew, what hangs on it is held and it is what is named."""

from __future__ import annotations

from supervisor.core.actions import Switch, SwitchOff
from supervisor.core.alarms import AlarmState
from supervisor.core.anodize import State
from tests.core.kit import Bench, of_kind
from tests.core.plain import fitted_setup

LOST = "board/heartbeat-lost"


def running() -> Bench:
    made = Bench(fitted_setup())
    made.start_service()
    return made.running()


def test_a_heartbeat_that_stops_holds_the_load_and_is_named() -> None:
    made = running()
    made.silent = {"board"}
    made.run(2.5)
    assert (made.stands(), made.operation().why) == (State.HELD, "heartbeat-lost")
    (text,) = made.alarm_texts(LOST)
    assert "heartbeat of board" in text


def test_a_device_that_began_anew_holds_the_load_however_short_its_silence() -> None:
    made = running()
    made.board_began_s = made.now_s
    made.later(0.1)
    step = made.heartbeat(0.1)
    assert of_kind(step, SwitchOff)
    assert made.operation().why == "heartbeat-lost"


def test_the_heartbeat_is_named_before_what_is_missed_because_of_it() -> None:
    made = running()
    made.silent = {"board", "main-acid"}
    made.run(6.0)
    assert made.operation().why == "heartbeat-lost"
    assert made.alarm("main-acid/temperature-lost") is AlarmState.UNACKNOWLEDGED


def test_of_causes_that_come_in_one_step_the_heartbeat_is_named() -> None:
    made = running()
    made.later(10.0)
    made.wake_up()
    assert made.operation().why in {"heartbeat-lost", "supply-silent"}
    assert made.alarm("main-acid/temperature-lost") is AlarmState.UNACKNOWLEDGED
    assert made.operation().why != "temperature-lost"


def test_outputs_of_a_device_that_began_anew_are_told_their_safe_state_again_and_nothing_else() -> None:
    made = running()
    made.later(0.1)
    step = made.heartbeat(0.1)
    assert [(action.output, action.on) for action in of_kind(step, Switch)] == [("fan", True)]


def test_a_supervisor_that_only_watches_tells_nothing_to_a_device_that_began_anew() -> None:
    made = Bench(fitted_setup())
    made.start_service(watch_only=True)
    made.later(0.1)
    assert not of_kind(made.heartbeat(0.1), Switch)
    sent = len(made.named(Switch))
    made.board_began_s = made.now_s
    made.run(10.0)
    assert len(made.named(Switch)) == sent
    assert made.alarm("fan/switch-failed") is AlarmState.NORMAL


def test_it_is_over_with_the_next_heartbeat_and_waits_for_a_reset() -> None:
    made = running()
    made.board_began_s = made.now_s
    made.run(3.0)
    assert made.alarm(LOST) is AlarmState.LATCHED_UNACKNOWLEDGED
    assert not made.ask("restart").ok
    assert made.ask("alarm reset", alarm=LOST).ok
    assert made.ask("restart").ok


def test_nothing_starts_while_no_heartbeat_comes() -> None:
    made = Bench(fitted_setup(), silent={"board"})
    made.start_service()
    assert "heartbeat there: none comes from board." in made.start().reasons


def test_the_same_heartbeat_twice_is_no_new_beginning() -> None:
    made = running()
    made.later(0.1)
    made.heartbeat(made.now_s)
    made.later(0.1)
    made.heartbeat(made.now_s - 0.1)
    assert made.stands() is State.RUNNING


def test_a_word_from_before_the_device_began_anew_confirms_nothing_of_what_came_after() -> None:
    made = running()
    earlier = next(action for action in made.named(Switch)[::-1] if action.output == "fan")
    made.deaf = {"fan"}
    made.later(0.1)
    made.heartbeat(0.1)
    made.give(made.switched(earlier))
    sent = len(made.named(Switch))
    made.run(1.0)
    assert any(action.output == "fan" for action in made.named(Switch)[sent:])


def test_a_word_from_before_confirms_nothing_of_a_device_that_began_anew_while_only_watching() -> None:
    made = Bench(fitted_setup())
    made.start_service(watch_only=True)
    earlier = next(action for action in made.named(Switch) if action.output == "fan")
    made.later(0.1)
    made.heartbeat(0.1)
    made.give(made.switched(earlier))
    assert made.line.state.outputs["fan"].confirmed_s is None
