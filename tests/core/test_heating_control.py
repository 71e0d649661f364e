"""Heating under way: two positions with least times, its words on the wire, and nobody there."""

from __future__ import annotations

from dataclasses import replace

import pytest

from supervisor.core.actions import Switch
from supervisor.core.alarms import AlarmState
from supervisor.core.events import Quality, Started, Switched
from supervisor.core.setup import HeartbeatSetup
from supervisor.core.switches import SAFE_WITHIN_S
from supervisor.core.two_position import tell
from supervisor.core.work import Work
from tests.core.heated import HeatedBench, bench, heated_setup, seal, watched

# -- two positions


def test_it_is_off_above_the_band_and_on_again_below_it() -> None:
    made = bench().heating()
    for temperature_c, on in ((90.9, True), (91.1, False), (89.1, False), (88.9, True)):
        seal(made, temperature_c)
        made.run(31.0)
        assert made.on("seal-heater") is on, temperature_c


def test_it_stays_on_for_its_least_time_above_the_band_and_off_for_its_least_time_below() -> None:
    made = bench().ready()
    made.heat()
    seal(made, 91.5)
    made.run(19.0)
    assert made.on("seal-heater")
    made.run(1.5)
    assert not made.on("seal-heater")
    seal(made, 80.0)
    made.run(28.0)
    assert not made.on("seal-heater")
    made.run(2.0)
    assert made.on("seal-heater")


def test_the_end_of_a_least_time_an_on_without_answer_and_the_end_of_attendance_wake_the_line() -> None:
    made = bench(attended_s=60.0).ready()
    made.deaf = {"seal-heater"}
    made.heat()
    wake = made.line._wakes["bath seal"]
    assert (wake.process_s, wake.wire_s) == (made.now_s + 20.0, made.now_s + SAFE_WITHIN_S)
    made.later(SAFE_WITHIN_S)
    made.wake_up()
    assert not made.on("seal-heater")
    made = bench(attended_s=60.0).ready()
    made.heat()
    asked_s = made.now_s
    made.run(25.0)
    assert made.line._wakes["bath seal"].process_s == asked_s + 60.0


def test_a_bath_at_its_upper_limit_has_the_heater_off_whatever_the_least_time() -> None:
    made = bench().ready()
    made.heat()
    seal(made, 97.0)
    assert not made.on("seal-heater")
    assert made.demanded


def test_a_temperature_that_is_not_good_has_the_heater_off_at_once() -> None:
    made = bench().ready()
    made.heat()
    made.temperature(None, tank="seal", quality=Quality.MALFORMED)
    assert not made.on("seal-heater")
    made.run(28.0)
    assert not made.on("seal-heater")
    made.run(3.0)
    assert made.on("seal-heater")


def test_a_level_that_opens_has_the_heater_off_before_its_alarm_is_told() -> None:
    made = bench().heating()
    made.level = False
    made.later(0.1)
    made.scan()
    assert not made.on("seal-heater")
    assert made.alarm("seal-level/level-low") is AlarmState.NORMAL


def test_a_level_that_stays_low_ends_the_demand() -> None:
    made = bench().heating()
    made.level = False
    made.run(6.0)
    assert made.alarm("seal-level/level-low") is AlarmState.UNACKNOWLEDGED
    made.level = True
    made.run(2.0)
    (reason,) = made.heat().reasons
    assert reason == "no trip: seal-level/level-low waits for a reset (alarms reset seal-level/level-low)."
    assert made.ask("alarm reset", alarm="seal-level/level-low").ok
    made.run(60.0)
    assert not made.on("seal-heater")
    assert made.heat().ok


# -- on the wire


def test_an_on_that_is_not_confirmed_is_told_off_and_tried_again_later() -> None:
    made = bench().ready()
    made.deaf = {"seal-heater"}
    made.heat()
    made.run(SAFE_WITHIN_S - 0.5)
    assert made.told("seal-heater")[-1] is True
    made.run(1.0)
    assert made.told("seal-heater")[-1] is False
    made.deaf = set()
    made.run(32.0)
    assert made.told("seal-heater")[-1] is True
    assert made.told("seal-heater").count(True) == 2


def test_an_off_that_is_not_confirmed_is_told() -> None:
    made = bench().heating()
    made.deaf = {"seal-heater"}
    made.ask("rest", tank="seal")
    made.run(SAFE_WITHIN_S + 0.5)
    assert made.alarm("seal-heater/urgent-switch-failed") is AlarmState.UNACKNOWLEDGED


def test_a_word_on_an_earlier_on_confirms_nothing_after_an_off() -> None:
    made = bench().heating()
    on = made.named(Switch)[-1]
    made.deaf = {"seal-heater"}
    made.ask("rest", tank="seal")
    made.give(Switched(made.at, "seal-heater", True, on.number, True, made.now_s, made.now_s))
    assert made.line.state.outputs["seal-heater"].confirmed_s is None
    assert not made.on("seal-heater")


def boarded() -> HeatedBench:
    """The heater hangs on a board with a heartbeat."""
    setup = heated_setup()
    board = replace(setup.outputs["seal-heater"], device="board")
    beat = replace(setup.channels["seal-level"], name="board-heartbeat", device="board", unit="s", high=1e9)
    beating = replace(
        setup,
        outputs={**setup.outputs, "seal-heater": board},
        channels={**setup.channels, "board-heartbeat": beat},
        heartbeats={"board": HeartbeatSetup("board", "board-heartbeat", 3.0, ())},
    )
    return HeatedBench(beating).heating()


@pytest.mark.parametrize("resting", [False, True])
def test_a_heater_whose_board_began_anew_waits_for_a_person(resting: bool) -> None:
    made = boarded()
    if resting:
        seal(made, 92.0)
        made.run(30.0)
    made.board_began_s = made.now_s
    made.run(1.0)
    assert not made.demanded
    made.bath_c["seal"] = 20.0
    made.run(60.0)
    assert not made.on("seal-heater")
    assert made.alarm("board/heartbeat-lost") is not AlarmState.NORMAL


def test_a_heater_whose_board_is_silent_is_told_off() -> None:
    made = boarded()
    made.silent = {"board"}
    made.run(4.0)
    assert not made.on("seal-heater")
    assert not made.demanded


def test_a_tank_whose_heaters_device_is_not_heard_is_not_heated() -> None:
    made = HeatedBench(watched(heated_setup(), "relays", "air")).ready()
    (reason,) = made.heat().reasons
    assert reason.startswith("no trip: relays/communication-lost stands.")


def test_a_heater_switched_by_anything_but_its_control_is_no_longer_heated() -> None:
    made = bench().heating()
    work = Work(made.setup, made.line.state, made.at)
    tell(work, "seal-heater", on=False)
    made.line.state = work.state
    made.run(60.0)
    assert not made.demanded


def test_a_device_that_shows_the_level_and_is_lost_ends_the_demand() -> None:
    made = HeatedBench(watched(heated_setup(), "inputs", "seal-level"))
    made.heating()
    made.silent = {"inputs"}
    made.run(6.0)
    assert made.alarm("seal-level/level-low") is AlarmState.NORMAL
    assert made.alarm("inputs/communication-lost") is AlarmState.UNACKNOWLEDGED
    made.silent = set()
    made.run(60.0)
    assert not made.demanded
    assert not made.on("seal-heater")


# -- nobody there


def test_nothing_heats_for_longer_than_somebody_was_there() -> None:
    made = bench(attended_s=60.0).heating()
    made.run(58.0)
    assert made.on("seal-heater")
    made.run(2.0)
    assert not made.on("seal-heater")
    assert not made.demanded
    assert made.alarm("seal/heating-unattended") is AlarmState.UNACKNOWLEDGED


def test_after_a_start_of_the_service_nothing_was_left_unattended() -> None:
    made = bench(attended_s=60.0).heating()
    made.run(62.0)
    made.give(Started(made.at, "boot", "1", "hash", False))
    assert made.alarm("seal/heating-unattended") is AlarmState.RETURNED_UNACKNOWLEDGED


def test_any_request_shows_that_somebody_is_there() -> None:
    made = bench(attended_s=60.0).heating()
    made.run(50.0)
    made.ask("alarm test")
    made.run(50.0)
    assert made.on("seal-heater")


def test_the_end_of_attendance_wakes_the_line_and_a_person_brings_back_the_alarm_but_not_the_heat() -> None:
    made = bench(attended_s=60.0).heating()
    asked_s = made.now_s - 0.4
    made.run(0.1)
    assert made.wake.process_s is not None
    made.now_s = asked_s + 60.0
    made.wake_up()
    assert not made.on("seal-heater")
    made.ask("alarm acknowledge", alarm="seal/heating-unattended")
    assert made.alarm("seal/heating-unattended") is AlarmState.NORMAL
    made.run(60.0)
    assert not made.on("seal-heater")


def test_a_line_file_that_says_so_heats_unattended() -> None:
    made = bench(attended_s=None).heating()
    for hour in range(1, 9):
        made.now_s += 3600.0
        seal(made, 80.0)
        made.move_float()
        made.run(31.0)
        assert made.demanded, hour
    assert made.alarm("seal/heating-unattended") is AlarmState.NORMAL
