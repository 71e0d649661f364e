"""What a supply shows while a load runs: lost contacts, dropped outputs, crossover; and lines with several supplies."""

from __future__ import annotations

from dataclasses import replace

import pytest

from supervisor.core.actions import Note, SetPoints, SwitchOff, SwitchOn
from supervisor.core.anodize import State
from supervisor.core.events import Order, Quality, Reading, Scanned, Written
from tests.core.kit import Bench
from tests.core.plain import line_setup


def test_a_lost_contact_holds_the_load_as_suspect_in_little_over_a_second() -> None:
    bench = Bench().running()
    bench.devices["main"].broken_contact = True
    lost_s = bench.now_s
    while bench.stands() is State.RUNNING:
        bench.run(0.4)
    assert bench.now_s - lost_s <= 2.0
    assert bench.operation().why == "current-lost"
    assert bench.line.state.loads["load-1"].suspect == "current-lost"


def test_a_contact_lost_in_the_soft_start_is_found_though_set_points_are_on_their_way() -> None:
    bench = Bench()
    bench.start_service()
    bench.start()
    bench.run(2.5)
    bench.devices["main"].broken_contact = True
    bench.drops = SetPoints  # the next ones are never confirmed
    bench.run(2.4)
    assert bench.operation().why == "current-lost"


def test_a_current_low_for_less_than_a_second_is_no_lost_contact() -> None:
    bench = Bench().running()
    for value in (0.0, 0.0, 0.0, 1.95, 0.0, 0.0, 1.95):
        bench.later(0.3)
        bench.current(value)
    assert bench.stands() is State.RUNNING


def test_bad_readings_are_no_lost_contact() -> None:
    bench = Bench().running()
    for quality in (Quality.GOOD, *[Quality.NO_ANSWER] * 5):
        bench.later(0.3)
        bench.current(0.0 if quality is Quality.GOOD else None, quality=quality)
    assert bench.stands() is State.RUNNING


@pytest.mark.parametrize(("share", "stands"), [(0.099, State.HOLDING), (0.101, State.RUNNING)])
def test_the_lost_current_is_under_a_tenth_of_the_set_one(share: float, stands: State) -> None:
    bench = Bench().running()
    bench.drops = SwitchOff
    for _ in range(5):
        bench.later(0.3)
        bench.current(share * 1.95)
    assert bench.stands() is stands


def test_in_voltage_mode_a_lost_contact_is_judged_by_the_plan_once_the_ramp_is_done() -> None:
    bench = Bench()
    bench.start_service()
    bench.ask("start", order=Order(0.013, 20.0, mode="voltage"))
    bench.devices["main"].gain = 0.05  # a ramp that has hardly begun draws next to nothing
    bench.run(8.0)
    assert bench.stands() is State.RUNNING
    bench.run(6.0)
    assert bench.operation().why == "current-lost"


def test_in_voltage_mode_the_dose_measured_ends_the_load() -> None:
    bench = Bench()
    bench.start_service()
    bench.ask("start", order=Order(0.013, 1.0, mode="voltage"))
    bench.run(120.0)
    assert bench.stands() is State.COMPLETE
    charge = bench.operation().dose.charge
    assert charge.best == pytest.approx(bench.operation().plan.target_c, rel=0.01)


def test_crossover_is_told_once_each_way_and_changes_nothing_else() -> None:
    bench = Bench().running(target_um=20.0)
    for held in (True, False):
        bench.devices["main"].voltage_held = held
        bench.run(2.0)
    told = [note.data["mode"] for note in bench.named(Note) if note.kind == "crossover"]
    assert told == ["voltage held", "current held"]
    assert bench.stands() is State.RUNNING


def test_mode_readings_of_an_idle_supply_are_no_crossover() -> None:
    bench = Bench()
    bench.start_service()
    for held in (True, False, True):
        bench.devices["main"].voltage_held = held
        bench.run(1.0)
    assert not [note for note in bench.named(Note) if note.kind == "crossover"]


@pytest.mark.parametrize("off_by", [0.0, 0.001])
def test_set_points_read_back_within_a_step_are_the_ones_given(off_by: float) -> None:
    bench = Bench().running()
    bench.later(0.1)
    reading = Reading("main-set-current", Quality.GOOD, 1.95 - off_by)
    bench.give(Scanned(bench.at, "main-device", bench.now_s, bench.now_s, (reading,)))
    assert bench.stands() is State.RUNNING


@pytest.mark.parametrize(("current_a", "stands"), [(2.05, State.RUNNING), (2.07, State.ABORTING)])
def test_over_current_is_a_current_surely_above_the_set_one_by_a_twentieth(current_a: float, stands: State) -> None:
    bench = Bench().running()
    bench.obeys = False
    bench.later(0.1)
    bench.current(current_a)
    assert bench.stands() is stands


# -- several supplies


def two_running() -> Bench:
    bench = Bench(line_setup(2))
    bench.running(supply="main", target_um=20.0)
    assert bench.start(supply="side", target_um=20.0).ok
    bench.run(12.0)
    return bench


def test_a_trip_of_one_supply_leaves_the_other_alone() -> None:
    bench = two_running()
    before = bench.line.state.supplies["side"]
    bench.later(0.1)
    step = bench.current(2.5)
    assert bench.stands("main") is State.ABORTING
    assert {action.supply for action in step.actions if isinstance(action, SwitchOff)} == {"main"}
    assert bench.line.state.supplies["side"] == before


def test_a_hot_bath_stops_the_supplies_over_it_alone() -> None:
    bench = two_running()
    bench.bath_c["side-acid"] = 25.0
    bench.run(2.0)
    assert (bench.stands("main"), bench.stands("side")) == (State.RUNNING, State.STOPPED)


def test_two_supplies_over_one_bath_are_both_stopped_when_it_is_hot() -> None:
    setup = line_setup(2)
    side = replace(setup.supplies["side"], tank="main-acid")
    bench = Bench(replace(setup, supplies={**setup.supplies, "side": side}))
    bench.running(supply="main", target_um=20.0)
    assert bench.start(supply="side", target_um=20.0).ok
    step = bench.temperature(25.0)
    assert [action.supply for action in step.actions if isinstance(action, SwitchOff)] == ["main", "side"]


def test_requests_for_one_supply_and_its_silence_leave_the_other_running() -> None:
    bench = two_running()
    bench.ask("hold", supply="main")
    bench.silent = {"main"}
    bench.run(10.0)
    assert bench.stands("side") is State.RUNNING
    assert {alarm.subject for alarm in bench.line.state.alarms.values()} <= {"main", "main-acid"}


def test_off_without_a_name_switches_every_supply_off() -> None:
    bench = two_running()
    step = bench.give(bench.request("off"))
    assert sorted(action.supply for action in step.actions if isinstance(action, SwitchOff)) == ["main", "side"]
    bench.run(2.0)
    assert {bench.stands("main"), bench.stands("side")} == {State.STOPPED}


def test_the_charge_of_each_supply_is_its_own() -> None:
    alone, both = Bench().running(target_um=20.0), two_running()
    alone.run(12.0)
    assert both.operation("main").dose.charge == pytest.approx(alone.operation().dose.charge, rel=1e-9)
    assert both.operation("side").dose.charge.best < both.operation("main").dose.charge.best


# -- watching only


def test_watching_only_off_is_sent_exactly_once_and_nothing_else_ever() -> None:
    bench = Bench()
    bench.drops = SwitchOff  # not even confirmed
    bench.start_service(watch_only=True)
    bench.start()
    bench.run(10.0)
    bench.devices["main"].on, bench.devices["main"].set_a = True, 3.0  # somebody uses the supply by hand
    bench.run(10.0)
    assert [type(action) for action in bench.actions if isinstance(action, SwitchOff | SwitchOn | SetPoints)] == [
        SwitchOff
    ]


def test_watching_only_current_after_the_proof_is_told_and_left_alone() -> None:
    bench = Bench()
    bench.start_service(watch_only=True)
    assert bench.supply().output.proven_off
    bench.devices["main"].on, bench.devices["main"].set_a = True, 3.0
    bench.run(5.0)
    assert len(bench.named(SwitchOff)) == 1
    assert len(bench.alarm_texts("main/current-without-operation")) == 1
    assert bench.line.state.alarms["main/current-without-operation"].standing
    bench.devices["main"].on = False
    bench.run(2.0)
    assert bench.supply().output.proven_off
    assert bench.line.state.alarms["main/current-without-operation"].latched


def test_the_fate_of_a_command_to_a_supply_nobody_knows_changes_nothing() -> None:
    bench = Bench().running()
    before = bench.line.state
    step = bench.give(Written(bench.at, "nobody", "off", 1, True, bench.now_s, bench.now_s))
    assert not step.actions
    assert bench.line.state == before
