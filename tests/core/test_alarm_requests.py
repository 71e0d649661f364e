"""Shelving, taking out of service and their ends: a reason, a longest time, and interlocks that act all the while."""

from __future__ import annotations

from dataclasses import replace

import pytest

from supervisor.core.actions import SwitchOff
from supervisor.core.alarms import AlarmState
from supervisor.core.anodize import State
from supervisor.core.effects import Effect, Interlock
from supervisor.core.events import RequestKind, Started
from supervisor.core.setup import AlarmSetup
from tests.core.guarded import Guarded, guarded_setup
from tests.core.kit import Bench, of_kind
from tests.core.plain import line_setup, patient

WARM = "main-acid/bath-high"
HOT = "main-acid/bath-high-high"


PATIENT = patient(line_setup())


def warm(*, seconds: float = 11.0) -> Bench:
    """A running bench whose bath is too warm."""
    bench = Bench(PATIENT).running(target_um=20.0)
    bench.bath_c["main-acid"] = 22.5
    bench.run(seconds)
    return bench


def shelve(bench: Bench, alarm: str = WARM, *, for_s: float | None = 600.0, why: str = "hot day") -> tuple[str, ...]:
    return bench.ask("alarm shelve", alarm=alarm, for_s=for_s, why=why).reasons


def test_a_shelved_alarm_is_not_told_again_until_its_time_is_over() -> None:
    bench = warm()
    assert shelve(bench) == ()
    assert bench.alarm(WARM) is AlarmState.SHELVED
    bench.run(599.0)
    assert bench.alarm(WARM) is AlarmState.SHELVED
    bench.run(2.0)
    assert bench.alarm(WARM) is AlarmState.UNACKNOWLEDGED


def test_a_shelved_alarm_whose_cause_went_meanwhile_is_normal_at_its_end() -> None:
    bench = warm()
    shelve(bench)
    bench.bath_c["main-acid"] = 20.5
    bench.run(601.0)
    assert bench.alarm(WARM) is AlarmState.NORMAL


def test_a_person_may_end_a_shelving_sooner() -> None:
    bench = warm()
    shelve(bench)
    assert bench.ask("alarm unshelve", alarm=WARM).ok
    assert bench.alarm(WARM) is AlarmState.UNACKNOWLEDGED
    assert bench.line.state.alarms[WARM].why == ""


def test_what_is_out_of_service_stays_so_until_a_person_says_otherwise() -> None:
    bench = warm()
    assert bench.ask("alarm out of service", alarm=WARM, why="sensor in repair").ok
    bench.run(2000.0)
    assert bench.alarm(WARM) is AlarmState.OUT_OF_SERVICE
    assert bench.line.state.alarms[WARM].why == "sensor in repair (mara)"
    assert bench.ask("alarm in service", alarm=WARM).ok
    assert bench.alarm(WARM) is AlarmState.UNACKNOWLEDGED


@pytest.mark.parametrize("hides", ["alarm shelve", "alarm out of service"])
def test_a_hidden_trip_still_trips_and_latches(hides: RequestKind) -> None:
    bench = Bench().running(target_um=20.0)
    assert bench.ask(hides, alarm=HOT, for_s=600.0, why="trying out").ok
    step = bench.temperature(25.0)
    assert of_kind(step, SwitchOff)
    bench.run(3.0)
    assert bench.stands() is State.STOPPED
    bench.ask("reset")
    assert any(f"{HOT} waits for a reset" in reason for reason in bench.start().reasons)
    assert bench.ask("alarm reset", alarm=HOT).ok
    bench.later(0.1)
    assert bench.start().ok


def test_a_latched_alarm_shown_again_still_waits_for_its_reset() -> None:
    bench = Bench(PATIENT).running(target_um=20.0)
    shelve(bench, HOT)
    bench.temperature(25.0)
    bench.run(601.0)
    assert bench.alarm(HOT) is AlarmState.LATCHED_UNACKNOWLEDGED


def test_shelving_without_a_time_and_a_reason_is_refused_with_both() -> None:
    bench = warm()
    reasons = shelve(bench, for_s=None, why=" ")
    assert [reason.split(":")[0] for reason in reasons] == ["why", "for"]
    assert bench.alarm(WARM) is AlarmState.UNACKNOWLEDGED


@pytest.mark.parametrize("for_s", [0.0, -1.0, 3600.1, float("nan"), float("inf")])
def test_shelving_for_no_time_or_too_long_is_refused(for_s: float) -> None:
    setup = replace(line_setup(), alarms=AlarmSetup(longest_shelving_s=3600.0))
    bench = Bench(setup)
    bench.start_service()
    assert shelve(bench, for_s=for_s) == ("for: an alarm is shelved for 1 h at most, and for more than nothing.",)


def test_an_alarm_that_asks_for_hands_at_once_is_never_hidden() -> None:
    bench = warm()
    for what in ("alarm shelve", "alarm out of service"):
        answer = bench.ask(what, alarm="main/off-not-proven", for_s=60.0, why="noise")
        assert answer.reasons == ("alarm: main/off-not-proven asks for hands at once; it is never hidden.",)


@pytest.mark.parametrize(
    ("what", "says"),
    [
        ("alarm unshelve", "alarm: main-acid/bath-high is unacknowledged, not shelved."),
        ("alarm in service", "alarm: main-acid/bath-high is unacknowledged, not out of service."),
    ],
)
def test_what_is_not_hidden_cannot_be_shown_again(what: RequestKind, says: str) -> None:
    assert warm().ask(what, alarm=WARM).reasons == (says,)


@pytest.mark.parametrize("what", ["alarm acknowledge", "alarm reset"])
def test_an_alarm_this_line_can_have_but_has_not_is_told_as_normal(what: RequestKind) -> None:
    bench = Bench().running()
    (reason,) = bench.ask(what, alarm=HOT).reasons
    assert reason.startswith(f"alarm: {HOT} is normal; there is nothing to ")


def test_an_alarm_this_line_can_never_have_is_not_there() -> None:
    bench = Bench().running()
    (reason,) = bench.ask("alarm acknowledge", alarm="main-acid/over-voltage").reasons
    assert reason.startswith("alarm: there is no alarm main-acid/over-voltage.")


def test_what_is_out_of_service_is_neither_shelved_nor_taken_out_again() -> None:
    bench = warm()
    bench.ask("alarm out of service", alarm=WARM, why="sensor in repair")
    for what in ("alarm shelve", "alarm out of service"):
        assert bench.ask(what, alarm=WARM, for_s=60.0, why="noise").reasons == (
            f"alarm: {WARM} is out of service already.",
        )


def test_an_acknowledged_alarm_whose_cause_stands_is_told_again_after_its_time() -> None:
    bench = warm()
    bench.ask("alarm acknowledge", alarm=WARM)
    bench.run(bench.setup.alarms.again_medium_s - 1.0)
    assert bench.alarm(WARM) is AlarmState.ACKNOWLEDGED
    bench.run(2.0)
    assert bench.alarm(WARM) is AlarmState.UNACKNOWLEDGED


def test_one_that_is_shelved_after_its_acknowledgement_is_not_told_again() -> None:
    bench = warm()
    bench.ask("alarm acknowledge", alarm=WARM)
    shelve(bench, for_s=8 * 3600.0)
    bench.run(bench.setup.alarms.again_medium_s + 60.0)
    assert bench.alarm(WARM) is AlarmState.SHELVED


def test_a_low_one_is_not_told_again() -> None:
    bench = Guarded(patient(guarded_setup())).under_way()
    bench.opens("seal-lid", after_s=601.0)
    bench.ask("alarm acknowledge", alarm="seal-lid/lid-open")
    bench.run(2.0)
    assert bench.line.state.alarms["seal-lid/lid-open"].acknowledged_s is not None
    bench.run(1900.0)
    assert bench.alarm("seal-lid/lid-open") is AlarmState.ACKNOWLEDGED


def test_a_shelving_counts_on_over_a_restart_of_the_supervisor() -> None:
    bench = warm()
    shelve(bench)
    again = Bench(bench.setup, state=bench.line.state, now_s=bench.now_s)
    again.start_service()
    assert again.alarm(WARM) is AlarmState.SHELVED
    again.run(600.0)
    assert again.alarm(WARM) is AlarmState.NORMAL


def test_a_shelving_counts_on_over_a_reboot() -> None:
    """Process time begins anew with a boot; what was left of the shelving is left."""
    bench = warm()
    shelve(bench)
    journal_s = bench.now_s
    again = Bench(bench.setup, state=bench.line.state, now_s=20.0)
    again.give(Started(again.at, "another boot", "1", "hash", False, journal_s=journal_s, same_boot=False))
    again.run(590.0)
    assert again.alarm(WARM) is AlarmState.SHELVED
    again.run(20.0)
    assert again.alarm(WARM) is AlarmState.NORMAL


def test_what_is_gone_for_less_than_its_off_delay_can_neither_be_reset_nor_started_over() -> None:
    setup = guarded_setup(guard_open=Interlock(Effect.HOLD, off_delay_s=20.0))
    bench = Guarded(setup).under_way()
    bench.opens("guard", after_s=3.0)
    bench.open = set()
    bench.run(3.0)
    assert bench.ask("alarm reset", alarm="guard/guard-open").reasons == (
        "alarm: guard/guard-open cannot be reset while its cause stands.",
    )
    assert any("guard/guard-open stands" in reason for reason in bench.ask("restart").reasons)


@pytest.mark.parametrize(("first", "second"), [("hold", "restart"), ("restart", "hold")])
def test_of_two_requests_of_one_moment_the_one_that_takes_energy_away_counts(
    first: RequestKind, second: RequestKind
) -> None:
    bench = Bench().running(target_um=20.0)
    bench.ask("hold")
    bench.run(3.0)
    assert bench.stands() is State.HELD
    for what in (first, second):
        bench.ask(what)
    bench.run(3.0)
    assert bench.stands() is State.HELD


def test_a_start_made_before_a_stop_that_came_sooner_is_refused() -> None:
    bench = Bench()
    bench.start_service()
    late = bench.request("start")
    bench.later(0.5)
    bench.ask("off")
    bench.run(2.0)
    answer = bench.ask("start", made_wire_s=late.made_wire_s)
    assert any(reason.startswith("fresh: something was told to go off") for reason in answer.reasons)
