"""Lamps and horn: what each shows by state and priority, and that neither can be the cause of what it shows."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from supervisor.core.actions import Note, Switch
from supervisor.core.alarms import HIDDEN, UNANSWERED, AlarmState, Priority
from supervisor.core.anodize import State
from supervisor.core.events import Ending, Order, RequestKind
from supervisor.core.setup import OutputSetup
from supervisor.core.signs import ASKS, LIGHTS, SOUNDS, TABLE, Beat, Light, Sound
from supervisor.core.state import LineState
from supervisor.core.switches import REFRESHED_S
from supervisor.records import codec
from tests.core.annunciated import GOOD_C, HOT_C, LAMPS, WARM_C, Panel, annunciated_setup, panel
from tests.core.kit import Bench, of_kind

MEDIUM, HIGH = "main-acid/bath-high", "main-acid/bath-high-high"

# -- the table


def test_every_state_of_an_alarm_has_a_row_for_every_priority_and_every_state_of_an_operation_one() -> None:
    assert set(TABLE) == {(state, priority) for state in AlarmState for priority in Priority}
    assert set(ASKS) == set(State)
    assert (set(LIGHTS), set(SOUNDS)) == (set(Light), set(Sound))


def test_what_is_heard_is_unanswered_and_what_is_not_told_is_neither_seen_nor_heard() -> None:
    for (state, _), sign in TABLE.items():
        assert sign.sound is Sound.SILENT or state in UNANSWERED
        assert (sign.light is Light.FLASHING) is (state in UNANSWERED)
        if state in HIDDEN or state is AlarmState.NORMAL:
            assert (sign.light, sign.sound, sign.blue) == (Light.DARK, Sound.SILENT, Light.DARK)


def test_a_higher_priority_is_heard_more_and_seen_redder() -> None:
    high, medium, low = (TABLE[AlarmState.UNACKNOWLEDGED, one] for one in Priority)
    assert high.sound > medium.sound > low.sound
    assert [sign.colour for sign in (high, medium, low)] == ["red", "yellow", "yellow"]


def test_no_pattern_changes_faster_than_once_a_second() -> None:
    for beat in (*LIGHTS.values(), *SOUNDS.values()):
        assert all(part_s == 0 or part_s >= 1.0 for part_s in (beat.on_s, beat.off_s))


def test_an_edge_missed_by_a_hair_has_been_reached() -> None:
    beat = Beat(1.0, 1.0)
    assert not beat.is_on(1.0 - 4e-7)
    assert beat.is_on(2.0 - 4e-7)
    assert beat.next_edge_s(2.0 - 4e-7) == pytest.approx(1.0)
    assert Beat(1.0, 0.0).next_edge_s(0.3) is None


# -- lamps


def test_a_line_that_is_well_shows_green_and_nothing_else_and_wants_no_wake_for_it() -> None:
    made = panel()
    made.run(2.0)
    assert {lamp for lamp in LAMPS if made.shut[lamp]} == {"green"}
    assert all(not made.told_in(lamp, 20.0) for lamp in (*LAMPS, "horn"))
    wake_s = made.line._wakes["outputs"].wire_s
    assert wake_s in {state.sent_wire_s + REFRESHED_S for state in made.line.state.outputs.values()}


@pytest.mark.parametrize(("value_c", "lamp", "other"), [(WARM_C, "yellow", "red"), (HOT_C, "red", "yellow")])
def test_an_alarm_flashes_in_its_colour_while_nobody_answered_and_is_steady_after(
    value_c: float, lamp: str, other: str
) -> None:
    made = panel()
    made.bath(value_c)
    if value_c == HOT_C:  # on its way it was warm
        made.ask("alarm acknowledge", alarm=MEDIUM)
        assert made.steady(other)
    else:
        assert made.dark(other)
    assert made.flashes(lamp)
    assert made.flashes("any")
    made.ask("alarm acknowledge", alarm=HIGH if value_c == HOT_C else MEDIUM)
    assert made.steady(lamp)
    assert made.steady("any")
    assert made.dark("green")


def test_lamps_flash_for_one_second_in_two_of_wire_time() -> None:
    made = panel()
    made.bath(HOT_C)
    changes = made.told_in("red", 20.0)
    pauses = {round(after[0] - before[0], 2) for before, after in pairwise(changes)}
    assert pauses == {1.0}
    assert {on for _, on in changes} == {True, False}


def test_what_waits_for_its_reset_stays_lit_and_asks_for_a_person() -> None:
    made = panel()
    made.bath(HOT_C)
    made.ask("alarm acknowledge", alarm=MEDIUM)
    made.ask("alarm acknowledge", alarm=HIGH)
    assert made.dark("blue")
    made.bath(GOOD_C, 40.0)
    assert made.steady("red")
    assert made.steady("blue")
    made.ask("alarm reset", alarm=HIGH)
    assert made.dark("red")
    assert made.dark("blue")
    assert made.steady("green")


def test_white_is_lit_while_current_may_flow_and_green_while_all_is_well_with_it() -> None:
    made = panel()
    assert made.dark("white")
    made.running(target_um=20.0)
    assert made.steady("white")
    assert made.steady("green")
    made.silent = {"main"}
    made.run(4.0)  # off is commanded and not proven
    assert made.shut["white"]
    assert made.dark("green")


def test_what_is_hidden_is_not_normal() -> None:
    made = panel()
    made.bath(WARM_C)
    made.ask("alarm out of service", alarm=MEDIUM, why="new probe")
    assert made.dark("yellow")
    assert made.dark("green")


def test_a_held_load_and_one_that_was_stopped_ask_for_a_person() -> None:
    made = panel()
    made.running(target_um=20.0)
    assert made.dark("blue")
    made.ask("hold")
    assert made.steady("blue")
    made.ask("stop")
    assert made.stands() is State.STOPPED
    assert made.steady("blue")
    made.ask("reset")
    assert made.dark("blue")


def test_knobs_that_wait_for_hands_flash_blue() -> None:
    made = panel("contactor")
    assert made.ask("start", order=Order(0.013, 20.0), confirmed=True).ok
    made.run(1.0)
    assert made.flashes("blue")
    made.turn(1.9)
    made.ask("confirm")
    assert made.dark("blue")


# -- silence and test as requests


def test_a_test_has_every_lamp_and_the_horn_on_for_three_seconds_and_then_back() -> None:
    made = panel()
    made.run(2.0)
    began_s = made.now_s
    assert made.ask("alarm test").ok
    made.run(2.5)
    assert all(made.shut[output] for output in (*LAMPS, "horn"))
    made.run(1.0)
    assert {output for output in (*LAMPS, "horn") if made.shut[output]} == {"green"}
    ended_s, on = made.told("horn")[-1]
    assert (on, round(ended_s - began_s, 2)) == (False, 3.0)
    assert made.sounds_in(20.0) == 0


def test_silence_ends_a_test_too() -> None:
    made = panel()
    made.ask("alarm test")
    made.run(1.0)
    made.ask("alarm silence")
    assert not made.is_on("horn")


def test_a_line_without_lamps_and_horn_refuses_both_and_says_why() -> None:
    made = Bench()
    made.start_service()
    assert made.ask("alarm silence").reasons == ("outputs: this line has no horn.",)
    assert made.ask("alarm test").reasons == ("outputs: this line has neither lamp nor horn.",)


# -- what never is told


def test_a_supervisor_that_only_watches_leaves_lamps_and_horn_in_their_safe_state() -> None:
    made = Panel(annunciated_setup())
    made.start_service(watch_only=True)
    made.bath(HOT_C, 30.0)
    assert made.alarm(HIGH) is AlarmState.UNACKNOWLEDGED
    assert all(not on for output in (*LAMPS, "horn") for _, on in made.told(output))
    asks: tuple[RequestKind, ...] = ("alarm test", "alarm silence")
    for what in asks:
        assert made.ask(what).reasons[0].startswith("watching only:")


def test_the_last_word_to_lamps_and_horn_is_their_safe_state() -> None:
    made = panel(red=OutputSetup("red", "lamp", safe_on=True, device="panel", point="red", colour="red"))
    made.bath(HOT_C)
    made.give(Ending(made.at))
    made.run(5.0)
    last = {one.output: (one.on, one.safe) for one in made.named(Switch)}
    assert {output: last[output] for output in (*LAMPS, "horn")} == {
        output: (output == "red", True) for output in (*LAMPS, "horn")
    }
    assert made.ask("alarm test").reasons[0].startswith("not ending:")


def test_the_first_word_is_the_safe_state_and_nothing_else_is_told_until_that_is_confirmed() -> None:
    made = Panel(annunciated_setup())
    made.deaf = {"green", "horn"}
    made.start_service()
    made.bath_c["main-acid"] = HOT_C
    made.run(2.0)
    assert {on for output in ("green", "horn") for _, on in made.told(output)} == {False}
    made.deaf = set()
    made.run(3.0)
    assert made.sounds_in(4.0) > 0


def test_lit_is_on_also_where_the_safe_state_is_on() -> None:
    made = panel(red=OutputSetup("red", "lamp", safe_on=True, device="panel", point="red", colour="red"))
    assert made.told("red")[0][1]
    assert made.dark("red")
    made.bath(HOT_C)
    assert made.flashes("red")


def test_the_dark_part_of_a_pattern_goes_ahead_of_nothing() -> None:
    made = panel()
    made.bath(HOT_C)
    before = len(made.actions)
    made.run(10.0)
    assert not any(one.safe for one in made.actions[before:] if isinstance(one, Switch) and one.output == "red")


def test_a_safe_state_that_is_only_told_again_goes_ahead_of_nothing() -> None:
    made = panel()
    before = len(made.actions)
    made.run(REFRESHED_S + 1.0)
    again = [one for one in made.actions[before:] if isinstance(one, Switch) and not one.on]
    assert {one.output for one in again} >= {"red", "horn", "contactor"}
    assert not any(one.safe for one in again)


def test_a_flood_of_changes_never_tells_a_lamp_faster_than_its_pattern() -> None:
    made = panel()
    for turn in range(40):
        made.bath_c["main-acid"] = HOT_C if turn % 2 else GOOD_C
        made.run(0.3)
        for name in tuple(made.line.state.alarms):
            made.ask("alarm acknowledge", alarm=name)
            made.ask("alarm reset", alarm=name)
    for lamp in LAMPS:
        moments = [at_s for at_s, _ in made.sent(lamp)]
        assert all(after - before >= 0.799 for before, after in pairwise(moments))


# -- a lamp or horn that does not confirm


@pytest.mark.parametrize("output", ["yellow", "any", "horn", "blue", "green"])
def test_an_output_that_confirms_nothing_is_told_of_once_and_does_not_set_itself_off(output: str) -> None:
    made = panel()
    made.run(2.0)
    made.deaf = {output}
    assert made.start(target_um=20.0).ok
    made.ask("hold")
    made.bath(WARM_C, 8.0)  # so that there is something to tell every one of them
    name = f"{output}/switch-failed"
    made.run(120.0)
    alarm = made.line.state.alarms[name]
    assert (alarm.active, alarm.count) == (True, 1)
    for one in tuple(made.line.state.alarms):
        made.ask("alarm acknowledge", alarm=one)
    made.run(120.0)
    alarm = made.line.state.alarms[name]
    assert (alarm.active, alarm.count, alarm.state) == (True, 1, AlarmState.ACKNOWLEDGED)
    assert sum(note.subject == name for note in made.named(Note)) == 2
    made.deaf = set()
    made.run(12.0)
    assert made.alarm(name) is AlarmState.NORMAL


def test_an_output_that_has_failed_is_told_only_every_five_seconds() -> None:
    made = panel()
    made.deaf = {"red"}
    made.bath(HOT_C, 20.0)
    before = len(made.sent("red"))
    made.run(60.0)
    assert len(made.sent("red")) - before <= 13


def test_a_word_that_is_lost_is_repeated_after_a_second() -> None:
    made = panel()
    made.run(2.0)
    made.deaf = {"white"}
    made.start(target_um=20.0)
    made.run(0.4)
    assert made.told("white")[-1][1]
    before = len(made.sent("white"))
    made.run(3.0)
    assert [on for _, on in made.sent("white")[before:]] == [True] * 3
    made.deaf = set()
    made.run(1.0)
    assert made.shut["white"]
    assert made.told_in("white", 10.0) == []


def test_a_panel_that_began_anew_is_told_what_it_must_show() -> None:
    setup = annunciated_setup()
    beats = {"panel": replace(setup.heartbeats["board"], device="panel", channel="board-heartbeat", supplies=())}
    made = Panel(replace(setup, heartbeats=beats))
    made.start_service()
    made.bath(WARM_C)
    made.ask("alarm acknowledge", alarm=MEDIUM)
    assert made.steady("yellow")
    made.shut["yellow"] = False
    made.board_began_s = made.now_s - 0.1
    made.run(1.0)
    assert made.steady("yellow")


# -- records


def test_what_lamps_horn_and_buttons_remember_is_read_back_as_it_was() -> None:
    made = panel()
    made.bath(WARM_C)
    made.press("silence-button")
    made.ask("alarm test")
    state = made.line.state
    assert state.annunciator.silenced
    assert state.annunciator.pressed_s
    assert codec.decode_state(LineState, codec.encode_state(state)) == state


def test_nothing_here_reaches_a_supply() -> None:
    made = panel()
    made.bath(HOT_C)
    step = made.give(made.request("alarm test"))
    assert {one.output for one in of_kind(step, Switch)} <= {*LAMPS, "horn"}
