"""From an order to a plan: set points, target charge, longest time and largest charge, fixed before current flows."""

from __future__ import annotations

import math
from collections.abc import Container, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from supervisor.core import alloyed, words
from supervisor.core.alloyed import Bounds
from supervisor.core.events import Order
from supervisor.core.learned import learned
from supervisor.core.load import Gauged
from supervisor.core.setup import LineSetup, Mode, SupplySetup, TargetMeans
from supervisor.trade.charge import Bound, Interval
from supervisor.trade.coating import MIL_UM, charge_for_c

LEAST_USUAL_UM = 1.8
"""The thinnest sulfuric coat a trade council lists for MIL-A-8625F type II, um."""

LEAST_OVER_OFF = 4.0
"""The set current must be at least this many times the off threshold, or off and on could not be told apart."""

NOTHING_GAUGED: Mapping[str, Gauged] = MappingProxyType({})

_ANY_AREA_M2 = 0.01
"""Stands in for an area that could not be read: what is judged of the order in itself does not hang on its size."""


@dataclass(frozen=True, slots=True)
class Plan:
    """What an operation will do.

    Attributes:
        mode: `current` or `voltage`. area_m2, target_um: as ordered. target_c: charge for it at the best growth factor.
        current_a: highest current set point (R6). voltage_v: highest voltage set point.
        expected_a: current of the plan.
        ramp_s: soft start. expected_s: planned time. longest_s, largest_c: end the operation (R8).
        commanded_a: what counts as commanded where nothing is: the supply's rating; None where set points count.
        stops_on: which bound of the charge must reach the target.
        alloy: of the load, "" where nobody said. growth: um per C/m2; None in a record of an earlier release, where it
            was the line file's. band: growth of a single load with its 90 % band. learned_from: gauged loads behind
            both; 0: as published. means: which thickness the target is. spread: share expected across the rack.
        wall_limit_nm: what the outermost walls of the coat bear before it chalks; None where no alloy says.
    """

    mode: Mode
    area_m2: float
    target_um: float
    target_c: float
    current_a: float
    voltage_v: float
    expected_a: float
    ramp_s: float
    expected_s: float
    longest_s: float
    largest_c: float
    commanded_a: float | None = None
    stops_on: Bound = "best"
    alloy: str = ""
    growth: Interval | None = None
    means: TargetMeans = "mean"
    spread: float = 0.0
    wall_limit_nm: float | None = None
    band: Interval | None = None
    learned_from: int = 0


def floor_to_step(value: float, step: float) -> float:
    """Round down to a whole number of steps, forgiving the noise of binary fractions (1.95 in steps of 0.001)."""
    return math.floor(value / step + 1e-9) * step


def highest_current_a(supply: SupplySetup, highest_density_a_per_m2: float, area_m2: float) -> float:
    """R6: the least of rating, cap and area x highest density, A, rounded down to the device's step."""
    bound_a = min(supply.rated_current_a, supply.cap_current_a, area_m2 * highest_density_a_per_m2)
    return floor_to_step(bound_a, supply.current_step_a)


@dataclass(frozen=True, slots=True)
class _Wanted:
    """An order with the line file's own values where it names none, SI; `mean_um` is the mean for the target."""

    mode: Mode
    area_m2: float
    target_um: float
    mean_um: float
    density_a_per_m2: float
    voltage_v: float
    ramp_s: float
    bears: Bounds


def make_plan(
    setup: LineSetup, supply: SupplySetup, order: Order, gauged: Mapping[str, Gauged] = NOTHING_GAUGED
) -> tuple[Plan | None, tuple[str, ...]]:
    """Plan an order; on refusal no plan and every reason, each a sentence for the person.

    `gauged` is what is known of earlier loads: the plan's growth is learned from it, and stays as it is from then on.
    """
    anodize = setup.anodize
    wanted = _complete(order, setup)
    bears = wanted.bears
    reasons = against(setup, supply, order)
    if reasons:
        return None, reasons
    expected_a = wanted.area_m2 * wanted.density_a_per_m2
    bound_a = highest_current_a(supply, bears.highest_density_a_per_m2, wanted.area_m2)
    current_a = floor_to_step(expected_a, supply.current_step_a) if wanted.mode == "current" else bound_a
    reasons = _beyond_supply(current_a, expected_a, bound_a, supply)
    if reasons:
        return None, reasons
    alloy = bears.alloy.name if bears.alloy is not None else ""
    known = learned(setup, gauged, alloy, supply.tank)
    target_c = charge_for_c(wanted.mean_um, wanted.area_m2, known.growth.best)
    full_s = target_c / min(current_a, expected_a)
    if wanted.ramp_s > 2 * full_s:
        return None, (_too_slow(wanted.ramp_s, full_s),)
    by_hand = supply.control != "remote"
    # Hands are not as punctual as set points: the whole soft start is allowed for, not its lost half alone.
    expected_s = full_s + (wanted.ramp_s if by_hand else wanted.ramp_s / 2)
    reasons = alloyed.too_long(setup, supply, bears, expected_s, wanted.mean_um)
    if reasons:
        return None, reasons
    planned_c = target_c if wanted.mode == "current" else max(target_c, current_a * expected_s)
    if by_hand:
        planned_c = max(target_c, supply.rated_current_a * expected_s)
    return Plan(
        mode=wanted.mode,
        area_m2=wanted.area_m2,
        target_um=wanted.target_um,
        target_c=target_c,
        current_a=current_a,
        voltage_v=floor_to_step(wanted.voltage_v, supply.voltage_step_v),
        expected_a=min(current_a, expected_a),
        ramp_s=wanted.ramp_s,
        expected_s=expected_s,
        longest_s=min(anodize.margin * expected_s, alloyed.chalks_after_s(setup, supply, bears)),
        largest_c=anodize.margin * planned_c,
        commanded_a=supply.rated_current_a if by_hand else None,
        stops_on=anodize.stops_on,
        alloy=alloy,
        growth=known.growth,
        means=anodize.target_means,
        spread=anodize.rack_spread,
        wall_limit_nm=bears.wall_limit_nm,
        band=known.believed.of_load,
        learned_from=len(known.loads),
    ), ()


def against(setup: LineSetup, supply: SupplySetup, order: Order, unread: Container[str] = ()) -> tuple[str, ...]:
    """Every reason against what an order says in itself; `area` and `target` are not judged where they are `unread`."""
    wanted = _complete(order, setup)
    if "area" in unread:
        wanted = replace(wanted, area_m2=_ANY_AREA_M2)
    reasons = (*wanted.bears.unknown, *_implausible(wanted, supply, setup))
    if order.target_um is None and setup.anodize.target_um is None and "target" not in unread:
        text = "No target is given and the line file names none; write one with its unit, like 20 um or 0.8 mil."
        reasons = (*reasons, text)
    return reasons


def _complete(order: Order, setup: LineSetup) -> _Wanted:
    """Fill in what the order leaves open. With no target anywhere it stays nothing, which is refused."""
    anodize, bears = setup.anodize, alloyed.bounds(setup, order)
    target_um = anodize.target_um if order.target_um is None else order.target_um
    return _Wanted(
        mode=order.mode or anodize.mode,
        area_m2=order.area_m2,
        target_um=bears.thickest_um if target_um is None else target_um,
        mean_um=bears.thickest_um if target_um is None else alloyed.mean_um(anodize, target_um),
        density_a_per_m2=anodize.density_a_per_m2 if order.density_a_per_m2 is None else order.density_a_per_m2,
        voltage_v=anodize.voltage_v if order.voltage_v is None else order.voltage_v,
        ramp_s=bears.ramp_s if order.ramp_s is None else order.ramp_s,
        bears=bears,
    )


def _implausible(wanted: _Wanted, supply: SupplySetup, setup: LineSetup) -> tuple[str, ...]:
    """Every reason why the order itself makes no sense."""
    bears, units, density, voltage_v = wanted.bears, setup.units, wanted.density_a_per_m2, wanted.voltage_v
    highest = bears.highest_density_a_per_m2
    steps = wanted.area_m2 * density / supply.current_step_a
    numbers = (wanted.area_m2, wanted.target_um, density, voltage_v, wanted.ramp_s, steps)
    if not all(math.isfinite(number) for number in numbers):
        return ("A figure of the order is not a finite number.",)
    too_dense = (
        f"The density of {words.density(density, units)} is above {bears.whose_density}'s highest of "
        f"{words.density(highest, units)}."
    )
    reasons = (
        (wanted.area_m2 <= 0, "The area must be above zero."),
        (wanted.target_um <= 0, "The target thickness must be above zero."),
        (wanted.mean_um > bears.thickest_um, _too_thick(wanted, units)),
        (density <= 0, "The current density must be above zero."),
        (density > highest, too_dense),
        (
            not 0 < voltage_v <= supply.rated_voltage_v,
            f"The voltage of {voltage_v:.4g} V is not within the {supply.rated_voltage_v:.4g} V of {supply.name}.",
        ),
        (wanted.ramp_s < 0, "The ramp cannot be shorter than zero."),
    )
    return tuple(text for hit, text in reasons if hit)


def _too_thick(wanted: _Wanted, units: words.Units) -> str:
    """Refuse a target no coat of this kind reaches and name the likely slip: millimetres written for mil or µm.

    Only for what would be a usual target then; somebody who writes 2 mil means it.
    """
    bears, thickest_um = wanted.bears, wanted.bears.thickest_um
    asked, mean, limit = (words.thickness(um, units) for um in (wanted.target_um, wanted.mean_um, thickest_um))
    local = "" if wanted.mean_um == wanted.target_um else f"To have {asked} everywhere takes {mean} in the mean. "
    text = f"{local}No coat of this kind reaches {mean}; {bears.whose_coat}'s limit is {limit}."
    as_mm = wanted.target_um / 1000
    if LEAST_USUAL_UM <= as_mm * MIL_UM <= thickest_um:
        return f"{text} Was {as_mm:.3g} mil meant, not {as_mm:.3g} mm? A millimetre is 39 mil."
    if LEAST_USUAL_UM <= as_mm <= thickest_um:
        return f"{text} Was {as_mm:.3g} µm meant, not {as_mm:.3g} mm?"
    return text


def _too_slow(ramp_s: float, full_s: float) -> str:
    """Refuse a soft start that would not end before the target: half of it would stretch the longest time."""
    return (
        f"The ramp of {ramp_s:.4g} s would not end before the target, which takes {full_s:.4g} s at full current; "
        f"give one of {2 * full_s:.3g} s at most."
    )


def _beyond_supply(current_a: float, expected_a: float, bound_a: float, supply: SupplySetup) -> tuple[str, ...]:
    """Every reason why this supply on this line cannot carry the load."""
    if current_a > bound_a * (1 + 1e-9):
        text = (
            f"The load wants {expected_a:.4g} A, but {supply.name} may give {bound_a:.4g} A at most "
            f"(rating {supply.rated_current_a:.4g} A, cap {supply.cap_current_a:.4g} A, area x highest density)."
        )
        return (text,)
    least_a = min(current_a, expected_a)
    if least_a < LEAST_OVER_OFF * supply.off_threshold_a:
        text = (
            f"The load wants {least_a:.3g} A, too little to be told from off on {supply.name} "
            f"(off means below {supply.off_threshold_a:.3g} A)."
        )
        return (text,)
    return ()
