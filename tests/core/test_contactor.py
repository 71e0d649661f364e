"""The contactor of a remote supply: closed first, opened last, believed by its auxiliary contact (R1, R2, R7, R9)."""

from __future__ import annotations

from dataclasses import replace

import pytest

from supervisor.core.actions import SetPoints, Switch, SwitchOff, SwitchOn
from supervisor.core.alarms import AlarmState
from supervisor.core.anodize import State
from supervisor.core.contactor import CLOSES_WITHIN_S, STUCK_AFTER_S
from supervisor.core.events import Ending, Quality, Switched
from supervisor.core.setup import OutputSetup
from tests.core.kit import Bench, of_kind
from tests.core.plain import fitted_setup


def bench() -> Bench:
    made = Bench(fitted_setup())
    made.start_service()
    return made


def switches(made: Bench, output: str = "contactor") -> list[bool]:
    return [action.on for action in made.named(Switch) if action.output == output]


def closing() -> Bench:
    """A start whose contactor has been told to close and has not been seen closed yet."""
    made = bench()
    made.silent = {"relays"}
    assert made.start().ok
    return made


def test_the_first_word_to_every_output_is_its_safe_state() -> None:
    made = Bench(fitted_setup())
    made.start_service()
    assert (switches(made)[0], switches(made, "fan")[0]) == (False, True)


def test_nothing_is_set_or_switched_on_before_the_contactor_is_seen_closed() -> None:
    made = closing()
    made.run(1.0)
    assert switches(made)[-1] is True
    assert not made.named(SwitchOn)
    assert not made.named(SetPoints)
    made.silent = set()
    step = made.contact(closed=True)
    assert of_kind(step, SwitchOn)
    assert made.stands() is State.RUNNING


def test_a_contact_read_before_the_command_was_confirmed_proves_nothing() -> None:
    made = bench()
    made.deaf = {"contactor"}
    assert made.start().ok
    made.later(0.01)
    made.contact(closed=True)
    made.later(0.01)
    made.give(made.switched(made.named(Switch)[-1]))
    assert not made.named(SwitchOn)
    made.later(0.01)
    assert of_kind(made.contact(closed=True), SwitchOn)


def test_a_bad_contact_reading_proves_nothing() -> None:
    made = closing()
    made.later(0.1)
    for quality in (Quality.LATE, Quality.NO_ANSWER, Quality.MALFORMED):
        assert not of_kind(made.contact(closed=True, quality=quality), SwitchOn)
        made.later(0.01)


def test_without_an_auxiliary_contact_the_devices_word_serves() -> None:
    made = Bench(fitted_setup(auxiliary=False))
    made.start_service()
    assert made.start().ok
    assert made.named(SwitchOn)


def test_a_contactor_that_does_not_close_holds_the_load_and_nothing_comes_on() -> None:
    made = closing()
    made.run(2.1)
    assert made.operation().why == "contactor-failed"
    assert made.alarm("main/contactor-failed") is not AlarmState.NORMAL
    made.silent = set()
    made.run(3.0)
    assert made.stands() is State.HELD
    assert not made.named(SwitchOn)
    assert switches(made)[-1] is False


def test_what_must_be_true_is_checked_again_when_the_contactor_has_closed() -> None:
    made = closing()
    made.temperature(22.5)
    made.later(0.1)
    step = made.contact(closed=True)
    assert not of_kind(step, SwitchOn)
    assert made.operation().why == "not-ready"


def test_an_off_comes_at_once_and_the_contactor_opens_when_off_is_proven() -> None:
    made = bench().running()
    assert of_kind(made.give(made.request("stop")), SwitchOff)
    assert switches(made)[-1] is True
    made.run(1.0)
    assert made.supply().output.proven_off
    assert switches(made)[-1] is False


def test_the_contactor_opens_at_once_when_the_proof_of_off_is_late() -> None:
    made = bench().running()
    made.silent = {"main"}
    made.ask("stop")
    made.run(0.9)
    assert switches(made)[-1] is True
    made.run(0.2)
    assert switches(made)[-1] is False
    assert made.alarm("main/off-not-proven") is AlarmState.UNACKNOWLEDGED


def test_an_open_contactor_is_no_proof_of_off() -> None:
    made = bench().running()
    made.silent = {"main"}
    made.ask("stop")
    made.run(5.0)
    assert made.shut["contactor"] is False
    assert not made.supply().output.proven_off
    assert not made.operation().over


def test_a_contactor_that_opens_by_itself_holds_the_load_and_marks_it() -> None:
    made = bench().running()
    made.shut["contactor"] = False
    made.later(0.1)
    step = made.contact(closed=False)
    assert of_kind(step, SwitchOff)
    assert made.operation().why == "contactor-dropped"
    assert made.line.state.loads[made.operation().load].suspect == "contactor-dropped"


def test_a_contactor_that_stays_closed_after_it_was_told_to_open_is_told_and_blocks_the_next_start() -> None:
    made = bench().running()
    made.stuck = {"contactor"}
    made.ask("stop")
    made.run(3.0)
    assert made.alarm("contactor/contactor-stuck") is AlarmState.UNACKNOWLEDGED
    made.later(0.1)
    made.contact(closed=True, quality=Quality.NO_ANSWER)
    assert made.alarm("contactor/contactor-stuck") is AlarmState.UNACKNOWLEDGED
    made.stuck, made.shut["contactor"] = set(), False
    made.run(1.0)
    assert made.alarm("contactor/contactor-stuck") is AlarmState.LATCHED_UNACKNOWLEDGED
    made.ask("reset")
    assert any("contactor-stuck" in reason for reason in made.start().reasons)


def test_a_safe_state_that_is_not_confirmed_is_sent_again_and_told() -> None:
    made = Bench(fitted_setup(), deaf={"fan", "contactor"})
    made.start_service()
    assert len(switches(made, "fan")) > 3
    assert made.alarm("fan/switch-failed") is AlarmState.NORMAL
    made.run(3.0)
    assert made.alarm("fan/switch-failed") is AlarmState.UNACKNOWLEDGED
    assert made.alarm("contactor/urgent-switch-failed") is AlarmState.UNACKNOWLEDGED
    made.deaf = set()
    made.run(1.0)
    assert made.alarm("fan/switch-failed") is AlarmState.RETURNED_UNACKNOWLEDGED
    sent = len(switches(made, "fan"))
    made.run(5.0)
    assert len(switches(made, "fan")) == sent


def test_a_late_word_on_an_older_command_confirms_nothing() -> None:
    made = bench()
    opened = next(action for action in made.named(Switch) if action.output == "contactor")
    made.deaf = {"contactor"}
    made.start()
    before = made.line.state.outputs
    for number in (opened.number, made.line.state.actions + 1):
        made.give(made.switched(replace(opened, number=number)))
    assert made.line.state.outputs == before


def test_at_the_end_the_contactor_waits_for_the_proof_and_what_harms_nobody_does_not() -> None:
    made = bench().running()
    step = made.give(Ending(made.at))
    assert of_kind(step, SwitchOff)
    assert [action.output for action in of_kind(step, Switch)] == ["fan"]
    made.run(1.0)
    assert switches(made)[-1] is False


def test_off_asked_for_opens_the_contactor_of_an_idle_supply_too() -> None:
    made = bench()
    sent = len(switches(made))
    made.ask("off")
    assert switches(made)[sent:] == [False]


def test_while_only_watching_safe_states_are_sent_once() -> None:
    made = Bench(fitted_setup(), deaf={"fan", "contactor"})
    made.start_service(watch_only=True)
    made.run(5.0)
    assert (switches(made), switches(made, "fan")) == ([False], [True])


def test_a_late_word_on_an_earlier_closing_switches_nothing_on() -> None:
    made = Bench(fitted_setup(auxiliary=False))
    made.start_service()
    made.start()
    earlier = next(action for action in made.named(Switch) if action.on and action.output == "contactor")
    made.ask("hold")
    made.run(3.0)
    made.deaf, came_on = {"contactor"}, len(made.named(SwitchOn))
    assert made.ask("restart").ok
    made.give(made.switched(earlier))
    assert len(made.named(SwitchOn)) == came_on
    made.give(made.switched(made.named(Switch)[-1]))
    assert len(made.named(SwitchOn)) == came_on + 1


def test_a_word_on_any_sending_of_one_opening_confirms_it_and_one_on_an_earlier_opening_does_not() -> None:
    made = bench()
    made.running()
    earlier = next(action for action in made.named(Switch) if action.output == "contactor")
    made.deaf = {"contactor"}
    made.ask("stop")
    made.run(1.0)
    opening = next(action for action in made.named(Switch)[::-1] if action.output == "contactor")
    made.run(1.0)
    made.give(made.switched(earlier))
    assert made.line.state.outputs["contactor"].confirmed_s is None
    made.give(made.switched(opening))
    assert made.line.state.outputs["contactor"].confirmed_s is not None


def test_a_command_that_failed_confirms_nothing() -> None:
    made = Bench(fitted_setup(auxiliary=False))
    made.start_service()
    made.deaf = {"contactor"}
    made.start()
    made.give(made.switched(made.named(Switch)[-1], ok=False))
    assert not made.named(SwitchOn)


def test_a_contactor_seen_closed_after_its_time_is_too_late() -> None:
    made = closing()
    made.silent = {"main", "relays"}
    made.run(1.9)
    made.later(0.2)
    step = made.contact(closed=True)
    assert not of_kind(step, SwitchOn)
    assert made.operation().why == "contactor-failed"


def test_the_line_asks_to_be_woken_when_a_contactor_should_have_closed() -> None:
    made = bench()
    made.silent, began_s = {"relays"}, made.now_s
    made.start()
    made.later(0.1)
    assert made.wake_up().wake.wire_s == pytest.approx(began_s + CLOSES_WITHIN_S)


def test_a_contact_that_still_shows_open_while_the_contactor_closes_is_waited_for() -> None:
    made = closing()
    for _ in range(3):
        made.later(0.3)
        made.contact(closed=False)
    assert made.stands() is State.RUNNING
    made.later(0.3)
    assert of_kind(made.contact(closed=True), SwitchOn)


def test_a_good_contact_followed_by_a_bad_one_before_the_confirmation_proves_nothing() -> None:
    made = bench()
    made.deaf = {"contactor"}
    made.start()
    closed_s = made.now_s
    made.later(0.1)
    made.contact(closed=True)
    made.later(0.1)
    made.contact(closed=True, quality=Quality.NO_ANSWER)
    number = made.named(Switch)[-1].number
    step = made.give(Switched(made.at, "contactor", True, number, True, closed_s, closed_s))
    assert not of_kind(step, SwitchOn)


def test_a_contact_that_is_still_closed_right_after_the_opening_is_not_stuck_yet() -> None:
    made = bench().running()
    made.stuck, made.silent = {"contactor"}, {"relays"}
    made.ask("stop")
    made.run(0.8)
    opened_s = made.line.state.outputs["contactor"].confirmed_s
    assert opened_s is not None
    made.now_s = opened_s + STUCK_AFTER_S
    made.contact(closed=True)
    assert made.alarm("contactor/contactor-stuck") is AlarmState.NORMAL
    made.later(0.1)
    made.contact(closed=True)
    assert made.alarm("contactor/contactor-stuck") is AlarmState.UNACKNOWLEDGED


def test_alarms_of_contactors_and_devices_outlive_a_restart_of_the_supervisor() -> None:
    made = bench().running()
    made.stuck, made.board_began_s = {"contactor"}, made.now_s
    made.run(3.0)
    made.stuck, made.shut["contactor"] = set(), False
    made.run(1.0)
    made.start_service()
    for name in ("contactor/contactor-stuck", "board/heartbeat-lost"):
        assert made.alarm(name) is AlarmState.LATCHED_UNACKNOWLEDGED


def heated() -> Bench:
    """With a heater beside the contactor and the fan."""
    plain = fitted_setup()
    heater = OutputSetup("heater", "heater", safe_on=False, device="board", point="heater")
    return Bench(replace(plain, outputs={**plain.outputs, "heater": heater}))


def test_a_heater_that_does_not_confirm_its_safe_state_is_told_with_more_weight() -> None:
    made = heated()
    made.deaf = {"heater"}
    made.start_service()
    made.run(3.0)
    assert made.alarm("heater/urgent-switch-failed") is AlarmState.UNACKNOWLEDGED


def test_off_for_all_says_off_to_the_heater_again_and_off_for_one_supply_does_not() -> None:
    made = heated()
    made.start_service()
    made.ask("off", supply="main")
    assert switches(made, "heater") == [False]
    made.ask("off")
    assert switches(made, "heater") == [False, False]
