"""When the line asks to be woken: at its moment for each thing that time alone decides, and never for what is past."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from supervisor.core.actions import SetPoints, SwitchOff
from supervisor.core.alarms import AlarmState
from supervisor.core.anodize import Operation
from supervisor.core.contactor import CLOSES_WITHIN_S
from supervisor.core.events import Ending, Order, Recorded, Scanned, Started, Switched, Wake
from supervisor.core.state import LineState
from tests.core.guarded import Guarded
from tests.core.kit import Bench
from tests.core.plain import fitted_setup, line_setup

WARM = "main-acid/bath-high"


def wakes(bench: Bench, name: str) -> Wake:
    """When one thing wants to be looked at again."""
    return bench.line._wakes[name]


def put(bench: Bench, change: Callable[[Operation], Operation]) -> None:
    """Change what runs, behind the line's back, and let it look."""
    state: LineState = bench.line.state
    supply = replace(state.supplies["main"], operation=change(bench.operation()))
    bench.line.state = replace(state, supplies={**state.supplies, "main": supply})
    bench.wake_up()


@pytest.mark.parametrize(
    ("name", "silent_s"),
    [
        ("heartbeat board", 2.0),
        ("device inputs", 2.0),
        ("contact acid-lid", 3.0),
        ("tank main-acid", 3.0),
        ("tank seal", 3.0),
        ("supply main", 3.0),
    ],
)
def test_the_line_wakes_when_something_will_have_been_silent_for_too_long(name: str, silent_s: float) -> None:
    bench = Guarded().under_way()
    assert wakes(bench, name) == Wake(process_s=bench.now_s + silent_s)
    assert bench.wake == Wake(bench.now_s + 2.0, wakes(bench, "outputs").wire_s)


def test_what_has_passed_or_never_comes_wakes_nobody() -> None:
    bench = Guarded().under_way()
    bench.now_s = wakes(bench, "device inputs").process_s or 0.0
    bench.wake_up()
    assert wakes(bench, "device inputs") == Wake()
    assert wakes(bench, "alarms") == Wake(bench.now_s + 120.0)  # the load is held by now, and sits in acid
    idle = Guarded()
    idle.start_service()
    assert wakes(idle, "alarms") == Wake()


def test_a_start_forgets_what_was_waited_for() -> None:
    bench = Bench(line_setup(2))
    bench.start_service()
    bench.line._wakes["tank gone"] = Wake(1e9, 1e9)
    bench.start_service()
    assert "tank gone" not in bench.line._wakes


def test_an_event_of_one_thing_leaves_the_others_waiting() -> None:
    bench = Guarded().under_way()
    before = wakes(bench, "device inputs")
    bench.temperature(20.5)
    assert wakes(bench, "device inputs") == before
    assert wakes(bench, "tank main-acid").process_s == pytest.approx(bench.now_s + 3.0)


@pytest.mark.parametrize("what", ["written", "recorded", "switched", "scanned"])
def test_an_event_leads_to_a_look_at_what_it_concerns_alone(what: str) -> None:
    bench = Guarded().under_way()
    untouched = Wake(1e9, 1e9)
    bench.line._wakes |= {"tank seal": untouched, "contact guard": untouched}
    bench.later(0.01)
    if what == "written":
        bench.give(bench.written(bench.named(SwitchOff)[-1]))
    elif what == "recorded":
        bench.give(Recorded(bench.at, "no such intent"))
    elif what == "switched":
        bench.give(Switched(bench.at, "contactor", True, 0, True, bench.now_s, bench.now_s))
    else:
        bench.heartbeat(bench.now_s - bench.board_began_s)
    assert wakes(bench, "tank seal") == wakes(bench, "contact guard") == untouched


def test_the_soft_start_wakes_the_line_for_its_next_set_point() -> None:
    bench = Bench()
    bench.start_service()
    bench.ask("start", order=Order(0.013, 20.0))
    bench.run(2.0)
    ramp = bench.operation().ramp
    assert ramp is not None
    assert wakes(bench, "supply main").process_s == ramp.next_s
    before = len(bench.named(SetPoints))
    bench.now_s = ramp.next_s or 0.0
    bench.wake_up()
    assert len(bench.named(SetPoints)) == before + 1


def test_the_longest_time_wakes_the_line_and_ends_the_operation() -> None:
    bench = Bench().running(target_um=20.0)
    end_s = bench.now_s + 1.0
    put(bench, lambda of: replace(of, began_s=end_s - of.plan.longest_s))
    assert wakes(bench, "supply main").process_s == pytest.approx(end_s)


def test_the_predicted_end_wakes_the_line() -> None:
    bench = Bench().running(target_um=20.0)
    best_c = bench.operation().dose.charge.best
    put(bench, lambda of: replace(of, plan=replace(of.plan, target_c=best_c + 1.95)))
    lead_s = bench.supply().lead_s
    assert wakes(bench, "supply main").process_s == pytest.approx(bench.now_s + 1.0 - lead_s, abs=0.01)


def test_what_is_over_waits_for_readings_alone() -> None:
    bench = Bench().running(target_um=20.0)
    bench.ask("stop")
    bench.run(2.0)
    put(bench, lambda of: replace(of, began_s=bench.now_s + 1.0 - of.plan.longest_s))
    assert wakes(bench, "supply main") == Wake(process_s=bench.now_s + 3.0)


def test_an_intent_wakes_the_line_when_its_record_is_late() -> None:
    bench = Bench()
    bench.start_service()
    bench.pending()
    pending = bench.supply().pending
    assert pending is not None
    assert wakes(bench, "supply main").wire_s == pending.deadline_wire_s


def test_an_off_that_is_not_proven_wakes_the_line_to_send_it_again_and_to_tell() -> None:
    bench = Bench().running()
    bench.obeys = False
    bench.ask("hold")
    assert wakes(bench, "supply main").wire_s == bench.now_s + bench.setup.supplies["main"].resend_s
    slow = replace(line_setup(), supplies={"main": replace(line_setup().supplies["main"], resend_s=5.0)})
    seldom = Bench(slow).running()
    seldom.obeys = False
    seldom.ask("hold")
    assert wakes(seldom, "supply main").wire_s == seldom.now_s + slow.supplies["main"].proof_deadline_s


def test_one_that_only_watches_waits_for_the_proof_and_sends_nothing_again() -> None:
    bench = Bench()
    bench.obeys = False
    bench.start_service(watch_only=True)
    assert len(bench.named(SwitchOff)) == 1
    bench.now_s += 1e-3
    bench.wake_up()
    assert wakes(bench, "supply main").wire_s is None


def test_one_that_only_watches_is_woken_when_the_proof_of_its_off_is_late() -> None:
    bench = Bench()
    bench.obeys = False
    began_s = bench.now_s
    bench.give(Started(bench.at, "boot", "1", "hash", watch_only=True))
    assert wakes(bench, "supply main").wire_s == began_s + bench.setup.supplies["main"].proof_deadline_s


def test_a_contactor_that_is_to_close_wakes_the_line_when_it_is_late() -> None:
    bench = Bench(fitted_setup())
    bench.start_service()
    bench.obeys = False
    bench.start(target_um=20.0)
    closing = bench.supply().closing
    assert closing is not None
    assert wakes(bench, "supply main").wire_s == closing.since_wire_s + CLOSES_WITHIN_S


def test_a_safe_state_that_is_not_confirmed_wakes_the_line_to_send_it_again() -> None:
    bench = Bench(fitted_setup())
    bench.obeys = False
    bench.give(Started(bench.at, "boot", "1", "hash", watch_only=False))
    soonest_s = min(of.resend_s for of in bench.setup.outputs.values())
    assert wakes(bench, "outputs") == Wake(wire_s=bench.now_s + soonest_s)


def test_a_reading_of_something_else_ends_a_delay_whose_moment_has_come() -> None:
    bench = Guarded().under_way()
    bench.opens("acid-level")
    due_s = wakes(bench, "alarms").process_s
    assert due_s == bench.now_s + 3.0
    bench.later(2.9)
    bench.contacts()
    bench.now_s = due_s
    bench.heartbeat(bench.now_s - bench.board_began_s)
    assert bench.line.state.alarms["acid-level/level-low"].active
    assert not bench.operation().energised


def test_the_end_of_a_shelving_wakes_the_line_and_comes_in_that_step() -> None:
    bench = Bench().running(target_um=20.0)
    bench.bath_c["main-acid"] = 22.5
    bench.run(11.0)
    bench.ask("alarm shelve", alarm=WARM, for_s=2.0, why="hot day")
    assert wakes(bench, "alarms").process_s == bench.now_s + 2.0
    bench.later(2.0)
    bench.wake_up()
    assert bench.alarm(WARM) is AlarmState.UNACKNOWLEDGED


def test_a_line_taken_over_from_a_record_settles_its_alarms_at_once() -> None:
    bench = Bench().running(target_um=20.0)
    bench.bath_c["main-acid"] = 22.5
    bench.run(11.0)
    bench.ask("alarm shelve", alarm=WARM, for_s=2.0, why="hot day")
    shelved = replace(bench.line.state.alarms[WARM], shelved_until_s=0.25)
    again = Bench(state=replace(bench.line.state, alarms={WARM: shelved}), now_s=0.5)
    reading = again.supply_scan("main", again.devices["main"])
    again.give(Scanned(again.at, "main-device", again.now_s, again.now_s, reading.readings))
    assert again.alarm(WARM) is AlarmState.UNACKNOWLEDGED


def test_an_end_wakes_nobody_for_what_is_over() -> None:
    bench = Bench().running()
    bench.give(Ending(bench.at))
    assert not bench.operation().energised
    assert wakes(bench, "supply main").process_s == bench.now_s + 3.0
