"""The stop rule says which bound of the charge must reach the target."""

from __future__ import annotations

from dataclasses import replace

import pytest

from supervisor.core.anodize import State
from supervisor.trade.charge import Bound
from tests.core.kit import Bench
from tests.core.plain import line_setup


def stopped(stops_on: Bound) -> Bench:
    setup = line_setup()
    bench = Bench(replace(setup, anodize=replace(setup.anodize, stops_on=stops_on)))
    bench.start_service()
    assert bench.start(target_um=0.8).data["stops_on"] == stops_on
    for _ in range(400):
        if bench.stands() is State.COMPLETE:
            return bench
        bench.run(0.4)
    raise AssertionError(bench.stands())


@pytest.mark.parametrize("stops_on", ["low", "best", "high"])
def test_the_bound_that_is_named_meets_the_target(stops_on: Bound) -> None:
    operation = stopped(stops_on).operation()
    # A reading every 0.4 s of 1.95 A; its last step down widens low and high by one period of it.
    assert getattr(operation.dose.charge, stops_on) == pytest.approx(operation.plan.target_c, abs=0.9)


def test_a_stop_on_the_low_bound_comes_later_and_one_on_the_high_bound_earlier() -> None:
    low, best, high = (stopped(on).operation().dose.charge.best for on in ("low", "best", "high"))
    assert low > best > high


def test_best_is_what_a_plan_from_an_earlier_record_stops_on() -> None:
    assert line_setup().anodize.stops_on == "best"
    assert stopped("best").operation().plan.stops_on == "best"
