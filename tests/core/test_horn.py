"""The horn: heard while nobody has answered, silent until something newer, and three times at the end of a load."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from supervisor.core.alarms import AlarmState
from supervisor.core.anodize import State
from supervisor.core.events import RequestKind
from supervisor.core.signs import THREE_TIMES_S, Sound
from tests.core.annunciated import GOOD_C, HOT_C, WARM_C, Panel, annunciated_setup, panel
from tests.core.kit import Bench

MEDIUM, HIGH = "main-acid/bath-high", "main-acid/bath-high-high"


# -- the horn


def test_the_horn_is_heard_only_while_nobody_has_answered() -> None:
    made = panel()
    assert made.sounds_in(20.0) == 0
    made.bath(HOT_C)
    made.ask("alarm acknowledge", alarm=MEDIUM)
    assert made.sounds_in(10.0) == 5
    made.ask("alarm acknowledge", alarm=HIGH)
    assert not made.is_on("horn")
    assert made.sounds_in(30.0) == 0


def test_a_medium_alarm_is_heard_for_one_second_in_ten() -> None:
    made = panel()
    made.bath(WARM_C, 14.0)  # its first sound is over
    changes = made.told_in("horn", 60.0)
    on_s = [at_s for at_s, on in changes if on]
    off_s = [at_s for at_s, on in changes if not on]
    assert [round(after - before, 2) for before, after in pairwise(on_s)] == [10.0] * (len(on_s) - 1)
    assert len(on_s) == 6
    assert {round(min(abs(off - on) for on in on_s), 2) for off in off_s} == {1.0}


def test_a_low_alarm_is_seen_and_not_heard() -> None:
    made = panel()
    made.pressed = {"test-button"}
    made.run(40.0)
    assert made.alarm("test-button/button-held") is AlarmState.UNACKNOWLEDGED
    assert made.flashes("yellow")
    assert made.sounds_in(30.0) == 0


def test_an_alarm_is_heard_at_once_and_not_at_the_end_of_another_ones_pause() -> None:
    made = panel()
    made.bath(WARM_C)
    while made.is_on("horn") or made.told("horn")[-1][0] > made.now_s - 3.0:
        made.run(0.5)
    made.silent = {"main"}
    before = len(made.told("horn"))
    made.run(3.5)  # supply-absent: medium as well
    assert made.alarm("main/supply-absent") is AlarmState.UNACKNOWLEDGED
    assert made.told("horn")[before][1]


def test_silence_stops_the_horn_at_once_and_no_lamp() -> None:
    made = panel()
    made.bath(HOT_C)
    while not made.is_on("horn"):
        made.run(0.1)
    assert made.ask("alarm silence").ok
    assert not made.is_on("horn")
    assert made.sounds_in(60.0) == 0
    assert made.flashes("red")


def test_silence_ends_with_a_newer_alarm() -> None:
    made = panel()
    made.bath(WARM_C)
    made.ask("alarm silence")
    assert made.sounds_in(30.0) == 0
    made.bath(HOT_C, 3.0)
    assert made.sounds_in(10.0) > 0


def test_silence_ends_when_the_same_alarm_comes_anew() -> None:
    made = panel()
    made.bath(WARM_C)
    made.ask("alarm silence")
    made.bath(GOOD_C, 45.0)
    assert made.alarm(MEDIUM) is AlarmState.RETURNED_UNACKNOWLEDGED
    assert made.sounds_in(15.0) == 0
    made.bath(WARM_C)
    assert made.sounds_in(15.0) > 0


def test_silence_ends_when_an_alarm_is_told_again() -> None:
    setup = annunciated_setup()
    made = Panel(replace(setup, alarms=replace(setup.alarms, again_medium_s=60.0)))
    made.start_service()
    made.bath(WARM_C)
    made.ask("alarm silence")
    made.ask("alarm acknowledge", alarm=MEDIUM)
    assert made.sounds_in(55.0) == 0
    assert made.sounds_in(15.0) > 0


def test_silence_ends_when_off_is_not_proven_though_that_is_folded() -> None:
    made = panel()
    made.running(target_um=20.0)
    made.silent = {"main"}
    while made.alarm("main/supply-silent") is AlarmState.NORMAL:
        made.run(0.1)
    made.ask("alarm silence")
    assert made.alarm("main/off-not-proven") is AlarmState.NORMAL
    made.run(2.0)
    assert made.line.state.alarms["main/off-not-proven"].under == "main/supply-silent"
    assert made.sounds_in(10.0) > 0


def test_silence_outlives_a_restart_of_the_service() -> None:
    made = panel()
    made.bath(WARM_C)
    made.ask("alarm silence")
    made.restart_service()
    assert made.sounds_in(30.0) == 0


def test_what_nobody_answered_is_heard_again_after_a_restart_of_the_service() -> None:
    made = panel()
    made.bath(WARM_C)
    made.restart_service()
    assert made.sounds_in(10.0) > 0


def test_a_consequence_folded_under_an_answered_head_is_not_heard() -> None:
    made = panel()
    made.silent = {"board"}
    made.run(3.0)
    made.ask("alarm acknowledge", alarm="board/heartbeat-lost")
    made.silent = {"board", "main-acid"}
    assert made.sounds_in(10.0) == 0
    consequence = made.line.state.alarms["main-acid/temperature-lost"]
    assert (consequence.under, consequence.state) == ("board/heartbeat-lost", AlarmState.UNACKNOWLEDGED)


def test_what_is_shelved_is_neither_seen_nor_heard_until_it_is_shown_again() -> None:
    made = panel()
    made.bath(WARM_C)
    assert made.ask("alarm shelve", alarm=MEDIUM, for_s=100.0, why="probe being changed").ok
    assert made.sounds_in(50.0) == 0
    assert made.dark("yellow")
    made.run(60.0)
    assert made.sounds_in(15.0) > 0


# -- the end of a load


def complete(made: Panel) -> None:
    """A load that reaches its target, up to the moment at which off is proven."""
    made.start(target_um=1.0)
    while made.stands() is not State.COMPLETE:
        made.run(0.4)


def test_a_complete_load_is_sounded_three_times_once_and_flashes_blue_until_it_is_reset() -> None:
    made = panel()
    before = len(made.told("horn"))
    complete(made)
    made.run(THREE_TIMES_S + 60.0)
    changes = made.told("horn")[before:]
    assert [on for _, on in changes] == [True, False] * 3
    assert {round(after[0] - one[0], 2) for one, after in pairwise(changes)} == {1.0}
    assert made.flashes("blue")
    made.ask("reset")
    assert made.dark("blue")


def test_a_complete_load_is_not_sounded_again_after_a_restart_of_the_service() -> None:
    made = panel()
    complete(made)
    made.run(2.5)
    made.restart_service()
    assert made.stands() is State.COMPLETE
    assert made.sounds_in(30.0) == 0
    assert made.flashes("blue")


def test_a_complete_load_in_a_record_that_knows_no_horn_is_not_sounded() -> None:
    first = Bench().running(target_um=1.0)
    while first.stands() is not State.COMPLETE:
        first.run(0.4)
    made = Panel(annunciated_setup(), state=first.line.state, now_s=first.now_s)
    made.restart_service()
    assert made.stands() is State.COMPLETE
    assert made.sounds_in(30.0) == 0


@pytest.mark.parametrize("what", ["alarm silence", "reset"])
def test_a_person_who_comes_ends_the_three_sounds(what: RequestKind) -> None:
    made = panel()
    complete(made)
    made.run(0.5)
    assert made.is_on("horn")
    made.ask(what)
    assert not made.is_on("horn")
    assert made.sounds_in(20.0) == 0


def test_an_alarm_of_high_priority_is_heard_before_the_end_of_a_load() -> None:
    made = panel()
    complete(made)
    made.bath(HOT_C, 2.0)
    assert made.line.state.annunciator.sound is Sound.URGENT
    assert made.sounds_in(20.0) == 10
