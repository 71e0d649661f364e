"""R7 and R9: off is proven by good low readings after its confirmation alone, and a bad reading proves nothing."""

from __future__ import annotations

import pytest

from supervisor.core.actions import SwitchOff
from supervisor.core.alarms import AlarmState
from supervisor.core.anodize import State
from supervisor.core.events import Quality, Reading, Scanned, Started
from supervisor.core.interlocks import CAUSES
from supervisor.core.line import Step
from tests.core.kit import Bench, of_kind
from tests.core.plain import fitted_setup, line_setup

BAD = [quality for quality in Quality if quality is not Quality.GOOD]
SOME_BAD = [Quality.LATE, Quality.NO_ANSWER]


def holding() -> Bench:
    """An operation told to hold, with an off confirmed by the device just now."""
    bench = Bench().running()
    bench.ask("hold")
    bench.obeys = False
    assert bench.stands() is State.HOLDING
    return bench


def read(bench: Bench, value: float | None, sent_s: float, received_s: float, quality: Quality = Quality.GOOD) -> Step:
    """A reading of the current with times of its own."""
    reading = Reading("main-current", quality, value)
    return bench.give(Scanned(bench.at, "main-device", sent_s, received_s, (reading,)))


def test_two_good_low_readings_sent_after_the_confirmation_prove_off() -> None:
    bench = holding()
    for state in (State.HOLDING, State.HELD):
        bench.later(0.1)
        bench.current(0.049)
        assert bench.stands() is state
    assert bench.supply().output.proven_off


def test_a_reading_that_left_before_the_confirmation_proves_nothing() -> None:
    bench = holding()
    off_s = bench.now_s
    bench.later(0.1)
    read(bench, 0.0, off_s - 0.001, off_s + 0.05)
    bench.later(0.1)
    bench.current(0.0)
    assert bench.stands() is State.HOLDING


def test_a_current_the_wrong_way_is_no_proof() -> None:
    bench = holding()
    for _ in range(5):
        bench.later(0.1)
        bench.current(-1.0)
    assert bench.stands() is State.HOLDING


def test_a_current_the_wrong_way_after_the_proof_is_current_unasked() -> None:
    bench = Bench()
    bench.start_service()
    step = bench.current(-1.0)
    assert of_kind(step, SwitchOff)
    assert bench.line.state.alarms["main/current-without-operation"].standing


def test_the_same_reading_twice_is_one() -> None:
    bench = holding()
    bench.later(0.1)
    for _ in range(5):
        read(bench, 0.0, bench.now_s, bench.now_s)
    assert bench.stands() is State.HOLDING


@pytest.mark.parametrize("quality", BAD)
def test_bad_readings_prove_nothing_even_with_a_value_left_in_them(quality: Quality) -> None:
    bench = holding()
    for _ in range(5):
        bench.later(0.1)
        bench.current(0.0, quality=quality)
    assert bench.stands() is State.HOLDING


@pytest.mark.parametrize("value", [float("nan"), float("inf"), None])
def test_a_good_reading_without_a_number_proves_nothing(value: float | None) -> None:
    bench = holding()
    for _ in range(5):
        bench.later(0.1)
        bench.current(value)
    assert bench.stands() is State.HOLDING


@pytest.mark.parametrize("quality", SOME_BAD)
def test_a_bad_reading_between_begins_the_proof_anew(quality: Quality) -> None:
    bench = holding()
    for value, kind in ((0.0, Quality.GOOD), (None, quality), (0.0, Quality.GOOD)):
        bench.later(0.1)
        bench.current(value, quality=kind)
    assert bench.stands() is State.HOLDING
    bench.later(0.1)
    bench.current(0.0)
    assert bench.stands() is State.HELD


def test_a_reading_at_the_threshold_begins_the_proof_anew() -> None:
    bench = holding()
    for value in (0.0, 0.05, 0.0):
        bench.later(0.1)
        bench.current(value)
    assert bench.stands() is State.HOLDING


def test_low_readings_prove_nothing_while_no_off_was_confirmed() -> None:
    bench = Bench().running()
    bench.obeys = False
    bench.ask("hold")
    for _ in range(10):
        bench.later(0.1)
        bench.current(0.0)
    assert bench.stands() is State.HOLDING


def test_off_is_sent_again_until_it_is_proven_and_then_no_more() -> None:
    bench = Bench().running()
    bench.drops = SwitchOff
    bench.ask("stop")
    before = len(bench.named(SwitchOff))
    bench.run(5.0)
    again = len(bench.named(SwitchOff)) - before
    assert 18 <= again <= 21  # every 0.25 s
    bench.drops = None
    bench.run(2.0)
    assert bench.stands() is State.STOPPED
    settled = len(bench.named(SwitchOff))
    bench.run(5.0)
    assert len(bench.named(SwitchOff)) == settled


def test_the_highest_alarm_comes_when_the_proof_is_overdue_and_not_before() -> None:
    bench = Bench().running()
    bench.obeys = False
    bench.ask("stop")
    bench.later(0.999)
    bench.wake_up()
    assert bench.alarm("main/off-not-proven") is AlarmState.NORMAL
    bench.later(0.001)
    bench.wake_up()
    assert bench.alarm("main/off-not-proven") is AlarmState.UNACKNOWLEDGED
    assert CAUSES["off-not-proven"].priority == "high"


def test_the_line_asks_to_be_woken_for_the_proof_and_for_every_resend() -> None:
    bench = Bench().running()
    bench.obeys = False
    bench.ask("stop")
    moments = []
    for _ in range(4):
        assert bench.wake.wire_s is not None
        moments.append(round(bench.wake.wire_s - bench.now_s, 6))
        bench.now_s = bench.wake.wire_s
        assert of_kind(bench.wake_up(), SwitchOff)
    assert moments == [0.25] * 4
    assert bench.alarm("main/off-not-proven") is AlarmState.UNACKNOWLEDGED


@pytest.mark.parametrize("cause", ["off-not-proven", "supply-silent", "current-without-operation"])
def test_without_second_means_the_alarm_says_so_and_to_cut_the_mains(cause: str) -> None:
    text = " ".join(CAUSES[cause].told("main", second_means=False))
    assert "No second means" in text
    assert "cut the mains of main by hand" in text
    assert "mains" not in " ".join(CAUSES[cause].told("main", second_means=True))


@pytest.mark.parametrize(("fitted", "told"), [(False, True), (True, False)])
def test_an_overdue_proof_tells_to_cut_the_mains_where_nothing_else_can(fitted: bool, told: bool) -> None:
    bench = Bench(fitted_setup() if fitted else line_setup())
    bench.running()
    bench.silent = {"main"}
    bench.ask("stop")
    bench.run(1.5)
    (text,) = bench.alarm_texts("main/off-not-proven")
    assert ("No second means" in text and "cut the mains of main by hand" in text) is told


def test_a_silent_supply_is_holding_until_it_answers_and_off_is_proven() -> None:
    bench = Bench().running()
    bench.silent = {"main"}
    bench.run(20.0)
    assert bench.stands() is State.HOLDING
    assert bench.alarm("main/supply-silent") is AlarmState.UNACKNOWLEDGED
    assert "cut the mains" in bench.alarm_texts("main/supply-silent")[0]
    before = len(bench.named(SwitchOff))
    bench.silent = set()
    bench.run(2.0)
    assert len(bench.named(SwitchOff)) > before
    assert bench.stands() is State.HELD


def test_current_where_off_was_proven_is_switched_off_at_once_and_told() -> None:
    bench = Bench()
    bench.start_service()
    bench.later(0.1)
    step = bench.current(0.05)
    assert of_kind(step, SwitchOff)
    assert not bench.supply().output.proven_off
    assert bench.alarm("main/current-without-operation") is AlarmState.UNACKNOWLEDGED
    bench.run(2.0)
    assert bench.alarm("main/current-without-operation") is AlarmState.LATCHED_UNACKNOWLEDGED
    assert not bench.start().ok


# -- R9


@pytest.mark.parametrize("quality", SOME_BAD)
def test_a_bad_temperature_satisfies_no_permissive(quality: Quality) -> None:
    bench = Bench()
    bench.start_service()
    bench.later(0.1)
    bench.temperature(20.5, quality=quality)
    assert bench.start().reasons == ("bath in band: no good temperature from main-acid.",)


@pytest.mark.parametrize("quality", SOME_BAD)
def test_a_bad_current_satisfies_no_permissive(quality: Quality) -> None:
    bench = Bench()
    bench.start_service()
    bench.later(0.1)
    bench.current(0.0, quality=quality)
    assert bench.start().reasons == ("supply answers: no good current reading from main.",)


@pytest.mark.parametrize("quality", SOME_BAD)
def test_a_bad_temperature_clears_no_alarm(quality: Quality) -> None:
    bench = Bench()
    bench.start_service()
    bench.temperature(25.0)
    for _ in range(3):
        bench.later(0.1)
        bench.temperature(20.5, quality=quality)
    assert bench.alarm("main-acid/bath-high-high") is AlarmState.UNACKNOWLEDGED


@pytest.mark.parametrize("quality", SOME_BAD)
def test_bad_readings_end_no_silence(quality: Quality) -> None:
    bench = Bench().running()
    for _ in range(12):
        bench.later(0.3)
        bench.temperature(20.5, quality=quality)
        bench.current(1.95, quality=quality)
    assert bench.alarm("main/supply-silent") is AlarmState.UNACKNOWLEDGED
    assert bench.alarm("main-acid/temperature-lost") is AlarmState.UNACKNOWLEDGED


def test_an_older_temperature_coming_late_clears_no_alarm() -> None:
    bench = Bench()
    bench.start_service()
    earlier_s = bench.now_s + 0.01
    bench.later(0.5)
    bench.temperature(25.0)
    reading = Reading("main-acid-temperature", Quality.GOOD, 20.5)
    bench.give(Scanned(bench.at, "thermometer", earlier_s, earlier_s, (reading,)))
    assert bench.alarm("main-acid/bath-high-high") is AlarmState.UNACKNOWLEDGED


def test_a_start_of_the_service_clears_no_limit_before_a_good_temperature_came() -> None:
    bench = Bench()
    bench.start_service()
    bench.temperature(25.0)
    again = Bench(state=bench.line.state, now_s=bench.now_s + 1.0)
    again.give(Started(again.at, "boot", "1", "hash", watch_only=False))
    assert again.alarm("main-acid/bath-high-high") is AlarmState.UNACKNOWLEDGED
    again.temperature(20.5)
    assert again.alarm("main-acid/bath-high-high") is AlarmState.LATCHED_UNACKNOWLEDGED


def test_a_reading_too_old_satisfies_no_permissive() -> None:
    bench = Bench()
    bench.start_service()
    bench.later(2.9)
    assert bench.start(target_um=1.0).ok
    late = Bench()
    late.start_service()
    late.later(3.1)
    reasons = late.start().reasons
    assert "supply answers: no good current reading from main." in reasons
    assert "bath in band: no good temperature from main-acid." in reasons
