"""R8: the end at the target is predicted: by which current, since when, early by what an off takes, or not at all."""

from __future__ import annotations

from dataclasses import replace

import pytest

from supervisor.core.actions import SwitchOn
from supervisor.core.anodize import Operation, Ramp, State
from supervisor.core.dose import Dose
from supervisor.core.events import Order
from supervisor.core.line import _stop_s
from supervisor.core.plan import Plan
from supervisor.core.state import SupplyState
from supervisor.trade.charge import Interval
from tests.core.kit import Bench

PLAN = Plan("current", 0.013, 20.0, 30.0, 2.0, 22.0, 2.0, 10.0, 1000.0, 1500.0, 3000.0)
RAMP = Ramp(90.0, None, 2.0, 22.0, 3, 99.0, 99.5, 99.5)
READ = Dose(Interval(9.0, 10.0, 11.0), 100.0, Interval(0.9, 1.0, 1.1))
STEPPED = replace(READ, steps_s=(104.0,))
"""20 C are missing at 100 s with 1 A read then; 2 A are set from 104 s on: 4 C flow before, 16 C take 8 s more."""


def stop_s(dose: Dose, *, lead_s: float = 0.0, plan: Plan = PLAN, ramp: Ramp | None = RAMP) -> float:
    operation = Operation("main-1", "load-1", plan, State.RUNNING, dose, 90.0, 100.0, ramp=ramp)
    return _stop_s(SupplyState(lead_s=lead_s), operation)


def test_the_current_read_goes_on_until_the_target() -> None:
    assert stop_s(READ) == pytest.approx(120.0)


def test_a_set_point_changed_since_the_reading_is_what_flows_from_then_on() -> None:
    assert stop_s(STEPPED) == pytest.approx(112.0)


def test_off_is_decided_early_by_what_it_takes_to_work() -> None:
    assert stop_s(READ, lead_s=0.25) == pytest.approx(119.75)


def test_where_the_set_current_is_only_a_bound_the_reading_goes_on() -> None:
    assert stop_s(STEPPED, plan=replace(PLAN, mode="voltage")) == pytest.approx(120.0)
    assert stop_s(STEPPED, plan=replace(PLAN, commanded_a=10.0)) == pytest.approx(120.0)


def test_nothing_is_predicted_before_on_is_confirmed_nor_without_a_current() -> None:
    never = float("inf")
    assert stop_s(STEPPED, ramp=replace(RAMP, on_s=None)) == never
    assert stop_s(READ, ramp=None) == never
    assert stop_s(replace(READ, last=Interval(0.0, 0.0, 0.1))) == never
    assert stop_s(replace(READ, last_s=None)) == never


def near_its_target(missing_c: float) -> Bench:
    """A bench under current that lacks this much charge, right after a reading."""
    bench = Bench().running(target_um=20.0)
    operation = bench.operation()
    plan = replace(operation.plan, target_c=operation.dose.charge.best + missing_c)
    supply = replace(bench.supply(), operation=replace(operation, plan=plan))
    bench.line.state = replace(bench.line.state, supplies={"main": supply})
    bench.wake_up()
    return bench


def test_the_operation_ends_at_the_predicted_moment_though_nothing_was_read_since() -> None:
    bench = near_its_target(1.95)
    assert bench.stands() is State.RUNNING
    due_s = bench.line._wakes["supply main"].process_s
    assert due_s is not None
    bench.now_s = due_s - 0.001
    bench.wake_up()
    assert bench.stands() is State.RUNNING
    bench.now_s = due_s
    bench.wake_up()
    assert bench.stands() is State.STOPPING
    assert bench.operation().at_target


def test_a_load_on_its_way_to_be_held_completes_once_its_charge_is_the_target() -> None:
    bench = Bench().running(target_um=20.0)
    bench.obeys = False
    bench.ask("hold")
    operation = bench.operation()
    plan = replace(operation.plan, target_c=operation.dose.charge.best)
    supply = replace(bench.supply(), operation=replace(operation, plan=plan))
    bench.line.state = replace(bench.line.state, supplies={"main": supply})
    bench.wake_up()
    assert bench.stands() is State.STOPPING


def test_a_supply_that_never_confirmed_on_reaches_no_target() -> None:
    bench = Bench()
    bench.drops = SwitchOn
    bench.start_service()
    assert bench.ask("start", order=Order(0.013, 1.0)).ok
    bench.run(1.5)
    assert bench.stands() is State.RUNNING
