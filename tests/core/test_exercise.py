"""Outputs tried out: only while only watching, for a moment, and safe again whatever happens."""

from __future__ import annotations

from dataclasses import replace

import pytest

from supervisor.core.actions import Switch
from supervisor.core.events import Ending, Quality, Reading, Scanned, Started
from supervisor.core.exercise import LONGEST_S
from tests.core.kit import Bench, of_kind
from tests.core.plain import fitted_setup


def watching(control: str = "remote") -> Bench:
    made = Bench(fitted_setup(control))
    made.start_service(watch_only=True)
    return made


def told(made: Bench, output: str) -> list[bool]:
    return [action.on for action in made.named(Switch) if action.output == output]


def test_an_output_leaves_its_safe_state_and_is_back_within_two_seconds_by_itself() -> None:
    made = watching()
    began_s = made.now_s
    assert made.ask("exercise", output="fan").ok
    assert told(made, "fan") == [True, False]
    made.run(2.0)
    back = made.named(Switch)[-1]
    assert (back.output, back.on, back.safe) == ("fan", True, True)
    assert back.decided_wire_s - began_s <= 2.0
    assert made.line.state.exercise is None


def test_a_release_brings_it_back_at_once() -> None:
    made = watching()
    made.ask("exercise", output="fan")
    made.ask("release", output="fan")
    assert told(made, "fan") == [True, False, True]


def test_a_release_of_another_output_changes_nothing() -> None:
    made = watching()
    made.ask("exercise", output="fan")
    made.ask("release", output="contactor")
    assert told(made, "fan") == [True, False]


def test_the_end_of_the_supervisor_brings_it_back_first() -> None:
    made = watching()
    made.ask("exercise", output="fan")
    step = made.give(Ending(made.at))
    assert [(action.output, action.on) for action in of_kind(step, Switch)] == [("fan", True)]


def test_the_way_back_is_sent_until_it_is_confirmed() -> None:
    made = watching()
    made.ask("exercise", output="fan")
    made.deaf = {"fan"}
    made.run(4.0)
    assert told(made, "fan").count(True) > 4
    made.deaf = set()
    made.run(1.0)
    sent = len(told(made, "fan"))
    made.run(3.0)
    assert len(told(made, "fan")) == sent


def test_nothing_is_exercised_by_a_supervisor_that_may_switch_on() -> None:
    made = Bench(fitted_setup())
    made.start_service()
    answer = made.ask("exercise", output="fan")
    assert any(reason.startswith("watching only:") for reason in answer.reasons)
    assert told(made, "fan") == [True]


@pytest.mark.parametrize(
    ("output", "why"), [("main-output", "is a supply output, which is never"), ("fun", "is no output")]
)
def test_a_supply_output_is_never_exercised_nor_what_is_not_there(output: str, why: str) -> None:
    made = watching()
    (reason,) = made.ask("exercise", output=output).reasons
    assert why in reason


def test_one_at_a_time_and_every_reason_is_told() -> None:
    made = watching()
    made.ask("exercise", output="fan")
    made.turn(2.0)
    made.current(2.0)
    reasons = made.ask("exercise", output="contactor").reasons
    assert [reason.partition(":")[0] for reason in reasons] == ["one at a time", "off proven", "nothing unasked"]


def test_a_contactor_is_exercised_only_with_its_supply_proven_off_by_fresh_readings() -> None:
    made = watching()
    made.silent = {"main"}
    made.run(4.0)
    assert any(reason.startswith("off proven:") for reason in made.ask("exercise", output="contactor").reasons)
    made.silent = set()
    made.run(2.0)
    assert made.ask("exercise", output="contactor").ok
    assert made.shut["contactor"]
    made.run(2.0)
    assert not made.shut["contactor"]


def says(made: Bench, on: float, quality: Quality = Quality.GOOD) -> None:
    """The supply's word on its output, alone as a text device gives it; nothing flows through the open contactor."""
    made.later(0.1)
    supply = made.setup.supplies["main"]
    reading = Reading(supply.output_state, quality, on if quality is Quality.GOOD else None)
    made.give(Scanned(made.at, supply.device, made.now_s, made.now_s, (reading,)))


def test_a_contactor_is_not_closed_onto_a_supply_that_says_it_is_on() -> None:
    made = watching()
    says(made, 1.0)
    for _ in range(4):
        made.current(0.0)
    assert made.supply().output.proven_off
    reasons = made.ask("exercise", output="contactor").reasons
    assert [reason.partition(":")[0] for reason in reasons] == ["off proven", "nothing unasked"]
    assert True not in told(made, "contactor")


def test_after_a_supply_was_on_unasked_a_person_resets_before_its_contactor_is_closed() -> None:
    made = watching()
    says(made, 1.0)
    made.run(4.0)
    (reason,) = made.ask("exercise", output="contactor").reasons
    assert reason.startswith("nothing unasked:")
    assert made.ask("alarm reset", alarm="main/current-without-operation").ok
    assert made.ask("exercise", output="contactor").ok


@pytest.mark.parametrize(("on", "quality"), [(1.0, Quality.GOOD), (0.0, Quality.NO_ANSWER)])
def test_a_contactor_opens_at_once_where_its_supply_does_not_say_it_is_off(on: float, quality: Quality) -> None:
    made = watching()
    assert made.ask("exercise", output="contactor").ok
    assert told(made, "contactor")[-1] is True
    says(made, on, quality)
    assert told(made, "contactor")[-1] is False


def test_a_contactor_opens_at_once_where_current_flows() -> None:
    made = watching()
    made.ask("exercise", output="contactor")
    made.current(0.2)
    assert told(made, "contactor")[-1] is False


def test_the_contactor_of_a_supply_with_knobs_needs_the_persons_word_that_it_is_switched_off_at_itself() -> None:
    made = watching("contactor")
    (reason,) = made.ask("exercise", output="contactor").reasons
    assert reason.startswith("own switch off:")
    assert made.ask("exercise", output="contactor", confirmed=True).ok


def test_a_repeated_request_does_not_exercise_twice() -> None:
    made = watching()
    request = replace(made.request("exercise"), output="fan")
    made.give(request)
    made.run(2.0)
    sent = len(told(made, "fan"))
    made.give(request)
    assert len(told(made, "fan")) == sent


def test_a_late_word_on_an_earlier_opening_does_not_end_the_repeating_of_the_way_back() -> None:
    made = watching()
    earlier = next(action for action in made.named(Switch) if action.output == "contactor")
    made.ask("exercise", output="contactor")
    made.deaf = {"contactor"}
    made.ask("release", output="contactor")
    made.give(made.switched(earlier))
    sent = len(told(made, "contactor"))
    made.run(2.0)
    assert len(told(made, "contactor")) > sent


def test_the_line_asks_to_be_woken_when_a_trial_is_over() -> None:
    made = watching()
    began_s = made.now_s
    made.ask("exercise", output="fan")
    made.later(0.1)
    assert made.wake_up().wake.wire_s == pytest.approx(began_s + LONGEST_S)


def test_nothing_is_exercised_once_the_supervisor_was_told_to_end() -> None:
    made = watching()
    made.give(Ending(made.at))
    (reason,) = made.ask("exercise", output="fan").reasons
    assert reason.startswith("not ending:")


def test_one_low_current_without_the_proof_of_off_is_not_enough_for_a_contactor() -> None:
    made = Bench(fitted_setup())
    made.give(Started(made.at, "boot", "1", "hash", watch_only=True))
    made.later(0.4)
    made.scan()
    (reason,) = made.ask("exercise", output="contactor").reasons
    assert reason.startswith("off proven:")


def test_a_contactor_opens_at_once_where_nobody_knows_whether_current_flows() -> None:
    made = watching()
    made.ask("exercise", output="contactor")
    made.current(None, quality=Quality.NO_ANSWER)
    assert told(made, "contactor")[-1] is False


def test_no_trial_outlives_a_restart_of_the_supervisor() -> None:
    made = watching()
    made.ask("exercise", output="fan")
    step = made.give(Started(made.at, "boot", "1", "hash", watch_only=False))
    assert ("fan", True) in [(action.output, action.on) for action in of_kind(step, Switch)]
    assert made.line.state.exercise is None
