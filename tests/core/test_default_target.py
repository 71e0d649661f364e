from __future__ import annotations

from dataclasses import replace

from supervisor.core.events import Order
from supervisor.core.plan import make_plan
from tests.core.plain import line_setup


def test_a_start_without_target_takes_the_line_files() -> None:
    setup = line_setup()
    setup = replace(setup, anodize=replace(setup.anodize, target_um=12.0))
    plan, _ = make_plan(setup, setup.supplies["main"], Order(0.013))
    assert plan is not None
    assert plan.target_um == 12.0


def test_a_target_that_is_given_counts_before_the_line_files() -> None:
    setup = line_setup()
    setup = replace(setup, anodize=replace(setup.anodize, target_um=12.0))
    plan, _ = make_plan(setup, setup.supplies["main"], Order(0.013, 5.0))
    assert plan is not None
    assert plan.target_um == 5.0


def test_a_start_is_refused_where_neither_names_a_target() -> None:
    setup = line_setup()
    plan, reasons = make_plan(setup, setup.supplies["main"], Order(0.013))
    assert plan is None
    assert len(reasons) == 1
    assert "target" in reasons[0]
