"""What the alloy of a load means for its plan: growth, densities, soft start, the thickest coat and the longest time.

Where no alloy is named the line file's own figures serve. Of two bounds the stricter one counts.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from supervisor.core import words
from supervisor.core.events import Order
from supervisor.core.setup import AnodizeSetup, LineSetup, SupplySetup
from supervisor.trade.alloys import Alloy, cell_v, named, wall_limit_nm
from supervisor.trade.charge import Interval
from supervisor.trade.coating import mean_for_um
from supervisor.trade.dissolution import longest_in_acid_s

if TYPE_CHECKING:
    from supervisor.core.plan import Plan

LEAST_SLACK = 1.05
"""Times the planned time that must pass before the coat chalks, or the longest time could end a load that does well."""


@dataclass(frozen=True, slots=True)
class Bounds:
    """What an order may ask for, SI.

    Attributes:
        alloy: of the load; None where nobody said, or where it is not known: `unknown` says so then.
        highest_density_a_per_m2, thickest_um: the stricter of the line's and the alloy's, with
            `whose_density` and `whose_coat` it is. ramp_s: the longer of the line's and the alloy's.
        wall_limit_nm: what the outermost walls of the coat bear before it chalks; None where no alloy says.
    """

    alloy: Alloy | None
    unknown: tuple[str, ...]
    highest_density_a_per_m2: float
    whose_density: str
    thickest_um: float
    whose_coat: str
    ramp_s: float
    wall_limit_nm: float | None


def bounds(setup: LineSetup, order: Order) -> Bounds:
    """Find the alloy of an order, or the line's, and what both allow."""
    anodize, text = setup.anodize, order.alloy or setup.anodize.alloy
    alloy, unknown = named(text) if text else (None, ())
    densest, thickest, line = anodize.highest_density_a_per_m2, anodize.thickest_um, "this line"
    if alloy is None:
        return Bounds(None, unknown, densest, line, thickest, line, anodize.ramp_s, None)
    return Bounds(
        alloy=alloy,
        unknown=(),
        highest_density_a_per_m2=min(densest, alloy.highest_density_a_per_m2),
        whose_density=line if densest <= alloy.highest_density_a_per_m2 else alloy.name,
        thickest_um=min(thickest, alloy.coat_limit_um),
        whose_coat=line if thickest <= alloy.coat_limit_um else alloy.name,
        ramp_s=max(anodize.ramp_s, alloy.ramp_s),
        wall_limit_nm=wall_limit_nm(alloy),
    )


def published_growth(setup: LineSetup, alloy: str) -> Interval:
    """Growth, um per C/m2, of an alloy before anything is learned; the line's where none is named, or none known."""
    found = named(alloy)[0] if alloy else None
    if found is not None:
        return found.growth
    return Interval(setup.growth.low_um_m2_per_c, setup.growth.best_um_m2_per_c, setup.growth.high_um_m2_per_c)


def mean_um(anodize: AnodizeSetup, target_um: float) -> float:
    """Mean thickness, um, that serves a target."""
    return target_um if anodize.target_means == "mean" else mean_for_um(target_um, anodize.rack_spread)


def chalks_after_s(setup: LineSetup, supply: SupplySetup, bears: Bounds) -> float:
    """Time under current, s, after which the coat can chalk in the warmest bath of this tank's band; or infinite."""
    warmest_c = setup.tanks[supply.tank].band.warn_high_c
    return float("inf") if bears.wall_limit_nm is None else longest_in_acid_s(bears.wall_limit_nm, warmest_c)


def too_long(setup: LineSetup, supply: SupplySetup, bears: Bounds, expected_s: float, mean: float) -> tuple[str, ...]:
    """Refuse a plan whose coat would chalk before it is thick enough; `mean` is the mean thickness wanted, um."""
    chalks_s = chalks_after_s(setup, supply, bears)
    if bears.alloy is None or LEAST_SLACK * expected_s <= chalks_s:
        return ()
    warmest_c = setup.tanks[supply.tank].band.warn_high_c
    text = (
        f"The load would take {words.duration(expected_s)}, but in acid of {words.temperature(warmest_c, setup.units)} "
        f"a coat on {bears.alloy.name} begins to chalk after {words.duration(chalks_s)}. Ask for at most "
        f"{words.thickness(mean * chalks_s / (LEAST_SLACK * expected_s), setup.units)} in the mean, or for a higher "
        "density."
    )
    return (text,)


def notices(plan: Plan) -> tuple[str, ...]:
    """What a person should know of the alloy before the load is under way, a sentence each; nothing of it refuses."""
    if not plan.alloy:
        return ()
    alloy, _ = named(plan.alloy)
    if alloy is None:  # a plan of a release that knew it
        return ()
    told = [f"{alloy.name}: {alloy.notes}"] if alloy.notes else []
    wanted_v = cell_v(alloy.voltage_v, plan.expected_a / plan.area_m2)
    if wanted_v > plan.voltage_v:
        told.append(
            f"{alloy.name} takes about {wanted_v:.3g} V at this density, and {plan.voltage_v:.3g} V is the most this "
            "load is given: it will take longer."
        )
    return tuple(told)
