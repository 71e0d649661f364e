"""The electrical watch of what runs: which readings it sees, and which of what it finds trips.

Source: `electrical.py`. It sees pairs of good current and voltage readings alone, while the load carries current; a
current that is gone is `current-lost`, and what a soft start or hands on knobs do is no change of the load.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from supervisor.core import electrical, knobs
from supervisor.core.anodize import Operation
from supervisor.core.electrical import Sample, Sight
from supervisor.core.plan import Plan
from supervisor.core.setup import ChannelSetup, LineSetup, SupplySetup
from supervisor.trade.alloys import ALLOYS
from supervisor.trade.apparent_area import reading_doubt
from supervisor.trade.cell import surface_c, voltage_v

if TYPE_CHECKING:
    from supervisor.core.work import Work

TOLD = (electrical.WRONG,)
"""What is told as long as the operation runs and trips nothing; the rest stands until off is proven."""

TRIPPING = tuple(cause for cause in electrical.CAUSES if cause not in TOLD)

_APART_PERIODS = 2.5
"""A voltage further from its current than so many periods says nothing of it."""


def sight(setup: LineSetup, supply: SupplySetup, plan: Plan) -> Sight:
    """What is known of a load before its readings: of its alloy, its meters and who sets its current."""
    growth = setup.growth.best_um_m2_per_c if plan.growth is None else plan.growth.best
    low_v, high_v = volts_of(plan.alloy)
    density = plan.expected_a / plan.area_m2
    doubt = reading_doubt(*_doubts(setup, supply, plan.expected_a, _least_v(setup, supply, density, low_v)))
    return Sight(plan.area_m2, low_v, high_v, growth, doubt, supply.control != "remote")


def least_loss(setup: LineSetup, supply: SupplySetup, current_a: float) -> float:
    """Smallest share of the area whose sudden loss is told in time at the line's own density and a current, A."""
    low_v, high_v = volts_of(setup.anodize.alloy)
    density = setup.anodize.density_a_per_m2
    doubt = reading_doubt(*_doubts(setup, supply, current_a, _least_v(setup, supply, density, low_v)))
    growth = setup.growth.best_um_m2_per_c
    return electrical.least_loss(Sight(current_a / density, low_v, high_v, growth, doubt, supply.control != "remote"))


def _least_v(setup: LineSetup, supply: SupplySetup, density_a_per_m2: float, alloy_v: float) -> float:
    return voltage_v(density_a_per_m2, surface_c(setup.tanks[supply.tank].band.warn_high_c), alloy_v)


def _doubts(setup: LineSetup, supply: SupplySetup, current_a: float, at_v: float) -> tuple[float, float]:
    """Shares by which readings of current and voltage may move with nothing changed.

    Of a ripple that a meter shows half its amplitude counts: it goes both ways, and what crawls is followed.
    """
    current, voltage = setup.channels[supply.current].accuracy, setup.channels[supply.voltage].accuracy
    ripple = (supply.meter.share.high - supply.meter.share.low) / 2
    return (
        current.of_reading + current.absolute / current_a + ripple / 2,
        voltage.of_reading + voltage.absolute / at_v,
    )


def volts_of(alloy: str) -> tuple[float, float]:
    """Least and most volts, V, at 12 A/ft2 of an alloy, of several behind commas, or of all where none is named."""
    named = [ALLOYS[one].voltage_v for one in alloy.split(", ") if one in ALLOYS]
    volts = named or [one.voltage_v for one in ALLOYS.values()]
    return min(volts), max(volts)


def follow(work: Work, name: str) -> None:
    """Let the watch see the newest readings of a supply under current, and note what it finds."""
    setup, operation = work.supply_setup(name), work.supply(name).operation
    if operation is None or not operation.energised or operation.ramp is None or operation.ramp.on_s is None:
        return
    sample = _sample(work, setup, operation, operation.ramp.on_s)
    if sample is None or sample.current_a < work.setup.anodize.reached_fraction * operation.plan.expected_a:
        return
    if operation.electrical is not None and sample.at_s <= operation.electrical.at_s:
        return
    watch = operation.electrical or electrical.begin(operation.ramp.on_s, sample.bath_c)
    if operation.ramp.next_s is not None or knobs.waits_for_hands(setup, operation):
        watch = electrical.disturbed(watch, sample.at_s)
    seen = electrical.step(watch, sample, sight(work.setup, setup, operation.plan))
    work.put_operation(name, replace(operation, electrical=seen))
    for cause in seen.found:
        if cause in TRIPPING and cause not in watch.found:
            work.fault(name, cause)


def _sample(work: Work, setup: SupplySetup, operation: Operation, on_s: float) -> Sample | None:
    """Pair the newest current with its voltage; None where one of them is not good, or older than the output is on.

    Neither while the bath's temperature is doubted: nobody knows then what of it the bath explains.
    """
    channels, known = work.setup.channels, work.state.channels
    current, voltage = known.get(setup.current), known.get(setup.voltage)
    bath = known.get(work.setup.tanks[setup.tank].temperature)
    if current is None or voltage is None or bath is None or bath.doubt:
        return None
    if current.good_s is None or voltage.good_s is None or bath.good_s is None or current.good_s < on_s:
        return None
    if abs(current.good_s - voltage.good_s) > _APART_PERIODS * _slower(
        channels[setup.current], channels[setup.voltage]
    ):
        return None
    charge = operation.dose.charge.best / operation.plan.area_m2
    return Sample(current.good_s, current.good_value, voltage.good_value, bath.good_value, charge)


def _slower(one: ChannelSetup, other: ChannelSetup) -> float:
    return max(one.period_s, other.period_s)


def judge(work: Work, name: str) -> None:
    """Let the alarms that trip nothing follow what the watch has found."""
    operation = work.supply(name).operation
    found = operation.electrical.found if operation is not None and operation.electrical is not None else ()
    for cause in TOLD:
        work.alarm(name, cause, cause in found)
