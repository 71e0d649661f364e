"""What a start keeps of a record and what it forgets, what a reboot does to process times, and how a line ends."""

from __future__ import annotations

from dataclasses import replace

import pytest

from supervisor.core.actions import ArmTimeOut, Switch, SwitchOff
from supervisor.core.anodize import Operation, State
from supervisor.core.contactor import Closing
from supervisor.core.cooling import CoolingState
from supervisor.core.events import Delayed, Ending, Order, Started, Written
from supervisor.core.heating import HeatingState
from supervisor.core.limits import BandState
from supervisor.core.line import Line
from supervisor.core.output import Output
from supervisor.core.setup import LineSetup
from supervisor.core.state import Exercise, LineState, SupplyState
from supervisor.trade.charge import Interval
from tests.core.guarded import Guarded
from tests.core.kit import Bench, of_kind
from tests.core.plain import fitted_setup, line_setup

BOOT_S = 7.0
"""Process time of a start in another boot, s."""


def recorded() -> Bench:
    """A bench under current whose record is taken up by another."""
    return Bench().running(target_um=20.0)


def started(
    bench: Bench, *, state: LineState | None = None, same_boot: bool = True, watch_only: bool = False,
    setup: LineSetup | None = None, journal_s: float | None = None,
) -> Bench:  # fmt: skip
    """Another line that takes the record up and has been given nothing but its start."""
    now_s = bench.now_s + 5.0 if same_boot else BOOT_S
    again = Bench(setup or bench.setup, state=state or bench.line.state, now_s=now_s, obeys=False)
    before_s = bench.now_s if journal_s is None else journal_s
    again.give(Started(again.at, "boot", "1", "hash", watch_only, before_s, same_boot))
    return again


def of(bench: Bench, **changes: object) -> LineState:
    """The state of a bench with something else in it."""
    return replace(bench.line.state, **changes)  # type: ignore[arg-type]


def supply_with(bench: Bench, **changes: object) -> LineState:
    return of(bench, supplies={"main": replace(bench.supply(), **changes)})  # type: ignore[arg-type]


# -- what is kept and what is forgotten


def test_a_start_forgets_what_was_read_asked_and_tried_before() -> None:
    bench = recorded()
    record = of(
        bench, exercise=Exercise("fan", 1e9), restarted=frozenset({"board"}), lowered_wire_s=1e9, attended_s=1.0,
        ending=True,
    )  # fmt: skip
    state = started(bench, state=record).line.state
    assert (state.channels, state.exercise, state.restarted) == ({}, None, frozenset())
    assert (state.ending, state.attended_s, state.lowered_wire_s) == (False, None, None)


def test_a_start_forgets_what_was_heated_cooled_and_ventilated() -> None:
    bench = recorded()
    record = of(bench, heating={"gone": HeatingState()}, cooling={"gone": CoolingState()}, air={"gone": 1e9})
    state = started(bench, state=record).line.state
    assert (state.heating, state.cooling, state.air) == ({}, {}, {})


def test_a_start_dates_itself_and_listens_from_then_on() -> None:
    again = started(recorded())
    assert (again.line.state.started_s, again.line.state.heard_from_s) == (again.now_s, again.now_s)


@pytest.mark.parametrize("watch_only", [True, False])
def test_whether_a_line_only_watches_is_said_at_its_start(watch_only: bool) -> None:
    bench = recorded()
    record = of(bench, watch_only=not watch_only)
    assert started(bench, state=record, watch_only=watch_only).line.state.watch_only is watch_only


def test_limits_that_a_bath_is_beyond_outlive_a_start_and_their_delay_does_not() -> None:
    bench = recorded()
    bands = {"main-acid": BandState(frozenset({"bath-high"}), 3.0), "a tank of before": BandState()}
    again = started(bench, state=of(bench, bands=bands))
    assert again.line.state.bands == {"main-acid": BandState(frozenset({"bath-high"}), None)}


def test_supplies_of_an_older_line_file_are_left_behind_and_new_ones_begin() -> None:
    bench = recorded()
    record = of(bench, supplies={**bench.line.state.supplies, "gone": SupplyState()})
    again = started(bench, state=record, setup=line_setup(2))
    assert set(again.line.state.supplies) == {"main", "side"}
    assert again.operation().load == "load-1"


def test_an_intent_a_closing_and_a_proof_of_before_are_worth_nothing() -> None:
    bench = Bench()
    bench.start_service()
    bench.pending()
    pending = bench.supply().pending
    assert pending is not None
    record = supply_with(
        bench,
        pending=replace(pending, deadline_wire_s=1e9),
        closing=Closing(1.0),
        output=Output(asked_wire_s=1.0, sent_wire_s=1.0, confirmed_s=2.0, low_readings=1),
    )
    again = started(bench, state=record)
    supply = again.supply()
    assert (supply.pending, supply.closing) == (None, None)
    assert supply.output == Output(asked_wire_s=again.now_s, sent_wire_s=again.now_s)


def test_what_a_contact_showed_before_a_start_is_not_believed() -> None:
    bench = Guarded().under_way()
    again = started(bench)
    assert set(again.line.state.contacts) == set(bench.line.state.contacts)
    assert {seen.closed for seen in again.line.state.contacts.values()} == {None}


def test_every_output_but_a_supplys_begins_with_its_safe_state() -> None:
    bench = Bench(fitted_setup())
    bench.start_service()
    again = started(bench)
    assert {name: state.on for name, state in again.line.state.outputs.items()} == {"contactor": False, "fan": True}
    assert sorted((one.output, one.on) for one in again.named(Switch)) == [("contactor", False), ("fan", True)]


def test_the_contactor_of_a_supply_with_knobs_is_opened_once_at_a_start() -> None:
    again = started(Bench(fitted_setup("contactor")))
    assert [one.on for one in again.named(Switch) if one.output == "contactor"] == [False]


def test_one_that_only_watches_arms_no_time_out_and_believes_none() -> None:
    bench = recorded()
    setup = replace(line_setup(), supplies={"main": replace(line_setup().supplies["main"], device_time_out_s=5.0)})
    watching = started(bench, state=supply_with(bench, armed=True), setup=setup, watch_only=True)
    assert not watching.supply().armed
    assert not watching.named(ArmTimeOut)
    assert len(started(bench, setup=setup).named(ArmTimeOut)) == 1


@pytest.mark.parametrize("control", ["contactor", "none"])
def test_a_supply_that_takes_no_commands_is_not_told_to_arm_anything(control: str) -> None:
    setup = fitted_setup(control)
    armed = replace(setup, supplies={"main": replace(setup.supplies["main"], device_time_out_s=5.0)})
    assert not started(Bench(armed)).named(ArmTimeOut)


# -- operations


def test_a_load_under_current_is_held_by_a_start_and_told_as_interrupted() -> None:
    again = started(recorded())
    operation = again.operation()
    assert (operation.state, operation.why) == (State.HOLDING, "interrupted")
    assert again.line.state.alarms["main/interrupted"].active


def test_a_load_that_was_held_is_not_told_as_interrupted() -> None:
    bench = recorded()
    bench.ask("hold")
    bench.run(2.0)
    again = started(bench)
    assert again.stands() is State.HELD
    assert "main/interrupted" not in again.line.state.alarms


def test_in_the_same_boot_process_times_go_on() -> None:
    bench = recorded()
    before = bench.operation()
    after = started(bench).operation()
    assert (after.began_s, after.dose.last_s) == (before.began_s, before.dose.last_s)
    assert not after.dose.unbounded


def test_a_record_without_a_time_is_taken_as_it_is() -> None:
    bench = recorded()
    again = Bench(state=bench.line.state, now_s=bench.now_s + 5.0, obeys=False)
    again.give(Started(again.at, "boot", "1", "hash", watch_only=False, journal_s=None, same_boot=False))
    assert again.operation().began_s == bench.operation().began_s
    assert not again.operation().dose.unbounded


def test_in_another_boot_process_times_are_moved_so_that_the_time_away_is_nothing() -> None:
    bench = recorded()
    before = bench.operation()
    after = started(bench, same_boot=False).operation()
    assert after.began_s == pytest.approx(before.began_s - bench.now_s + BOOT_S)
    assert after.commanded_c - before.commanded_c == pytest.approx(
        before.plan.current_a * (bench.now_s - before.counted_s), abs=1e-6
    )


def test_commanded_charge_goes_on_counting_after_a_reboot() -> None:
    bench = recorded()
    again = started(bench, same_boot=False)
    before = again.operation()
    again.later(2.0)
    again.wake_up()
    assert again.operation().commanded_c - before.commanded_c == pytest.approx(2.0 * before.plan.current_a)


@pytest.mark.parametrize(
    ("same_boot", "journal", "moved"), [(True, True, False), (False, False, False), (False, True, True)]
)
def test_process_times_of_alarms_are_moved_into_another_boot(same_boot: bool, journal: bool, moved: bool) -> None:
    bench = recorded()
    bench.temperature(25.0)
    appeared_s = bench.line.state.alarms["main-acid/bath-high-high"].since_s
    again = Bench(state=bench.line.state, now_s=BOOT_S, obeys=False)
    journal_s = bench.now_s if journal else None
    again.give(Started(again.at, "boot", "1", "hash", watch_only=False, journal_s=journal_s, same_boot=same_boot))
    since_s = again.line.state.alarms["main-acid/bath-high-high"].since_s
    assert since_s == pytest.approx(appeared_s + (BOOT_S - bench.now_s if moved else 0.0))


def test_a_load_that_is_over_is_kept_over_a_reboot_as_it_ended() -> None:
    bench = recorded()
    bench.ask("stop")
    bench.run(2.0)
    assert started(bench, same_boot=False).operation() == bench.operation()


def gap(bench: Bench, *, armed: bool, journal_s: float | None = None) -> Operation:
    """The operation after a start in another boot, of a supply whose own time-out is 5 s."""
    supply = replace(bench.setup.supplies["main"], device_time_out_s=5.0)
    setup = replace(bench.setup, supplies={"main": supply})
    record = supply_with(bench, armed=armed)
    return started(bench, state=record, same_boot=False, setup=setup, journal_s=journal_s).operation()


@pytest.mark.parametrize(("silent_s", "longest_s"), [(0.0, 5.0), (2.0, 7.0), (-1.0, 5.0)])
def test_across_a_reboot_current_flowed_no_longer_than_the_devices_own_time_out(
    silent_s: float, longest_s: float
) -> None:
    bench = recorded()
    dose = bench.operation().dose
    assert dose.last_s is not None
    after = gap(bench, armed=True, journal_s=dose.last_s + silent_s).dose
    flowed = Interval(0.0, dose.last.best * longest_s / 2, bench.setup.supplies["main"].rated_current_a * longest_s)
    assert after.charge.high == pytest.approx(dose.charge.plus(flowed).high)
    assert after.charge.best == pytest.approx(dose.charge.plus(flowed).best)


def test_before_any_reading_the_devices_time_out_counts_from_the_record() -> None:
    bench = recorded()
    operation = bench.operation()
    fresh = replace(operation, dose=replace(operation.dose, last_s=None))
    bench.line.state = supply_with(bench, operation=fresh)
    after = gap(bench, armed=True).dose
    rated_a = bench.setup.supplies["main"].rated_current_a
    assert after.charge.high - fresh.dose.charge.high == pytest.approx(rated_a * 5.0)


def test_a_time_out_that_was_never_confirmed_or_is_not_there_bounds_nothing() -> None:
    assert gap(recorded(), armed=False).dose.unbounded
    bench = recorded()
    assert started(bench, state=supply_with(bench, armed=True), same_boot=False).operation().dose.unbounded


# -- a standstill


@pytest.mark.parametrize(("by_wire_s", "holds"), [(1.999, False), (2.0, True)])
def test_a_standstill_of_two_seconds_holds_what_is_under_current(by_wire_s: float, holds: bool) -> None:
    bench = Bench(line_setup(2)).running(supply="main", target_um=20.0)
    bench.give(Delayed(bench.at, by_wire_s))
    assert bench.operation().energised is not holds
    assert ("main/loop-late" in bench.line.state.alarms) is holds
    assert "side/loop-late" not in bench.line.state.alarms


def test_a_standstill_while_held_is_no_fault() -> None:
    bench = recorded()
    bench.ask("hold")
    bench.run(2.0)
    bench.give(Delayed(bench.at, 10.0))
    assert "main/loop-late" not in bench.line.state.alarms


# -- the words of a device


def test_a_time_out_is_armed_by_a_good_word_alone() -> None:
    bench = recorded()
    for ok in (True, False):
        bench.give(Written(bench.at, "main", "time-out", 1, ok, bench.now_s, bench.now_s))
        assert bench.supply().armed is ok


def test_a_word_on_a_supply_of_another_line_file_is_nothing() -> None:
    bench = recorded()
    before = bench.line.state
    assert not bench.give(Written(bench.at, "gone", "off", 1, True, bench.now_s, bench.now_s)).actions
    assert bench.line.state == before


def test_the_current_changed_in_the_middle_of_the_first_confirmed_off() -> None:
    bench = recorded()
    bench.obeys = False
    bench.ask("hold")
    number, now_s = bench.named(SwitchOff)[-1].number, bench.now_s
    bench.later(0.2)
    bench.give(Written(bench.at, "main", "off", number, False, now_s, now_s + 0.2))
    assert bench.operation().dose.steps_s == ()
    bench.give(Written(bench.at, "main", "off", number, True, now_s, now_s + 0.2))
    assert list(bench.operation().dose.steps_s) == pytest.approx([now_s + 0.1])
    assert bench.supply().output.confirmed_s == now_s + 0.2
    bench.give(Written(bench.at, "main", "off", number, True, now_s, now_s + 0.4))
    assert len(bench.operation().dose.steps_s) == 1


def test_an_off_of_a_load_that_is_over_changes_nothing_of_its_charge() -> None:
    bench = recorded()
    bench.ask("stop")
    bench.run(2.0)
    dose = bench.operation().dose
    bench.ask("off")
    assert bench.supply().output.confirmed_s is not None
    assert bench.operation().dose == dose


# -- the end


def test_an_end_holds_what_is_under_current_and_switches_everything_else_off_once_more() -> None:
    bench = Bench(line_setup(2)).running(supply="main", target_um=20.0)
    bench.obeys = False
    step = bench.give(Ending(bench.at))
    assert [one.supply for one in of_kind(step, SwitchOff)] == ["main", "side"]
    assert (bench.stands(), bench.operation().why) == (State.HOLDING, "interrupted")
    assert bench.line.state.ending
    assert "side/interrupted" not in bench.line.state.alarms


def test_an_end_does_not_hold_again_what_is_held() -> None:
    bench = recorded()
    bench.ask("hold")
    bench.run(2.0)
    bench.give(Ending(bench.at))
    assert (bench.stands(), bench.operation().why) == (State.HELD, "hold asked for by mara")
    assert "main/interrupted" not in bench.line.state.alarms


def test_at_an_end_a_contactor_waits_for_the_proof_of_off_and_what_hangs_on_no_supply_does_not() -> None:
    bench = Bench(fitted_setup())
    bench.start_service()
    bench.obeys = False
    step = bench.give(Ending(bench.at))
    assert [(one.output, one.on) for one in of_kind(step, Switch)] == [("fan", True)]


def test_at_an_end_the_contactor_of_a_supply_with_knobs_opens_at_once_and_once() -> None:
    bench = Bench(fitted_setup("contactor"))
    bench.start_service()
    bench.obeys = False
    step = bench.give(Ending(bench.at))
    assert [(one.output, one.on) for one in of_kind(step, Switch)] == [("contactor", False), ("fan", True)]


def test_an_end_of_one_that_only_watches_commands_nothing() -> None:
    bench = Bench(fitted_setup())
    bench.start_service(watch_only=True)
    step = bench.give(Ending(bench.at))
    assert not of_kind(step, SwitchOff)
    assert not of_kind(step, Switch)


# -- the target


def test_a_target_is_met_in_the_step_in_which_the_charge_reaches_it() -> None:
    bench = recorded()
    bench.obeys = False
    best_c = bench.operation().dose.charge.best
    plan = replace(bench.operation().plan, target_c=best_c)
    bench.line.state = supply_with(bench, operation=replace(bench.operation(), plan=plan))
    bench.wake_up()
    assert bench.stands() is State.STOPPING
    assert bench.operation().at_target


def test_nothing_of_an_operation_that_is_over_moves_any_more() -> None:
    bench = recorded()
    bench.ask("stop")
    bench.run(2.0)
    plan = replace(bench.operation().plan, target_c=0.0)
    bench.line.state = supply_with(bench, operation=replace(bench.operation(), plan=plan))
    before = bench.operation()
    bench.later(10.0)
    bench.wake_up()
    assert bench.operation() == before


def test_what_is_not_under_current_is_not_predicted_to_reach_its_target() -> None:
    bench = Bench()
    bench.start_service()
    assert bench.ask("start", order=Order(0.013, 1.0)).ok
    bench.run(2.0)
    bench.ask("hold")
    bench.run(2.0)
    assert bench.line._wakes["supply main"].process_s == bench.now_s + 3.0


def test_a_line_without_a_record_begins_with_every_supply_idle() -> None:
    line = Line(line_setup(2))
    assert set(line.state.supplies) == {"main", "side"}
    assert all(supply == SupplyState() for supply in line.state.supplies.values())
