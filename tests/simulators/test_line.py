"""Bath, sensors and supply going on together in process time."""

from __future__ import annotations

import random
import statistics
from dataclasses import replace

import pytest

from simulators.bath import Bath, Sensor
from simulators.line import SimulatedLine
from simulators.plan import LinePlan
from simulators.plan_process import SensorPlan


def bare_bath(plan: LinePlan, volume_l: float) -> Bath:
    """A tank that neither cools nor loses heat."""
    return Bath(replace(plan.tanks["acid"], volume_l=volume_l, loss_w_per_c=0.0, cooling=None), 20.5)


@pytest.mark.parametrize(
    ("volume_l", "current_a", "voltage_v", "rise_c"),
    [(8, 1.67, 15, 3.1), (8, 5, 16, 9.7), (40, 20, 16, 7.8), (200, 100, 16, 7.8)],
)
def test_uncooled_baths_warm_as_the_heat_balance_says(
    plan: LinePlan, volume_l: float, current_a: float, voltage_v: float, rise_c: float
) -> None:
    # Derived from I x (V + 1.41 V) and 4.039 kJ/(L*K) of 16.5 % acid (Laliberté correlation).
    bath = bare_bath(plan, volume_l)
    for _ in range(3600):
        bath.step(1.0, current_a * (voltage_v + 1.41))
    assert bath.bath_c - 20.5 == pytest.approx(rise_c, abs=0.06)


def test_the_load_heats_its_bath_with_what_the_cell_takes(plan: LinePlan) -> None:
    tank = replace(plan.tanks["acid"], loss_w_per_c=0.0, cooling=None)
    line = SimulatedLine(replace(plan, tanks={"acid": tank}), seed=1)
    supply = line.supplies["rectifier"]
    supply.set_current(1.67)
    supply.set_voltage(40.0)
    supply.switch(on=True)
    line.advance(3600.0)
    cell_v = supply.voltage_v - 1.67 * 0.05
    expected_c = 1.67 * (cell_v + 1.41) * 3600 / (8 * 4039)
    assert line.baths["acid"].bath_c - 20.5 == pytest.approx(expected_c, rel=0.03)


def test_the_cooling_coil_holds_a_loaded_bath_within_its_hysteresis(plan: LinePlan) -> None:
    line = SimulatedLine(plan, seed=1)
    supply = line.supplies["rectifier"]
    supply.set_current(1.95)
    supply.set_voltage(22.0)
    supply.switch(on=True)
    seen_c = []
    for minute in range(1, 61):
        line.advance(60.0 * minute)
        seen_c.append(line.baths["acid"].bath_c)
    assert 20.38 <= min(seen_c) < max(seen_c) <= 20.62


def test_a_sheathed_sensor_shows_63_percent_of_a_step_after_its_time_constant() -> None:
    sensor = Sensor(SensorPlan("", 40.0, 0.0), 20.0, random.Random(1))
    for _ in range(40):
        sensor.step(1.0, 30.0)
    assert sensor.read() == pytest.approx(26.32, abs=0.01)


def test_sensor_noise_is_as_wide_as_stated() -> None:
    sensor = Sensor(SensorPlan("", 40.0, 0.05), 20.0, random.Random(1))
    shown = [sensor.read() for _ in range(2000)]
    assert statistics.stdev(value for value in shown if value is not None) == pytest.approx(0.05, rel=0.1)


def test_charge_is_exact_across_steps_of_the_set_point_and_the_output(plan: LinePlan) -> None:
    line = SimulatedLine(plan, seed=1)
    supply = line.supplies["rectifier"]
    supply.set_voltage(40.0)
    chance = random.Random(7)
    expected_c = 0.0
    for _ in range(300):
        began_s = line.now_s
        supply.set_current(round(chance.uniform(0.2, 3.0), 3))
        supply.switch(on=chance.random() < 0.8)
        line.advance(began_s + chance.uniform(0.001, 25.0))
        expected_c += (supply.set_current_a if supply.is_on else 0.0) * (line.now_s - began_s)
    assert supply.charge_c == pytest.approx(expected_c, rel=1e-12)


def held_charge_c(plan: LinePlan, until_s: float, cut_s: float) -> float:
    """The charge of a step to 15 V, advanced in pieces of cut_s."""
    line = SimulatedLine(plan, seed=2)
    supply = line.supplies["rectifier"]
    supply.set_current(5.0)
    supply.set_voltage(15.0)
    supply.switch(on=True)
    for step in range(1, round(until_s / cut_s) + 1):
        line.advance(step * cut_s)
    assert supply.mode == "voltage held"
    return supply.charge_c


def test_charge_across_crossover_is_that_of_finer_steps(plan: LinePlan) -> None:
    assert held_charge_c(plan, 20.0, 20.0) == pytest.approx(held_charge_c(plan, 20.0, 0.001), rel=1e-3)


def test_charge_under_held_voltage_does_not_hang_on_how_time_is_cut(plan: LinePlan) -> None:
    assert held_charge_c(plan, 900.0, 900.0) == pytest.approx(held_charge_c(plan, 900.0, 0.36), rel=1e-4)


def test_no_order_of_orders_drives_the_physics_out_of_bounds(plan: LinePlan) -> None:
    chance = random.Random(3)
    line = SimulatedLine(plan, seed=3)
    supply = line.supplies["rectifier"]
    for _ in range(1500):
        chance.choice([
            lambda: supply.set_current(chance.choice([0.0, 0.001, 1.95, 10.0])),
            lambda: supply.set_voltage(chance.choice([0.0, 0.5, 8.0, 15.0, 60.0])),
            lambda: supply.switch(on=chance.random() < 0.7),
            lambda: setattr(supply.cell, "share", chance.choice([0.0, 0.05, 1.0])),
            supply.disturb,
        ])()  # fmt: skip
        supply.disturb()
        line.advance(line.now_s + chance.choice([0.0, 0.01, 1.0, 40.0]))
        assert 0.0 <= supply.current_a <= supply.set_current_a
        assert 0.0 <= supply.voltage_v <= 80.0
        assert line.baths["acid"].bath_c < 60.0


def test_a_current_limit_of_zero_carries_nothing(plan: LinePlan) -> None:
    line = SimulatedLine(plan, seed=1)
    supply = line.supplies["rectifier"]
    supply.set_voltage(22.0)
    supply.switch(on=True)
    line.advance(10.0)
    assert (supply.current_a, supply.voltage_v, supply.mode) == (0.0, 0.0, "current held")


def test_time_that_has_passed_changes_nothing(plan: LinePlan) -> None:
    line = SimulatedLine(plan, seed=1)
    line.advance(100.0)
    before = line.state()
    line.advance(50.0)
    assert line.state() == before


def test_output_is_off_at_the_start_and_carries_nothing(plan: LinePlan) -> None:
    line = SimulatedLine(plan, seed=1)
    line.advance(60.0)
    supply = line.supplies["rectifier"]
    assert (supply.is_on, supply.current_a, supply.charge_c, supply.mode) == (False, 0.0, 0.0, "off")


def test_the_rating_and_the_cap_bound_the_current(plan: LinePlan) -> None:
    capped = replace(plan.supplies["rectifier"], cap_current_a=2.0)
    line = SimulatedLine(replace(plan, supplies={"rectifier": capped}), seed=1)
    supply = line.supplies["rectifier"]
    supply.set_voltage(99.0)
    supply.set_current(99.0)
    supply.switch(on=True)
    assert (supply.set_current_a, supply.set_voltage_v, supply.current_a) == (10.0, 60.0, 2.0)


def test_every_switch_is_told_with_its_charge_even_when_nothing_changes(plan: LinePlan) -> None:
    told: list[dict[str, object]] = []
    line = SimulatedLine(plan, seed=1, tell=told.append)
    supply = line.supplies["rectifier"]
    supply.set_current(2.0)
    supply.set_voltage(40.0)
    supply.switch(on=True)
    line.advance(10.0)
    supply.switch(on=False)
    supply.switch(on=False)
    facts = [(truth["on"], truth["changed"], truth["process_s"], truth["cause"]) for truth in told]
    assert facts == [(True, True, 0.0, "command"), (False, True, 10.0, "command"), (False, False, 10.0, "command")]
    assert told[1]["charge_c"] == pytest.approx(20.0, rel=1e-12)


def test_two_supplies_keep_their_own_charge_and_heat_their_own_tanks(plan: LinePlan) -> None:
    tank = replace(plan.tanks["acid"], cooling=None, loss_w_per_c=0.0)
    supply = plan.supplies["rectifier"]
    double = replace(
        plan,
        tanks={"acid": tank, "second": tank},
        supplies={"rectifier": supply, "other": replace(supply, tank="second")},
    )
    line = SimulatedLine(double, seed=1)
    line.supplies["other"].set_current(1.0)
    line.supplies["other"].set_voltage(40.0)
    line.supplies["other"].switch(on=True)
    line.advance(600.0)
    assert line.supplies["rectifier"].charge_c == 0.0
    assert line.supplies["other"].charge_c == pytest.approx(600.0)
    assert line.baths["acid"].bath_c == 20.5
    assert line.baths["second"].bath_c > 20.6
