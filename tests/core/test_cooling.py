"""Cooling: by itself within its band, its compressor rested, in its safe state where nobody knows how warm it is."""

from __future__ import annotations

from dataclasses import replace

import pytest

from supervisor.core.actions import Switch
from supervisor.core.alarms import AlarmState
from supervisor.core.events import Ending, Quality, Reading, Scanned
from supervisor.core.switches import SAFE_WITHIN_S
from tests.core.heated import COOLING, HeatedBench, heated_setup
from tests.core.plain import patient


def bench(*, safe_on: bool = False, waits: bool = True) -> HeatedBench:
    """The line with a chiller; where it does not wait, a reading is late as soon as on other lines."""
    setup = patient(heated_setup()) if waits else heated_setup()
    chiller = replace(setup.outputs["chiller"], safe_on=safe_on)
    made = HeatedBench(replace(setup, outputs={**setup.outputs, "chiller": chiller}))
    made.bath_c["main-acid"] = 20.0
    made.start_service()
    return made


def rested(*, waits: bool = True) -> HeatedBench:
    """The compressor's first rest is over."""
    made = bench(waits=waits)
    made.run(240.0)
    assert not made.on("chiller")
    return made


def acid(made: HeatedBench, temperature_c: float) -> None:
    made.bath_c["main-acid"] = temperature_c
    made.later(0.1)
    made.scan()


def test_it_cools_above_the_band_and_rests_below_it_with_nobody_asking() -> None:
    made = rested()
    for temperature_c, on in ((20.4, False), (20.6, True), (19.6, True), (19.4, False)):
        acid(made, temperature_c)
        made.run(241.0)
        assert made.on("chiller") is on, temperature_c


def test_a_compressor_rests_after_the_start_of_the_service_too() -> None:
    made = bench()
    acid(made, 21.5)
    made.run(236.0)
    assert not made.on("chiller")
    made.run(3.0)
    assert made.on("chiller")


def test_a_compressor_rests_between_two_starts_whoever_stopped_it() -> None:
    made = rested()
    acid(made, 21.0)
    made.run(60.0)
    acid(made, 19.0)
    assert not made.on("chiller")
    acid(made, 21.0)
    made.run(238.0)
    assert not made.on("chiller")
    made.run(3.0)
    assert made.on("chiller")


def test_it_runs_for_its_least_time() -> None:
    made = rested()
    acid(made, 21.0)
    acid(made, 19.0)
    made.run(58.0)
    assert made.on("chiller")
    made.run(3.0)
    assert not made.on("chiller")


def test_one_bad_reading_changes_nothing_and_a_lost_temperature_brings_its_safe_state_at_once() -> None:
    made = rested(waits=False)
    acid(made, 21.0)
    made.temperature(None, quality=Quality.MALFORMED)
    assert made.on("chiller")
    made.silent = {"main-acid"}
    made.run(3.1)
    assert made.alarm("main-acid/temperature-lost") is AlarmState.UNACKNOWLEDGED
    assert not made.on("chiller")


def test_one_that_is_on_in_its_safe_state_cools_where_nobody_knows_how_warm_it_is() -> None:
    made = bench(safe_on=True, waits=False)
    made.run(60.0)
    acid(made, 19.0)
    assert not made.on("chiller")
    made.silent = {"main-acid"}
    made.run(3.1)
    assert made.on("chiller")


@pytest.mark.parametrize("safe_on", [False, True])
def test_while_only_watching_it_is_told_its_safe_state_and_nothing_else(safe_on: bool) -> None:
    setup = heated_setup()
    chiller = replace(setup.outputs["chiller"], safe_on=safe_on)
    made = HeatedBench(replace(setup, outputs={**setup.outputs, "chiller": chiller}))
    made.bath_c["main-acid"] = 19.0 if safe_on else 21.5
    made.start_service(watch_only=True)
    made.run(300.0)
    assert made.told("chiller") == [safe_on]


def test_once_told_to_end_its_safe_state_is_its_last_word() -> None:
    made = rested()
    acid(made, 21.0)
    made.give(Ending(made.at))
    made.run(300.0)
    assert made.told("chiller")[-1] is False


def test_an_on_that_is_not_confirmed_is_sent_again_and_not_all_the_time() -> None:
    made = rested()
    made.deaf = {"chiller"}
    acid(made, 21.0)
    before = made.told("chiller").count(True)
    made.run(4 * SAFE_WITHIN_S + 0.5)
    assert made.told("chiller").count(True) - before == 4
    first, second = [action.decided_wire_s for action in made.named(Switch)][-2:]
    assert second - first >= SAFE_WITHIN_S


def test_a_compressor_that_runs_is_not_told_again() -> None:
    made = rested()
    acid(made, 21.0)
    made.run(120.0)
    assert made.told("chiller").count(True) == 1


def test_a_bath_that_does_not_fall_under_its_cooling_is_told() -> None:
    made = rested()
    acid(made, 21.0)
    made.run(898.0)
    assert made.alarm("main-acid/no-fall") is AlarmState.NORMAL
    made.run(6.0)
    assert made.alarm("main-acid/no-fall") is AlarmState.UNACKNOWLEDGED
    assert made.on("chiller")
    acid(made, 20.6)
    assert made.alarm("main-acid/no-fall") is AlarmState.RETURNED_UNACKNOWLEDGED


def test_a_fall_is_one_from_the_warmest_since_the_last() -> None:
    made = rested()
    acid(made, 21.0)
    made.run(400.0)
    acid(made, 22.0)
    made.run(400.0)
    acid(made, 21.6)
    made.run(400.0)
    assert made.alarm("main-acid/no-fall") is AlarmState.NORMAL


def test_the_end_of_a_rest_and_of_the_time_to_fall_wake_the_line() -> None:
    made = bench()
    acid(made, 21.0)
    assert made.line._wakes["bath main-acid"].process_s == pytest.approx(100.0 + 240.0)
    made.run(240.0)
    on_s = next(action.decided_wire_s for action in made.named(Switch) if action.output == "chiller" and action.on)
    assert made.line._wakes["bath main-acid"].process_s == pytest.approx(on_s + 60.0)
    made.run(60.0)
    assert made.line._wakes["bath main-acid"].process_s == pytest.approx(on_s + 900.0, abs=2.5)


def test_a_reading_that_wavers_is_no_fall() -> None:
    made = rested()
    acid(made, 21.0)
    made.scan_s = 6.0
    for number in range(151):
        made.bath_c["main-acid"] = 21.0 + 0.1 * (number % 3)
        made.run(6.0)
    assert made.alarm("main-acid/no-fall") is AlarmState.UNACKNOWLEDGED


def test_a_bath_that_falls_slowly_is_not_told() -> None:
    made = rested()
    acid(made, 21.5)
    made.scan_s = 6.0
    for number in range(150):
        made.bath_c["main-acid"] = 21.5 - 0.0005 * 6.0 * number
        made.run(6.0)
    assert made.on("chiller")
    assert made.alarm("main-acid/no-fall") is AlarmState.NORMAL


def test_the_time_begins_anew_whenever_the_cooling_comes_on() -> None:
    made = rested()
    for _ in range(2):
        acid(made, 20.6)
        made.run(600.0)
        acid(made, 19.4)
        made.run(241.0)
    assert made.alarm("main-acid/no-fall") is AlarmState.NORMAL


def test_cooling_that_is_off_is_not_told_for_want_of_a_fall() -> None:
    made = rested()
    acid(made, 21.0)
    made.run(60.0)
    made.silent = {"main-acid"}
    made.run(1000.0)
    assert not made.on("chiller")
    assert made.alarm("main-acid/no-fall") is AlarmState.NORMAL


def test_a_temperature_that_is_lost_does_not_clear_that_the_bath_does_not_fall() -> None:
    made = HeatedBench(heated_setup(cooling=replace(COOLING, fall_within_s=100.0))).ready()
    made.bath_c["main-acid"] = 21.5
    made.run(400.0)
    made.ask("alarm acknowledge", alarm="main-acid/no-fall")
    made.silent = {"main-acid"}
    for _ in range(4):
        made.run(1.0)
        reading = Reading("main-acid-temperature", Quality.MALFORMED, None)
        made.give(Scanned(made.at, "thermometer", made.now_s, made.now_s, (reading,)))
    assert not made.on("chiller")
    assert made.alarm("main-acid/no-fall") is AlarmState.ACKNOWLEDGED
