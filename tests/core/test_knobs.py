"""A supply with knobs: the contactor is all there is, or not even that; the person turns, and says so."""

from __future__ import annotations

import pytest

from supervisor.core.actions import ArmTimeOut, Note, SetPoints, Switch, SwitchOff, SwitchOn
from supervisor.core.alarms import AlarmState
from supervisor.core.anodize import State
from supervisor.core.events import Instant, Order, Quality, Woken
from supervisor.core.interlocks import CAUSES
from supervisor.core.knobs import HAND_S
from supervisor.core.plan import make_plan
from supervisor.core.setup import Control
from tests.core.kit import Bench, of_kind
from tests.core.plain import fitted_setup

ORDER = Order(0.013, 0.2)
CONTROLS: list[Control] = ["contactor", "none"]


OFF_PLAN_S = CAUSES["current-off-plan"].on_delay_s


def bench(control: Control = "contactor", *, watch_only: bool = False) -> Bench:
    made = Bench(fitted_setup(control))
    made.start_service(watch_only=watch_only)
    return made


def going(control: Control = "contactor", *, target_um: float = 0.2) -> Bench:
    """A load under way by hand, its knobs set and confirmed."""
    made = bench(control)
    answer = made.ask("start", order=Order(0.013, target_um), confirmed=True)
    assert answer.ok, answer.reasons
    made.run(1.0)
    made.turn(1.95)
    made.run(5.0)
    assert made.ask("confirm").ok
    made.run(1.0)
    return made


@pytest.mark.parametrize("control", CONTROLS)
def test_nothing_is_ever_sent_to_a_supply_that_has_no_wire(control: Control) -> None:
    made = going(control)
    made.ask("stop")
    made.turn(0.0)
    made.run(3.0)
    sent = [action for action in made.actions if isinstance(action, SwitchOff | SwitchOn | SetPoints | ArmTimeOut)]
    assert not sent


@pytest.mark.parametrize("control", CONTROLS)
@pytest.mark.parametrize("what", ["start", "restart"])
def test_a_start_or_restart_needs_the_persons_word_that_the_knobs_are_down(control: Control, what: str) -> None:
    made = bench(control)
    if what == "restart":
        made.ask("start", order=ORDER, confirmed=True)
        made.ask("hold")
        made.run(3.0)
    answer = made.ask("start", order=ORDER) if what == "start" else made.ask("restart")
    assert any(reason.startswith("knobs down: turn current and voltage of main") for reason in answer.reasons)
    answer = made.ask(what, order=ORDER if what == "start" else None, confirmed=True)  # type: ignore[arg-type]
    assert answer.ok, answer.reasons


def test_on_is_its_contactor_closed_and_off_is_the_same_one_opened_in_the_same_step() -> None:
    made = going()
    assert made.shut["contactor"]
    step = made.give(made.request("stop"))
    assert [(action.output, action.on) for action in of_kind(step, Switch)] == [("contactor", False)]
    made.run(2.0)
    assert made.stands() is State.STOPPED


def test_the_target_opens_the_contactor_and_the_load_is_complete() -> None:
    made = going()
    made.run(40.0)
    assert made.stands() is State.COMPLETE
    assert not made.shut["contactor"]


def test_the_person_is_told_what_to_turn_up_to_once_the_contactor_has_closed() -> None:
    made = bench()
    made.silent = {"relays"}
    made.ask("start", order=ORDER, confirmed=True)
    assert not any("turn the current up" in note.text for note in made.named(Note))
    made.silent = set()
    made.run(0.5)
    (told,) = [note.text for note in made.named(Note) if "turn the current up" in note.text]
    assert "1.95 A within 10 s" in told
    assert "ampminder anodize confirm" in told


def test_a_lost_contact_is_not_looked_for_before_the_knobs_are_set_and_is_after() -> None:
    made = bench()
    made.ask("start", order=ORDER, confirmed=True)
    made.run(9.0)
    assert made.stands() is State.RUNNING
    made.turn(1.95)
    made.run(1.0)
    assert made.ask("confirm").ok
    made.devices["main"].broken_contact = True
    made.run(3.0)
    assert made.operation().why == "current-lost"


def test_too_much_current_trips_before_the_knobs_are_confirmed_too() -> None:
    made = bench()
    made.ask("start", order=ORDER, confirmed=True)
    made.run(1.0)
    made.turn(2.5)
    made.run(0.5)
    assert made.operation().why == "over-current"
    assert not made.shut["contactor"]


def test_a_soft_start_that_nobody_confirms_is_told() -> None:
    made = bench()
    made.ask("start", order=Order(0.013, 5.0), confirmed=True)
    made.turn(1.0)
    made.run(69.0)
    assert made.alarm("main/ramp-not-confirmed") is AlarmState.NORMAL
    made.run(3.0)
    assert made.alarm("main/ramp-not-confirmed") is AlarmState.UNACKNOWLEDGED
    made.ask("confirm")
    assert made.alarm("main/ramp-not-confirmed") is AlarmState.RETURNED_UNACKNOWLEDGED


def test_a_current_off_its_plan_is_told_after_half_a_minute() -> None:
    made = going(target_um=5.0)
    made.turn(1.7)
    made.run(29.0)
    assert made.alarm("main/current-off-plan") is AlarmState.NORMAL
    made.run(3.0)
    assert made.alarm("main/current-off-plan") is AlarmState.UNACKNOWLEDGED
    made.turn(1.95)
    made.run(1.0)
    assert made.alarm("main/current-off-plan") is AlarmState.RETURNED_UNACKNOWLEDGED
    assert made.stands() is State.RUNNING


def test_what_the_supply_can_give_counts_as_commanded_and_ends_no_run_as_planned() -> None:
    made = going()
    assert made.operation().plan.commanded_a == 10.0
    assert made.operation().commanded_c == pytest.approx(10.0 * (made.operation().counted_s - made.operation().began_s))
    made.run(40.0)
    assert made.stands() is State.COMPLETE


def test_a_meter_that_reads_far_too_low_cannot_lengthen_a_run_without_end() -> None:
    made = going()
    plan = made.operation().plan
    made.devices["main"].gain = 0.5
    made.run(plan.longest_s)
    assert made.operation().why in {"longest-time", "largest-charge"}
    assert not made.shut["contactor"]


def test_off_is_not_carried_out_while_the_auxiliary_contact_shows_closed() -> None:
    made = going()
    made.stuck = {"contactor"}
    made.ask("stop")
    made.turn(0.0)
    made.run(5.0)
    assert not made.supply().output.proven_off
    assert made.alarm("contactor/contactor-stuck") is AlarmState.UNACKNOWLEDGED


def test_low_current_alone_is_no_proof_of_off_before_the_contactor_has_opened() -> None:
    made = going()
    made.deaf = {"contactor"}
    made.ask("stop")
    made.devices["main"].broken_contact = True
    made.run(5.0)
    assert not made.supply().output.proven_off


def test_with_no_actuator_the_target_tells_the_person_and_ends_when_current_is_gone() -> None:
    made = going("none")
    made.run(40.0)
    assert made.stands() is State.STOPPING
    assert made.alarm("main/switch-off-by-hand") is AlarmState.UNACKNOWLEDGED
    assert made.alarm("main/off-not-proven") is AlarmState.UNACKNOWLEDGED
    made.turn(0.0)
    made.run(2.0)
    assert made.stands() is State.COMPLETE
    assert made.alarm("main/switch-off-by-hand") is AlarmState.RETURNED_UNACKNOWLEDGED


def test_a_start_of_the_supervisor_opens_the_contactor_and_leaves_what_has_none() -> None:
    for control, ends in (("contactor", True), ("none", False)):
        made = Bench(fitted_setup(control))
        made.shut["contactor"] = True
        made.turn(2.0)
        made.start_service(watch_only=True)
        assert (made.flows_a("main") == 0.0) is ends


def test_confirm_is_refused_where_nothing_waits_for_it() -> None:
    assert bench().ask("confirm").reasons == ("confirm: nothing is waited for at main.",)
    remote = Bench(fitted_setup())
    remote.start_service()
    (reason,) = remote.ask("confirm").reasons
    assert "set over its wire" in reason


def test_a_bad_reading_neither_proves_off_nor_clears_an_alarm_of_a_supply_with_knobs() -> None:
    made = going("none")
    made.ask("stop")
    made.turn(0.0)
    made.silent = {"main"}
    for _ in range(4):
        made.current(None, quality=Quality.MALFORMED)
    assert made.alarm("main/switch-off-by-hand") is AlarmState.UNACKNOWLEDGED


def test_a_contactor_seen_closed_after_its_time_begins_no_run() -> None:
    made = bench()
    made.silent = {"relays"}
    made.ask("start", order=ORDER, confirmed=True)
    made.run(1.9)
    made.later(0.2)
    made.contact(closed=True)
    assert made.operation().why == "contactor-failed"
    assert not made.shut["contactor"]
    assert not any("turn the current up" in note.text for note in made.named(Note))


def test_a_current_off_its_plan_is_not_told_while_the_contactor_closes() -> None:
    made = bench()
    made.silent = {"relays"}
    made.ask("start", order=ORDER, confirmed=True)
    made.current(0.0)
    # Process time alone runs far ahead of the wire, as in a demo.
    made.give(Woken(Instant(made.now_s + OFF_PLAN_S, made.now_s + 0.1, made.wall_s)))
    assert made.alarm("main/current-off-plan") is AlarmState.NORMAL


def test_a_current_off_its_plan_is_not_told_before_the_knobs_are_confirmed() -> None:
    made = bench()
    made.ask("start", order=Order(0.013, 5.0), confirmed=True)
    made.turn(1.0)
    made.run(40.0)
    assert made.alarm("main/current-off-plan") is AlarmState.NORMAL


def test_a_current_off_its_plan_is_over_once_the_load_is_held() -> None:
    made = going(target_um=5.0)
    made.turn(1.7)
    made.run(32.0)
    made.ask("hold")
    assert made.alarm("main/current-off-plan") is AlarmState.RETURNED_UNACKNOWLEDGED


def test_a_restart_by_hand_runs_again_with_the_persons_word() -> None:
    made = going(target_um=5.0)
    made.ask("hold")
    made.turn(0.0)
    made.run(3.0)
    assert made.ask("restart", confirmed=True).ok
    made.run(1.0)
    assert made.stands() is State.RESTARTING
    made.turn(1.95)
    made.run(1.0)
    assert made.ask("confirm").ok
    assert made.stands() is State.RUNNING


def test_the_line_asks_to_be_woken_for_what_hands_have_not_done_in_time() -> None:
    made = bench()
    made.ask("start", order=Order(0.013, 5.0), confirmed=True)
    made.turn(1.0)
    made.run(0.4)
    ramp = made.operation().ramp
    assert ramp is not None
    late_s = ramp.began_s + 10.0 + HAND_S
    made.run(late_s - made.now_s - 0.1)
    assert made.wake.process_s == pytest.approx(late_s)
    made.ask("confirm")
    since_s = made.now_s
    made.run(OFF_PLAN_S - 0.1)
    assert made.wake.process_s == pytest.approx(since_s + OFF_PLAN_S)


@pytest.mark.parametrize("control", CONTROLS)
def test_a_plan_by_hand_allows_for_the_whole_soft_start(control: Control) -> None:
    by_hand, by_wire = fitted_setup(control), fitted_setup()
    slow, _ = make_plan(by_hand, by_hand.supplies["main"], ORDER)
    fast, _ = make_plan(by_wire, by_wire.supplies["main"], ORDER)
    assert slow is not None
    assert fast is not None
    assert slow.expected_s - fast.expected_s == pytest.approx(fast.ramp_s / 2)


def test_what_came_and_went_between_two_readings_may_have_been_all_the_supply_can_give() -> None:
    """R5: nothing bounds what flowed unseen between on and off but the rating of a supply with knobs."""
    made = bench()
    made.ask("start", order=ORDER, confirmed=True)
    made.later(0.1)
    made.contact(closed=True)
    made.ask("stop")
    before = made.operation().dose
    assert before.last_s is not None
    made.current(0.0)
    after = made.operation().dose
    assert after.last_s is not None
    assert after.charge.high - before.charge.high == pytest.approx(10.0 * (after.last_s - before.last_s))


def test_the_current_counts_to_the_opening_of_the_contactor_and_not_to_the_next_reading() -> None:
    made = going(target_um=5.0)
    made.silent = {"main"}
    read_s, read_c = made.operation().dose.last_s, made.operation().dose.charge.best
    assert read_s is not None
    made.later(0.1)
    made.ask("stop")
    opened_s = made.now_s
    made.later(0.1)
    made.contact(closed=False)
    made.current(0.0)
    assert made.operation().dose.charge.best - read_c == pytest.approx(1.95 * (opened_s - read_s))
