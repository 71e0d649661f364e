"""The coat as it grows and ages: thickness follows the charge that grew it, acid takes mass from all of it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from supervisor.core import coat
from supervisor.core.anodize import Operation
from supervisor.core.coat import Coat
from supervisor.core.events import Order, Quality, Reading, Scanned
from supervisor.service.status import status
from supervisor.trade import dissolution
from supervisor.trade.charge import NOTHING, Bound, Interval
from tests.core.kit import Bench

TEN = Interval(10.0, 10.0, 10.0)
GROWTH = Interval(5.0e-5, 5.25e-5, 5.5e-5)


def under_way(alloy: str = "6061") -> Bench:
    bench = Bench()
    bench.start_service()
    assert bench.ask("start", order=Order(0.013, 20.0, alloy=alloy)).ok
    bench.run(65.0)
    return bench


@pytest.fixture
def running() -> Bench:
    """A load right after its soft start."""
    return under_way()


def volts(bench: Bench, value: float | None) -> None:
    """One reading of current and voltage, a moment from now."""
    bench.later(0.4)
    quality = Quality.GOOD if value is not None else Quality.LATE
    amps = Reading("main-current", Quality.GOOD, bench.devices["main"].set_a)
    readings = (Reading("main-voltage", quality, value), amps)
    bench.give(Scanned(bench.at, "main-device", bench.now_s, bench.now_s, readings))


def operation(bench: Bench, **changes: object) -> Operation:
    return replace(bench.operation(), **changes)  # type: ignore[arg-type]


def test_mean_spread_and_least_local_are_told_beside_each_other(running: Bench) -> None:
    made = running.operation()
    told = coat.told(made, Coat(), Interval(990.0, 1000.0, 1010.0), GROWTH)
    growth = made.plan.growth
    assert growth is not None
    assert told.mean_um.low == pytest.approx(990.0 / 0.013 * growth.low)
    assert told.mean_um.best == pytest.approx(1000.0 / 0.013 * growth.best)
    assert told.least_local_um.best == pytest.approx(told.mean_um.best * 0.85)
    assert told.least_local_um.low == pytest.approx(told.mean_um.low * 0.85)
    assert (told.spread_um.low, told.spread_um.high) == pytest.approx(
        (told.mean_um.best * 0.85, told.mean_um.best * 1.15)
    )


def test_a_plan_of_an_earlier_release_takes_the_growth_of_the_line(running: Bench) -> None:
    made = operation(running, plan=replace(running.operation().plan, growth=None))
    told = coat.told(made, Coat(), Interval(1000.0, 1000.0, 1000.0), GROWTH)
    assert told.mean_um.best == pytest.approx(1000.0 / 0.013 * GROWTH.best)


def test_acid_takes_mass_and_leaves_thickness(running: Bench) -> None:
    made, charge = running.operation(), Interval(1000.0, 1000.0, 1000.0)
    worn = Coat(outer_nm=2.0, layers_nm_c=1.0 * made.dose.charge.best)
    fresh, told = coat.told(made, Coat(), charge, GROWTH), coat.told(made, worn, charge, GROWTH)
    assert told.mean_um == fresh.mean_um
    assert told.lost_share == pytest.approx(dissolution.lost_share(1.0))
    assert told.mass_g_per_m2.best == pytest.approx(fresh.mass_g_per_m2.best * (1 - told.lost_share))
    assert told.porosity > fresh.porosity


def test_past_the_chalking_limit_thickness_falls_and_its_upper_bound_stays(running: Bench) -> None:
    made, charge = running.operation(), Interval(990.0, 1000.0, 1010.0)
    limit = made.plan.wall_limit_nm
    assert limit is not None
    chalks = Coat(outer_nm=1.25 * limit, layers_nm_c=0.625 * limit * made.dose.charge.best)
    fresh, told = coat.told(made, Coat(), charge, GROWTH), coat.told(made, chalks, charge, GROWTH)
    assert told.mean_um.best == pytest.approx(0.8 * fresh.mean_um.best)
    assert told.mean_um.low == pytest.approx(0.8 * fresh.mean_um.low)
    assert told.mean_um.high == fresh.mean_um.high


def test_each_layer_loses_from_when_it_grew() -> None:
    """Under a steady current the mean loss is half of what the outermost walls have lost."""
    made = Coat(counted_s=0.0)
    for now in range(1, 1001):
        charge = Interval(now, now, now)
        outer_nm, layers_nm_c, _ = coat.older(made, now, 0.001, charge, grows=True)
        made = Coat(counted_s=now, outer_nm=outer_nm, layers_nm_c=layers_nm_c, judged=charge)
    assert made.outer_nm == pytest.approx(1.0)
    assert made.layers_nm_c / 1000.0 == pytest.approx(0.5, rel=0.01)


def test_no_time_runs_backward_and_nothing_is_lost_before_there_is_a_coat() -> None:
    assert coat.older(Coat(counted_s=5.0), 10.0, 1.0, NOTHING, grows=True) == (0.0, 0.0, NOTHING)
    assert coat.older(Coat(), 10.0, 1.0, TEN, grows=True) == (0.0, 0.0, NOTHING)
    assert coat.older(Coat(counted_s=5.0), 3.0, 1.0, TEN, grows=True) == (0.0, 0.0, NOTHING)
    assert coat.older(Coat(counted_s=5.0), 7.0, 1.0, TEN, grows=True) == (2.0, 20.0, NOTHING)
    assert coat.older(Coat(counted_s=5.0), 7.0, 1.0, TEN, grows=False) == (0.0, 0.0, TEN)


def test_time_in_acid_is_counted_at_the_temperature_of_the_bath(running: Bench) -> None:
    cool, warm = running, under_way()
    for bench in (cool, warm):
        bench.temperature(21.9 if bench is warm else 20.5)
        bench.later(1.1)
        bench.wake_up()
        bench.later(1.5)
    before = {id(bench): bench.supply().coat.outer_nm for bench in (cool, warm)}
    for bench in (cool, warm):
        bench.wake_up()
    took_cool, took_warm = (bench.supply().coat.outer_nm - before[id(bench)] for bench in (cool, warm))
    assert took_cool == pytest.approx(1.5 * dissolution.wall_loss_nm_per_s(20.5, under_current=True))
    assert took_warm == pytest.approx(1.5 * dissolution.wall_loss_nm_per_s(21.9, under_current=True))


def test_off_the_current_acid_works_with_the_other_energy(running: Bench) -> None:
    bench = running
    bench.temperature(21.9)
    bench.ask("hold")
    bench.run(1.5)
    bench.temperature(21.9)
    bench.later(1.1)
    bench.wake_up()
    before = bench.supply().coat.outer_nm
    bench.later(1.5)
    bench.wake_up()
    took = bench.supply().coat.outer_nm - before
    assert took == pytest.approx(1.5 * dissolution.wall_loss_nm_per_s(21.9, under_current=False))


def test_while_nobody_knows_the_temperature_the_warmest_of_the_band_counts(running: Bench) -> None:
    bench = running
    bench.later(3.5)
    bench.wake_up()
    before = bench.supply().coat.outer_nm
    bench.later(1.0)
    bench.wake_up()
    took = bench.supply().coat.outer_nm - before
    assert took == pytest.approx(dissolution.wall_loss_nm_per_s(22.0, under_current=False))


def test_below_a_plausible_voltage_no_coat_grows_a_minute_after_on(running: Bench) -> None:
    bench = running
    volts(bench, 3.0)
    before, grown = bench.operation(), coat.grown_c(bench.operation(), bench.supply().coat)
    volts(bench, 3.0)
    volts(bench, 3.0)
    after, made = bench.operation(), bench.supply().coat
    assert after.dose.charge.best > before.dose.charge.best + 1.0
    assert coat.grown_c(after, made) == pytest.approx(grown)
    assert coat.target_c(after, made) == pytest.approx(after.plan.target_c + made.barren.best)


@pytest.mark.parametrize("value", [15.0, None])
def test_at_a_plausible_voltage_and_while_nobody_knows_it_the_coat_grows(running: Bench, value: float | None) -> None:
    bench = running
    for _ in range(3):
        volts(bench, value)
    assert bench.supply().coat.barren.best == 0.0


def test_in_the_first_minute_a_low_voltage_says_nothing() -> None:
    bench = Bench().running(target_um=20.0)
    for _ in range(3):
        volts(bench, 3.0)
    assert bench.supply().coat.barren.best == 0.0


def test_the_target_is_reached_by_what_grew_coat_alone(running: Bench) -> None:
    bench = running
    made = bench.operation()
    most = made.dose.charge.best
    short = replace(made, plan=replace(made.plan, target_c=most - 5.0))
    supply = bench.supply()
    barren = replace(supply.coat, barren=Interval(10.0, 10.0, 10.0))
    bench.line.state = replace(bench.line.state, supplies={"main": replace(supply, operation=short, coat=barren)})
    bench.wake_up()
    assert bench.operation().energised
    bench.line.state = replace(bench.line.state, supplies={"main": replace(supply, operation=short)})
    bench.wake_up()
    assert not bench.operation().energised


@pytest.mark.parametrize(("stops_on", "extra_c"), [("low", 1.0), ("best", 2.0), ("high", 3.0)])
def test_what_grew_none_is_added_by_the_bound_that_stops(running: Bench, stops_on: Bound, extra_c: float) -> None:
    made = operation(running, plan=replace(running.operation().plan, stops_on=stops_on))
    barren = Coat(barren=Interval(1.0, 2.0, 3.0))
    assert coat.target_c(made, barren) == pytest.approx(made.plan.target_c + extra_c)


def test_the_next_load_begins_without_what_the_last_one_lost(running: Bench) -> None:
    running.ask("stop")
    running.run(2.0)
    assert running.ask("out").ok
    assert running.ask("reset").ok
    assert running.ask("start", order=Order(0.013, 20.0)).ok
    assert running.supply().coat == Coat()


def test_the_status_tells_what_is_known_of_the_coat(running: Bench) -> None:
    told = status(running.setup, running.line.state, running.at)["supplies"]["main"]["operation"]
    assert told["alloy"] == "6061"
    assert told["target"]["means"] == "mean"
    assert told["least_local_um"]["best"] == pytest.approx(0.85 * told["thickness_um"]["best"])
    assert told["spread_um"]["low"] < told["thickness_um"]["best"] < told["spread_um"]["high"]
    assert told["mass_g_per_m2"]["best"] == pytest.approx(2.32 * told["thickness_um"]["best"], rel=0.01)
    assert 0 < told["mass_lost_share"] < 0.01
    assert 0.09 < told["porosity_share"] < 0.11


def test_the_alloy_stands_with_the_load(running: Bench) -> None:
    assert running.line.state.loads["load-1"].alloy == "6061"
