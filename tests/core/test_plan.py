"""From an order to a plan, and every reason against one."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import pytest

from supervisor.core.events import Order
from supervisor.core.plan import Plan, make_plan
from supervisor.trade.coating import RULE_720_UM_M2_PER_C
from tests.core.plain import line_setup

SETUP = line_setup()
GOOD = Order(0.013, 20.0)


def plan(order: Order) -> Plan:
    made, reasons = make_plan(SETUP, SETUP.supplies["main"], order)
    assert made is not None
    assert not reasons
    return made


def reasons(order: Order, **anodize: float) -> tuple[str, ...]:
    setup = replace(SETUP, anodize=replace(SETUP.anodize, **anodize))  # type: ignore[arg-type]
    made, why = make_plan(setup, setup.supplies["main"], order)
    assert made is None
    return why


def test_the_target_charge_is_that_of_the_best_growth_factor() -> None:
    assert plan(GOOD).target_c == pytest.approx(20.0 * 0.013 / RULE_720_UM_M2_PER_C)


def test_the_current_is_area_times_density() -> None:
    assert plan(GOOD).current_a == pytest.approx(0.013 * 150.0)


def test_the_order_overrides_what_the_line_file_says() -> None:
    made = plan(replace(GOOD, density_a_per_m2=100.0, mode="voltage", voltage_v=15.0, ramp_s=30.0))
    assert (made.mode, made.voltage_v, made.ramp_s) == ("voltage", 15.0, 30.0)
    assert made.expected_a == pytest.approx(1.3)


def test_in_voltage_mode_the_current_is_capped_and_not_set() -> None:
    made = plan(replace(GOOD, mode="voltage"))
    assert made.current_a == pytest.approx(0.013 * 200.0)
    assert made.expected_a == pytest.approx(0.013 * 150.0)


REFUSED: list[tuple[Order, str]] = [
    (replace(GOOD, area_m2=float("nan")), "A figure of the order is not a finite number."),
    (replace(GOOD, area_m2=0.0), "The area must be above zero."),
    (replace(GOOD, target_um=-1.0), "The target thickness must be above zero."),
    (replace(GOOD, target_um=36.0), "No coat of this kind reaches 36 µm; this line's limit is 35 µm."),
    (replace(GOOD, density_a_per_m2=0.0), "The current density must be above zero."),
    (replace(GOOD, density_a_per_m2=201.0), "The density of 2.01 A/dm² is above this line's highest of 2 A/dm²."),
    (replace(GOOD, voltage_v=61.0), "The voltage of 61 V is not within the 60 V of main."),
    (replace(GOOD, voltage_v=0.0), "The voltage of 0 V is not within the 60 V of main."),
    (replace(GOOD, ramp_s=-1.0), "The ramp cannot be shorter than zero."),
    (replace(GOOD, area_m2=0.04), "The load wants 6 A, but main may give 5 A at most"),
    (replace(GOOD, area_m2=0.001), "The load wants 0.15 A, too little to be told from off on main"),
    (replace(GOOD, target_um=0.01), "The ramp of 10 s would not end before the target, which takes 1.22 s"),
    (replace(GOOD, mode="voltage", density_a_per_m2=1.0), "The load wants 0.013 A, too little"),
]  # fmt: skip


@pytest.mark.parametrize(("order", "says"), REFUSED, ids=[says[:40] for _, says in REFUSED])
def test_an_order_that_makes_no_sense_is_refused_with_its_reason(order: Order, says: str) -> None:
    (reason,) = reasons(order)
    assert reason.startswith(says)


def test_every_reason_is_told_at_once() -> None:
    order = Order(-1.0, 50.0, density_a_per_m2=-1.0, voltage_v=70.0, ramp_s=-1.0)
    assert len(reasons(order)) == 5


def test_a_target_in_millimetres_that_was_meant_in_mil_names_the_slip() -> None:
    (reason,) = reasons(replace(GOOD, target_um=800.0))  # 0.8 mm for 0.8 mil
    assert reason.endswith("Was 0.8 mil meant, not 0.8 mm? A millimetre is 39 mil.")


@pytest.mark.parametrize(("units", "shown"), [("metric", "1,200,000 µm"), ("us", "47,244 mil")])
def test_an_absurd_target_is_told_in_plain_figures(units: Literal["metric", "us"], shown: str) -> None:
    setup = replace(SETUP, units=units)
    _, (reason,) = make_plan(setup, setup.supplies["main"], replace(GOOD, target_um=1.2e6))
    assert f"reaches {shown};" in reason


def test_a_target_in_millimetres_that_was_meant_in_micrometres_names_the_slip() -> None:
    (reason,) = reasons(replace(GOOD, target_um=20_000.0))
    assert reason.endswith("Was 20 µm meant, not 20 mm?")


@pytest.mark.parametrize("target_um", [1400.0, 50.8])  # 1.4 mm is 35.6 um as mil; 2 mil is no slip
def test_a_target_that_would_be_unusual_either_way_names_no_slip(target_um: float) -> None:
    (reason,) = reasons(replace(GOOD, target_um=target_um))
    assert "meant" not in reason


def test_reasons_are_told_in_the_units_of_the_line() -> None:
    setup = replace(SETUP, units="us")
    _, (reason,) = make_plan(setup, setup.supplies["main"], replace(GOOD, target_um=50.8))
    assert "2 mil" in reason
