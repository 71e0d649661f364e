"""What a gauge says of a load: kept, asked back or forgotten; what was learned is taken at a start alone."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from supervisor.core import coat
from supervisor.core.actions import Answer
from supervisor.core.anodize import State
from supervisor.core.coat import Coat
from supervisor.core.events import GaugeReading, Order
from supervisor.core.learned import LEARNED_FROM, learned
from supervisor.core.load import Gauged, Load
from supervisor.core.state import LineState
from supervisor.records import codec
from supervisor.trade.charge import Interval
from supervisor.trade.coating import MIL_UM
from tests.core.kit import Bench
from tests.core.plain import line_setup

AREA_M2 = 0.013
BEST = line_setup().growth.best_um_m2_per_c
CHARGE_C = 20.0 * AREA_M2 / BEST
"""Makes 20 um at the published growth."""


def um(*values: float) -> tuple[GaugeReading, ...]:
    return tuple(GaugeReading(value, value, "um") for value in values)


def made(bench: Bench, load: str, **changes: object) -> None:
    """Let a load of 20 um have been anodized and taken away."""
    grew = Interval(CHARGE_C * 0.999, CHARGE_C, CHARGE_C * 1.001)
    of = replace(Load(load, AREA_M2, 20.0, f"test-{load}", tank="main-acid", grew=grew), **changes)  # type: ignore[arg-type]
    bench.line.state = replace(bench.line.state, loads={**bench.line.state.loads, load: of})


@pytest.fixture
def bench() -> Bench:
    bench = Bench()
    bench.start_service()
    for load in ("a", "b", "c"):
        made(bench, load)
    return bench


def gauge(bench: Bench, load: str, *readings: GaugeReading) -> Answer:
    return bench.ask("gauge", load=load, readings=readings)


def refused(bench: Bench, load: str, *readings: GaugeReading) -> tuple[str, ...]:
    """Give what must be refused; nothing of it is kept."""
    before = bench.line.state.gauged
    answer = gauge(bench, load, *readings)
    assert not answer.ok
    assert bench.line.state.gauged == before
    return answer.reasons


def test_what_a_load_grew_by_is_kept_when_its_operation_is_reset() -> None:
    bench = Bench().running()
    bench.run(120.0)
    assert bench.stands() is State.COMPLETE
    charge = bench.operation().dose.charge
    assert gauge(bench, "load-1", *um(1.0, 1.1)).ok  # before it is reset as well
    assert bench.line.state.gauged["load-1"].grew == charge
    assert bench.ask("reset").ok
    load = bench.line.state.loads["load-1"]
    assert (load.grew, load.tank) == (charge, "main-acid")


def test_a_load_under_way_is_not_gauged() -> None:
    bench = Bench().running()
    (reason,) = refused(bench, "load-1", *um(1.0))
    assert "gauge it when its operation is over" in reason
    bench.ask("hold")
    bench.run(5.0)
    assert bench.stands() is State.HELD
    assert "held" in refused(bench, "load-1", *um(1.0))[0]


def test_readings_are_kept_with_what_is_needed_to_learn_from_them(bench: Bench) -> None:
    answer = gauge(bench, "b", *um(18.0, 19.0, 20.0))
    assert answer.ok
    kept = bench.line.state.gauged["b"]
    load = bench.line.state.loads["b"]
    assert kept == Gauged("b", "", "main-acid", AREA_M2, load.grew, (18.0, 19.0, 20.0), "", bench.at.wall_s, "mara")  # type: ignore[arg-type]
    assert "19 µm in the mean of 3 readings" in answer.data["notice"]
    assert "learned from 1 load;" in answer.data["notice"]


def test_the_next_operation_takes_what_was_learned_and_one_under_way_does_not(bench: Bench) -> None:
    order = Order(AREA_M2, 10.0)
    assert bench.ask("start", order=order).ok
    bench.run(12.0)
    before = bench.operation().plan
    assert (before.learned_from, before.growth) == (0, Interval(5.0e-5, BEST, 5.6e-5))
    for load in ("a", "b", "c"):
        assert gauge(bench, load, *um(18.0, 18.2, 17.8)).ok
    bench.run(12.0)
    assert bench.operation().plan == before
    assert bench.ask("stop").ok
    bench.run(5.0)
    assert bench.ask("reset").ok
    assert bench.ask("start", order=order).ok
    after = bench.operation().plan
    believed = learned(bench.setup, bench.line.state.gauged, "", "main-acid").believed
    assert (after.learned_from, after.growth, after.band) == (3, believed.of_load, believed.of_load)
    assert believed.factor.best < 0.95 * BEST
    assert after.target_c == pytest.approx(before.target_c * BEST / believed.factor.best)
    assert before.band is not None
    assert after.band is not None
    assert (after.band.high - after.band.low) / after.band.best < (
        before.band.high - before.band.low
    ) / before.band.best


def test_the_band_told_of_a_load_is_that_of_its_plan() -> None:
    operation = Bench().running().operation()
    plan = replace(operation.plan, band=Interval(0.9 * BEST, BEST, 1.2 * BEST))
    told = coat.told(
        replace(operation, plan=plan), Coat(), Interval(CHARGE_C, CHARGE_C, CHARGE_C), Interval(BEST, BEST, BEST)
    )
    assert (told.band_um.low, told.band_um.best, told.band_um.high) == pytest.approx((18.0, 20.0, 24.0))


def test_what_is_learned_is_of_an_alloy_in_a_tank() -> None:
    bench = Bench(line_setup(2))
    bench.start_service()
    made(bench, "here")
    made(bench, "there", tank="side-acid")
    made(bench, "other", alloy="2024")
    for load in ("here", "there", "other"):
        assert gauge(bench, load, *um(17.0)).ok
    state = bench.line.state
    for alloy, tank, load in (("", "main-acid", "here"), ("", "side-acid", "there"), ("2024", "main-acid", "other")):
        assert [one.load for one in learned(bench.setup, state.gauged, alloy, tank).loads] == [load]
    assert learned(bench.setup, state.gauged, "6061", "main-acid").loads == ()


def test_the_newest_loads_alone_count(bench: Bench) -> None:
    for number in range(LEARNED_FROM + 3):
        made(bench, f"n{number}")
        assert gauge(bench, f"n{number}", *um(20.0)).ok
    found = learned(bench.setup, bench.line.state.gauged, "", "main-acid").loads
    assert [one.load for one in found] == [f"n{number}" for number in range(3, LEARNED_FROM + 3)]


def test_a_suspect_load_is_kept_and_taught_nothing(bench: Bench) -> None:
    made(bench, "bad", suspect="current-lost")
    answer = gauge(bench, "bad", *um(12.0))
    assert answer.ok
    assert "Nothing is learned from it, because the load is suspect: current-lost." in answer.data["notice"]
    assert learned(bench.setup, bench.line.state.gauged, "", "main-acid").loads == ()


def test_a_load_can_be_forgotten_and_gauged_anew(bench: Bench) -> None:
    assert gauge(bench, "a", *um(18.0)).ok
    assert "forget that first: ampminder gauge a --forget" in refused(bench, "a", *um(19.0))[0]
    assert bench.ask("gauge forget", load="a").ok
    assert bench.line.state.gauged == {}
    assert gauge(bench, "a", *um(19.0)).ok
    assert bench.ask("gauge forget", load="b").reasons == ("load: there is no gauged load b; the newest are a.",)


# A mil is 25.4 um and a millimetre 39.4 mil, both exact or derived from it.
@pytest.mark.parametrize(
    ("reading", "meant"),
    [
        (GaugeReading(0.79, 0.79, "um"), "0.79 mil"),
        (GaugeReading(790.0, 0.79, "mm"), "0.79 mil"),
        (GaugeReading(19.0 * MIL_UM, 19.0, "mil"), "19 um"),
        (GaugeReading(19_000.0, 19.0, "mm"), "19 um"),
        (GaugeReading(0.02 * MIL_UM, 0.02, "mil"), "0.02 mm"),
        (GaugeReading(0.02, 0.02, "um"), "0.02 mm"),
    ],
)
def test_a_slip_of_the_unit_is_asked_back(bench: Bench, reading: GaugeReading, meant: str) -> None:
    (reason,) = refused(bench, "a", *um(19.5), reading)
    assert f"{reading.number:g} {reading.unit}: the charge makes about 20 µm. Was {meant} meant?" in reason


def test_a_reading_that_fits_no_unit_is_asked_back_without_a_guess(bench: Bench) -> None:
    (reason,) = refused(bench, "a", GaugeReading(180.0, 180.0, "um"))
    assert "meant" not in reason
    assert "was the gauge set to zero?" in reason


@pytest.mark.parametrize("value", [0.0, -20.0, float("nan"), float("inf")])
def test_a_reading_that_is_no_thickness_is_refused(bench: Bench, value: float) -> None:
    assert "a coat's thickness is above zero" in refused(bench, "a", *um(19.0, value))[0]


def test_every_reason_is_told(bench: Bench) -> None:
    assert gauge(bench, "a", *um(19.0)).ok
    reasons = refused(bench, "a", *um(0.0, 180.0))
    assert len(reasons) == 3
    assert refused(bench, "b") == ("readings: there is none; write each with its unit, like 20 um or 0.8 mil.",)


def test_a_load_that_is_not_known_is_told_with_its_neighbours(bench: Bench) -> None:
    made(bench, "brackets")
    assert refused(bench, "brakets", *um(19.0)) == ("load: there is no load brakets; did you mean brackets?",)
    assert "the newest are" in refused(bench, "zzz", *um(19.0))[0]


@pytest.mark.parametrize("changes", [{"grew": None}, {"tank": ""}])
def test_a_load_of_unknown_charge_teaches_nothing(bench: Bench, changes: dict[str, object]) -> None:
    made(bench, "old", **changes)
    assert "nobody knows what charge old had" in refused(bench, "old", *um(19.0))[0]


def test_a_charge_that_nothing_bounds_is_not_kept() -> None:
    bench = Bench().running()
    bench.ask("stop")
    bench.run(5.0)
    supply = bench.supply()
    assert supply.operation is not None
    unbounded = replace(supply.operation, dose=replace(supply.operation.dose, unbounded=True))
    bench.line.state = replace(bench.line.state, supplies={"main": replace(supply, operation=unbounded)})
    assert bench.ask("reset").ok
    assert bench.line.state.loads["load-1"].grew is None


def test_a_load_without_current_is_not_gauged(bench: Bench) -> None:
    made(bench, "dry", grew=Interval(0.0, 0.0, 1.0))
    assert "no current that grew a coat" in refused(bench, "dry", *um(19.0))[0]


def test_one_that_does_not_fit_the_others_is_told_so(bench: Bench) -> None:
    for number in range(4):
        made(bench, f"n{number}")
        assert gauge(bench, f"n{number}", *um(19.8, 20.2)).ok
    assert "does not fit the others" in gauge(bench, "a", *um(38.0, 38.5)).data["notice"]


def test_a_snapshot_of_an_earlier_release_has_no_gauged_loads_and_its_plan_no_band() -> None:
    bench = Bench().running()
    state = bench.line.state
    assert codec.decode_state(LineState, codec.encode_state(state)) == state
    (old,) = json.loads(codec.encode_state(state))
    del old["gauged"], old["loads"]["load-1"]["tank"], old["loads"]["load-1"]["grew"]
    plan = old["supplies"]["main"]["operation"]["plan"]
    del plan["band"], plan["learned_from"]
    read = codec.decode_state(LineState, json.dumps([old]))
    assert read.gauged == {}
    operation = read.supplies["main"].operation
    assert operation is not None
    growth = operation.plan.growth
    assert growth is not None
    told = coat.told(operation, Coat(), Interval(1000.0, 1000.0, 1000.0), growth)
    assert told.band_um.high == pytest.approx(1000.0 / AREA_M2 * growth.high)
