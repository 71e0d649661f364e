"""R6: no set current exceeds the least of rating, cap and area x highest density, in current and in voltage mode."""

from __future__ import annotations

from dataclasses import replace
from decimal import ROUND_FLOOR, Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from supervisor.core.actions import Record, SetPoints
from supervisor.core.anodize import State
from supervisor.core.events import Order, Written
from supervisor.core.plan import floor_to_step, highest_current_a
from supervisor.core.setup import LineSetup, Mode
from tests.core.kit import Bench
from tests.core.plain import line_setup


def limited(rating_a: float, cap_a: float, highest: float, step_a: float) -> LineSetup:
    setup = line_setup()
    supply = replace(setup.supplies["main"], rated_current_a=rating_a, cap_current_a=cap_a, current_step_a=step_a)
    return replace(setup, supplies={"main": supply}, anodize=replace(setup.anodize, highest_density_a_per_m2=highest))


@settings(max_examples=25, derandomize=True, deadline=None)
@given(
    rating_a=st.floats(1.0, 20.0),
    cap=st.floats(0.2, 1.0),
    highest=st.floats(100.0, 400.0),
    density=st.floats(50.0, 400.0),
    area_m2=st.floats(0.002, 0.08),
    step_a=st.sampled_from([0.001, 0.01, 0.1, 0.0305]),
    ramp_s=st.sampled_from([0.0, 0.5, 3.3, 10.0]),
    mode=st.sampled_from(["current", "voltage"]),
)
def test_no_set_point_of_a_whole_run_exceeds_the_limits(
    rating_a: float, cap: float, highest: float, density: float, area_m2: float, step_a: float, ramp_s: float,
    mode: Mode,
) -> None:  # fmt: skip
    bench = Bench(limited(rating_a, cap * rating_a, highest, step_a))
    bench.start_service()
    order = Order(area_m2, 2.0, density_a_per_m2=density, mode=mode, ramp_s=ramp_s)
    if bench.ask("start", order=order).ok:
        bench.run(ramp_s + 2.0)
        bench.ask("hold")
        bench.run(2.0)
        bench.ask("restart")
        bench.run(ramp_s + 2.0)
        assert bench.stands() is State.RUNNING
    limit_a = min(rating_a, cap * rating_a, area_m2 * highest)
    for action in bench.named(SetPoints):
        assert 0 < action.current_a <= limit_a * (1 + 1e-9)
        steps = action.current_a / step_a
        assert abs(steps - round(steps)) < 1e-6
        assert 0 < action.voltage_v <= 22.0
    if bench.named(SetPoints):
        last = bench.named(SetPoints)[-1]
        assert last.current_a <= min(limit_a, area_m2 * density if mode == "current" else limit_a) * (1 + 1e-9)


@pytest.mark.parametrize("which", ["rating", "cap", "density"])
def test_each_of_the_three_bounds_alone_bounds_the_current(which: str) -> None:
    figures = {"rating": 10.0, "cap": 9.0, "density": 800.0} | {which: {"density": 150.0}.get(which, 1.5)}
    setup = limited(figures["rating"], min(figures["cap"], figures["rating"]), figures["density"], 0.001)
    assert highest_current_a(setup.supplies["main"], setup.anodize.highest_density_a_per_m2, 0.01) == pytest.approx(1.5)


@given(value=st.floats(0.0, 1e3), step=st.sampled_from([0.001, 0.01, 0.1, 0.5, 1.0]))
@settings(max_examples=100, derandomize=True, deadline=None)
def test_rounding_to_the_step_goes_down(value: float, step: float) -> None:
    rounded = floor_to_step(value, step)
    exact = (Decimal(repr(value)) / Decimal(repr(step))).to_integral_value(ROUND_FLOOR) * Decimal(repr(step))
    assert rounded == pytest.approx(float(exact), abs=1e-9) or rounded == pytest.approx(value, abs=step * 1e-8)
    assert value - step < rounded <= value + step * 1e-8


def test_rounding_forgives_the_noise_of_binary_fractions() -> None:
    assert floor_to_step(0.013 * 150.0, 0.001) == pytest.approx(1.95)
    assert floor_to_step(1.9499, 0.001) == pytest.approx(1.949)


def test_a_plan_of_a_line_file_changed_since_is_not_restarted_above_the_new_limits() -> None:
    bench = Bench().running(target_um=20.0)
    bench.ask("hold")
    bench.run(2.0)
    again = Bench(limited(10.0, 1.0, 200.0, 0.001), state=bench.line.state, now_s=bench.now_s)
    again.asked = bench.asked
    again.start_service()
    refused = again.ask("restart")
    assert refused.reasons[0].startswith(
        "plan within limits: load load-1 was planned for 1.95 A and 22 V; main may give 1 A"
    )
    assert not again.named(SetPoints)


def test_the_voltage_of_an_old_plan_must_fit_the_supply_of_now_too() -> None:
    bench = Bench().running(target_um=20.0)
    bench.ask("hold")
    bench.run(2.0)
    setup = line_setup()
    lower = replace(setup, supplies={"main": replace(setup.supplies["main"], rated_voltage_v=20.0)})
    again = Bench(lower, state=bench.line.state, now_s=bench.now_s)
    again.asked = bench.asked
    again.start_service()
    assert "plan within limits" in again.ask("restart").reasons[0]


def test_the_soft_start_rises_step_by_step_and_ends_at_the_plan() -> None:
    bench = Bench().running()
    currents = [action.current_a for action in bench.named(SetPoints)]
    assert currents == sorted(currents)
    assert len(currents) >= 10
    assert currents[0] == pytest.approx(0.195)
    assert currents[-1] == pytest.approx(1.95)


def test_the_soft_start_in_voltage_mode_raises_the_voltage_under_the_current_cap() -> None:
    bench = Bench()
    bench.start_service()
    assert bench.ask("start", order=Order(0.013, 1.0, mode="voltage", voltage_v=18.0)).ok
    bench.run(12.0)
    volts = [action.voltage_v for action in bench.named(SetPoints)]
    assert volts == sorted(volts)
    assert [volts[0], volts[-1]] == pytest.approx([1.8, 18.0])
    assert [action.current_a for action in bench.named(SetPoints)] == pytest.approx([2.6] * len(volts))
    assert bench.named(Record)[-1].highest_current_a == pytest.approx(2.6)


def test_the_last_set_points_are_sent_again_until_they_are_confirmed() -> None:
    bench = Bench()
    bench.start_service()
    bench.ask("start", order=Order(0.013, 20.0, ramp_s=2.0))
    bench.run(0.5)
    bench.drops = SetPoints
    bench.run(5.0)
    finals = [action for action in bench.named(SetPoints) if action.current_a == pytest.approx(1.95)]
    assert len(finals) >= 3
    bench.drops = None
    bench.run(2.0)
    settled = len(bench.named(SetPoints))
    bench.run(5.0)
    assert len(bench.named(SetPoints)) == settled


def test_the_soft_start_ends_though_every_confirmation_takes_longer_than_its_step() -> None:
    bench = Bench()
    bench.start_service()
    bench.ask("start", order=Order(0.013, 20.0, ramp_s=2.0))
    bench.run(0.5)
    bench.drops = SetPoints
    bench.run(5.0)
    finals = [action for action in bench.named(SetPoints) if action.current_a == pytest.approx(1.95)]
    bench.give(Written(bench.at, "main", "set points", finals[-2].number, True, bench.now_s - 2.0, bench.now_s))
    settled = len(bench.named(SetPoints))
    bench.run(5.0)
    assert len(bench.named(SetPoints)) == settled
