"""R9 for contacts: closed when healthy, unknown is not healthy, and nothing starts without every proof."""

from __future__ import annotations

import pytest

from supervisor.core import contacts
from supervisor.core.alarms import AlarmState
from supervisor.core.anodize import State
from supervisor.core.contacts import ContactState
from tests.core.guarded import CONTACTS, Guarded, guarded_setup

REFUSALS = {
    "acid-level": "level proven: acid-level",
    "acid-lid": "lid open: acid-lid",
    "air-flow": "air proven: air-flow",
    "air-pressure": "air proven: air-pressure",
    "guard": "guard shut: guard",
    "stop": "emergency stop released: stop",
}


def ready() -> Guarded:
    bench = Guarded()
    bench.start_service()
    bench.run(bench.setup.ventilation.before_s)
    return bench


@pytest.mark.parametrize("name", REFUSALS)
def test_an_open_contact_refuses_a_start_by_its_name(name: str) -> None:
    bench = ready()
    bench.opens(name)
    answer = bench.start()
    assert not answer.ok
    assert any(reason.startswith(REFUSALS[name]) for reason in answer.reasons)


@pytest.mark.parametrize("name", REFUSALS)
def test_a_contact_that_gives_no_good_reading_refuses_a_start(name: str) -> None:
    bench = ready()
    bench.unread = {name}
    bench.run(4.0)
    assert any(reason.startswith(REFUSALS[name]) for reason in bench.start().reasons)


@pytest.mark.parametrize("name", ["seal-lid", "seal-level"])
def test_a_contact_of_another_tank_refuses_nothing(name: str) -> None:
    bench = ready()
    bench.opens(name)
    assert bench.start().ok


def test_every_reason_is_told_at_once() -> None:
    bench = ready()
    bench.opens(*REFUSALS)
    reasons = bench.start().reasons
    assert all(any(reason.startswith(begins) for reason in reasons) for begins in REFUSALS.values())


def test_fumes_must_have_been_drawn_off_for_a_while_before_current() -> None:
    bench = Guarded()
    bench.start_service()
    (reason,) = bench.start().reasons
    assert reason.startswith("ventilation proven: air-flow must show moving air for 2")
    bench.run(bench.setup.ventilation.before_s)
    assert bench.start().ok


def test_the_while_begins_anew_when_the_air_stood_still() -> None:
    bench = ready()
    bench.opens("air-flow")
    bench.open = set()
    bench.run(5.0)
    assert bench.start().reasons[0].startswith("ventilation proven: air-flow")


def test_the_while_begins_anew_when_nobody_saw_whether_air_moved() -> None:
    bench = ready()
    assert bench.start().ok
    bench = ready()
    bench.unread = {"air-flow"}
    bench.run(60.0)
    bench.unread = set()
    bench.run(1.0)
    assert [reason.split(":")[0] for reason in bench.start().reasons] == ["ventilation proven"]


def test_nothing_is_told_of_a_contact_before_it_could_be_read() -> None:
    bench = Guarded()
    bench.silent = {"inputs"}
    bench.start_service()
    assert not bench.line.state.alarms.get("guard/guard-open")
    assert contacts.healthy(bench.setup, bench.line.state, "guard", bench.now_s) is None


def test_what_a_contact_showed_before_a_start_proves_nothing_after_it() -> None:
    bench = ready()
    again = Guarded(state=bench.line.state, now_s=bench.now_s)
    again.silent = {"inputs"}
    again.start_service()
    assert any(reason.startswith("guard shut") for reason in again.start().reasons)


def test_without_current_an_open_guard_is_suppressed_by_design_and_with_it_none_stays_so() -> None:
    bench = ready()
    bench.opens("guard")
    assert bench.alarm("guard/guard-open") is AlarmState.SUPPRESSED
    assert not bench.alarm_texts("guard/guard-open")[0].startswith("The guard")
    bench.open = set()
    bench.run(1.0)
    assert bench.alarm("guard/guard-open") is AlarmState.NORMAL


def test_an_alarm_that_stands_or_is_latched_stays_told_when_the_current_is_gone() -> None:
    bench = ready()
    bench.running(target_um=20.0)
    bench.opens("guard", after_s=5.0)
    assert bench.stands() is State.HELD
    assert bench.alarm("guard/guard-open") is AlarmState.UNACKNOWLEDGED
    bench.open = set()
    bench.run(2.0)
    assert bench.alarm("guard/guard-open") is AlarmState.LATCHED_UNACKNOWLEDGED


def test_a_suppressed_trip_still_refuses_a_start_and_is_named_once() -> None:
    bench = ready()
    bench.opens("guard")
    assert bench.alarm("guard/guard-open") is AlarmState.SUPPRESSED
    (reason,) = bench.start().reasons
    assert reason.startswith("guard shut: guard")


def test_a_level_contact_has_moved_once_it_was_seen_open_and_then_closed() -> None:
    bench = ready()
    assert bench.line.state.contacts["seal-level"].moved is False
    bench.opens("seal-level")
    assert bench.line.state.contacts["seal-level"].moved is False
    bench.open = set()
    bench.run(1.0)
    assert bench.line.state.contacts["seal-level"].moved


def test_the_causes_of_a_lid_hang_on_what_its_tank_holds() -> None:
    setup = guarded_setup()
    causes = {name: contacts.causes_of(setup, setup.contacts[name]) for name in CONTACTS}
    assert causes["acid-lid"] == ("lid-shut",)
    assert causes["seal-lid"] == ("lid-open",)
    assert contacts.causes_of(setup, setup.contacts["shut"]) == ()


def test_readings_that_are_not_good_leave_what_is_known_and_its_age() -> None:
    bench = ready()
    known = bench.line.state.contacts["guard"]
    bench.unread = {"guard"}
    bench.run(1.0)
    assert bench.line.state.contacts["guard"] == known
    assert known == ContactState(True, known.since_s, False)
