"""Buttons: what counts as a press, what each does, and that none energises or resets anything."""

from __future__ import annotations

from dataclasses import replace

import pytest

from supervisor.core.actions import Note, SetPoints, Switch, SwitchOff, SwitchOn
from supervisor.core.alarms import AlarmState
from supervisor.core.anodize import State
from supervisor.core.events import Quality
from supervisor.core.tank_setup import HeatingSetup
from tests.core.annunciated import BUTTONS, GOOD_C, HOT_C, LAMPS, WARM_C, Panel, annunciated_setup, panel
from tests.core.kit import of_kind

MEDIUM, HIGH = "main-acid/bath-high", "main-acid/bath-high-high"
HELD = "test-button/button-held"


def presses(made: Panel) -> int:
    """How many presses have counted."""
    return sum(note.subject in BUTTONS for note in made.named(Note))


def sees(made: Panel, *pressed: str, after_s: float = 0.1, quality: Quality = Quality.GOOD) -> None:
    """One reading of the buttons, a little later."""
    made.later(after_s)
    made.pressed = set(pressed)
    made.buttons(quality)


# -- what counts


def test_closed_after_open_is_a_press_and_open_again_is_none() -> None:
    made = panel()
    sees(made, "test-button")
    assert presses(made) == 1
    sees(made)
    assert presses(made) == 1


def test_a_button_that_is_closed_at_the_first_reading_of_a_run_was_not_pressed() -> None:
    made = Panel(annunciated_setup(), pressed={"test-button"})
    made.start_service()
    assert presses(made) == 0
    made.pressed = set()
    made.run(1.0)
    sees(made, "test-button")
    assert presses(made) == 1


def test_a_button_that_is_closed_when_the_service_starts_again_was_not_pressed() -> None:
    made = panel()
    made.pressed = {"test-button"}
    made.restart_service()
    assert presses(made) == 0


def test_a_bounce_is_one_press_and_half_a_second_later_it_is_another() -> None:
    made = panel()
    sees(made, "test-button")
    for _ in range(2):
        sees(made)
        sees(made, "test-button")
    assert presses(made) == 1  # 0.4 s after the first
    sees(made)
    sees(made, "test-button")
    assert presses(made) == 2


def test_a_bounce_of_one_button_is_no_matter_of_another() -> None:
    made = panel()
    sees(made, "test-button")
    sees(made, "silence-button")
    assert presses(made) == 2


def test_a_button_held_does_no_more_than_one_pressed() -> None:
    made = panel()
    made.pressed = {"test-button"}
    made.run(20.0)
    assert presses(made) == 1
    assert made.sounds_in(5.0) == 0  # the test was over after three seconds


def test_a_reading_that_is_not_good_presses_nothing_and_lets_nothing_go() -> None:
    made = panel()
    sees(made, "test-button", quality=Quality.MALFORMED)
    assert presses(made) == 0
    sees(made, "test-button")
    sees(made, quality=Quality.MALFORMED, after_s=1.0)
    sees(made, "test-button", after_s=1.0)
    assert presses(made) == 1


def test_what_closed_while_nobody_could_look_was_not_pressed() -> None:
    made = panel()
    made.silent = {"panel"}
    made.run(3.5)
    sees(made, "test-button")
    assert presses(made) == 0


def test_the_bounce_of_an_earlier_boot_hinders_no_press() -> None:
    made = panel()
    sees(made, "test-button")
    pressed_s = made.now_s
    made.now_s -= 90.0
    made.pressed = set()
    made.restart_service()
    sees(made, "test-button")
    assert made.now_s < pressed_s
    assert presses(made) == 2


# -- held


def test_a_button_held_for_half_a_minute_is_told_and_no_more_when_it_is_let_go() -> None:
    made = panel()
    made.pressed = {"test-button"}
    made.run(29.0)
    assert made.alarm(HELD) is AlarmState.NORMAL
    made.run(2.0)
    assert made.alarm(HELD) is AlarmState.UNACKNOWLEDGED
    made.pressed = set()
    made.run(1.0)
    assert made.alarm(HELD) is AlarmState.RETURNED_UNACKNOWLEDGED


def test_one_let_go_in_between_was_not_held() -> None:
    made = panel()
    made.pressed = {"test-button"}
    made.run(20.0)
    sees(made)
    made.pressed = {"test-button"}
    made.run(20.0)
    assert made.alarm(HELD) is AlarmState.NORMAL


def test_without_good_readings_nothing_begins_to_be_held_and_nothing_ends_to_be() -> None:
    made = panel()
    made.pressed = {"test-button"}
    made.run(10.0)
    made.silent = {"panel"}
    made.run(60.0)
    assert made.alarm(HELD) is AlarmState.NORMAL
    made.silent = set()
    made.run(31.0)
    assert made.alarm(HELD) is AlarmState.UNACKNOWLEDGED
    made.silent, made.pressed = {"panel"}, set()
    made.run(60.0)
    assert made.alarm(HELD) is AlarmState.UNACKNOWLEDGED


def test_a_button_that_was_held_before_a_restart_stays_told_until_it_is_seen_open() -> None:
    made = panel()
    made.pressed = {"test-button"}
    made.run(31.0)
    made.restart_service()
    assert (made.alarm(HELD), made.line.state.alarms[HELD].count) == (AlarmState.UNACKNOWLEDGED, 1)


# -- what each does


def test_the_silence_button_silences_and_acknowledges_nothing() -> None:
    made = panel()
    made.bath(HOT_C)
    made.press("silence-button")
    assert made.sounds_in(20.0) == 0
    assert made.alarm(HIGH) is AlarmState.UNACKNOWLEDGED


def test_the_acknowledge_button_answers_every_alarm_that_is_told_and_silences() -> None:
    made = panel()
    made.bath(HOT_C)
    made.press("acknowledge-button")
    assert (made.alarm(HIGH), made.alarm(MEDIUM)) == (AlarmState.ACKNOWLEDGED, AlarmState.ACKNOWLEDGED)
    assert not made.is_on("horn")


def test_the_acknowledge_button_ends_the_three_sounds_of_a_complete_load() -> None:
    made = panel()
    made.start(target_um=1.0)
    while made.stands() is not State.COMPLETE:
        made.run(0.4)
    made.press("acknowledge-button")
    assert made.sounds_in(20.0) == 0


def test_the_acknowledge_button_resets_nothing() -> None:
    made = panel()
    made.bath(HOT_C)
    made.bath(GOOD_C, 45.0)
    made.press("acknowledge-button")
    assert made.alarm(HIGH) is AlarmState.LATCHED_ACKNOWLEDGED
    assert not made.start().ok


def test_the_acknowledge_button_leaves_what_is_hidden_as_it_is() -> None:
    made = panel()
    made.bath(WARM_C)
    made.ask("alarm shelve", alarm=MEDIUM, for_s=600.0, why="probe being changed")
    made.press("acknowledge-button")
    assert made.alarm(MEDIUM) is AlarmState.SHELVED


def test_the_test_button_tests() -> None:
    made = panel()
    made.run(2.0)
    made.press("test-button")
    made.run(1.0)
    assert all(made.shut[output] for output in (*LAMPS, "horn"))


def test_buttons_acknowledge_and_light_nothing_while_only_watching() -> None:
    made = Panel(annunciated_setup())
    made.start_service(watch_only=True)
    made.bath(HOT_C)
    for name in BUTTONS:
        made.press(name)
    made.run(5.0)
    assert made.alarm(HIGH) is AlarmState.ACKNOWLEDGED
    assert all(not on for output in (*LAMPS, "horn") for _, on in made.told(output))


# -- what none does


@pytest.mark.parametrize("held", [False, True])
def test_no_button_reaches_a_supply_or_anything_but_lamps_and_horn(held: bool) -> None:
    made = panel()
    assert made.start(target_um=20.0).ok
    made.run(12.0)
    if held:
        made.ask("hold")
        made.run(2.0)
    stands, before = made.stands(), len(made.actions)
    for name in BUTTONS:
        made.press(name)
    made.run(0.3)
    since = made.actions[before:]
    assert made.stands() is stands
    assert not [one for one in since if isinstance(one, SwitchOn | SwitchOff | SetPoints)]
    assert {one.output for one in since if isinstance(one, Switch)} <= {*LAMPS, "horn"}


def heated(attended_s: float | None) -> Panel:
    """A panel whose tank has a heater that rests when nobody has been there for so long."""
    setup = annunciated_setup()
    heating = HeatingSetup("fan", 20.0, 1.0, 30.0, 30.0, 0.01, 600.0, "", attended_s)
    tank = replace(setup.tanks["main-acid"], heating=heating)
    made = Panel(replace(setup, tanks={"main-acid": tank}))
    made.start_service()
    return made


def test_a_press_prolongs_an_attendance_that_lasts() -> None:
    made = heated(3600.0)
    made.ask("alarm silence")
    began_s = made.now_s
    made.run(100.0)
    made.press("silence-button")
    attended_s = made.line.state.attended_s
    assert attended_s is not None
    assert attended_s - began_s == pytest.approx(100.1)


def test_a_press_begins_no_attendance_which_could_switch_a_heater_on() -> None:
    made = heated(3600.0)
    made.press("silence-button")
    assert made.line.state.attended_s is None
    made = heated(60.0)
    made.ask("alarm silence")
    began_s = made.now_s
    made.run(61.0)
    made.press("silence-button")
    assert made.line.state.attended_s == began_s


def test_a_press_is_told_with_what_it_did() -> None:
    made = panel()
    step_before = len(made.actions)
    made.press("acknowledge-button")
    (note,) = (one for one in made.actions[step_before:] if isinstance(one, Note))
    assert (note.subject, note.data) == ("acknowledge-button", {"does": "acknowledge"})
    assert not of_kind(made.wake_up(), Note)
