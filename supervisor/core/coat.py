"""The coat of one operation as it grows and ages, and what is told of it: thickness, its spread, mass, porosity.

Source: the formulas of trade/coating.py and trade/dissolution.py. Thickness follows the charge that grew coat; acid
takes mass from all of it and thickness only past the chalking limit.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from supervisor.trade import dissolution
from supervisor.trade.band import mean_band
from supervisor.trade.charge import NOTHING, Interval
from supervisor.trade.coating import least_local_um, spread_um, thickness_um

if TYPE_CHECKING:
    from supervisor.core.anodize import Operation


@dataclass(frozen=True, slots=True)
class Coat:
    """What becomes of the coat beside the charge.

    Attributes:
        counted_s: process time up to which its time in acid is counted; None before the first charge.
        outer_nm: what its outermost walls have lost, nm. layers_nm_c: what each layer's lost, times the charge that
            grew it, nm x C.
        judged: charge, C, up to which it is known whether it grew coat. barren: charge that grew none, C.
        off_since_s: process time since when no current flows though the part is in acid; None while some does.
        off_unknown: whether the computer began anew since, so that nobody can say for how long.
        worked_v: voltage last read while the current of the plan flowed; 0 before.
        awaited_v: at a restart, the voltage to be neared before current flows again; None once that is over.
        out_s: process time at which a person said that the part is out of the acid; None while it is in.
    """

    counted_s: float | None = None
    outer_nm: float = 0.0
    layers_nm_c: float = 0.0
    judged: Interval = NOTHING
    barren: Interval = NOTHING
    off_since_s: float | None = None
    off_unknown: bool = False
    worked_v: float = 0.0
    awaited_v: float | None = None
    out_s: float | None = None

    def off_for_s(self, now_s: float) -> float:
        """For how long, s of process time, the part has been without current since it had a coat."""
        return 0.0 if self.off_since_s is None else max(0.0, now_s - self.off_since_s)

    def shifted(self, shift_s: float) -> Coat:
        """The same in the process time of another boot; how long the computer was away nobody can say."""

        def moved(moment_s: float | None) -> float | None:
            return None if moment_s is None else moment_s + shift_s

        return replace(
            self,
            counted_s=moved(self.counted_s),
            off_since_s=moved(self.off_since_s),
            off_unknown=True,
            out_s=moved(self.out_s),
        )


@dataclass(frozen=True, slots=True)
class Told:
    """What is known of a coat now.

    Attributes:
        mean_um: of the whole load, between the bounds of charge and growth. band_um: the same with its 90 % band, which
            knows of errors of the area and of what differs from load to load. spread_um: from the thinnest place to
            expect to the thickest. least_local_um: where it is thinnest.
        mass_g_per_m2: in the mean, unsealed. lost_share: of the mass it would have had without acid. porosity: share of
            its volume.
    """

    mean_um: Interval
    band_um: Interval
    spread_um: Interval
    least_local_um: Interval
    mass_g_per_m2: Interval
    lost_share: float
    porosity: float


def told(operation: Operation, coat: Coat, charge: Interval, growth: Interval) -> Told:
    """Work out what `charge`, C, has made of the coat; `growth`, um per C/m2, serves where the plan has none."""
    plan, loss_nm = operation.plan, mean_loss_nm(operation, coat)
    grown, factor = less(charge, coat.barren), plan.growth or growth
    grew_um, band = thickness_um(grown, plan.area_m2, factor), mean_band(grown, plan.area_m2, plan.band or factor)
    gone = 0.0
    if plan.wall_limit_nm is not None:
        gone = dissolution.chalked_share(coat.outer_nm, loss_nm, plan.wall_limit_nm)
    # The limit is not sharp: what may be gone is taken from the lower bounds, and the upper one leaves it.
    mean, band = (Interval(um.low * (1 - gone), um.best * (1 - gone), um.high) for um in (grew_um, band))
    low, best, high = (dissolution.mass_g_per_m2(um, loss_nm) for um in (mean.low, mean.best, mean.high))
    return Told(
        mean_um=mean,
        band_um=band,
        spread_um=spread_um(mean, plan.spread),
        least_local_um=least_local_um(mean, plan.spread),
        mass_g_per_m2=Interval(low, best, high),
        lost_share=dissolution.lost_share(loss_nm),
        porosity=dissolution.porosity(loss_nm),
    )


def grew(operation: Operation, coat: Coat) -> Interval | None:
    """Charge, C, that grew coat, between its bounds; None where nothing bounds it."""
    return None if operation.dose.unbounded else less(operation.dose.charge, coat.barren)


def grown_c(operation: Operation, coat: Coat) -> float:
    """Charge, C, that grew coat, best value."""
    return operation.dose.charge.best - coat.barren.best


def target_c(operation: Operation, coat: Coat) -> float:
    """Charge, C, at which the bound that stops it reaches the target: what grew no coat does not count toward it."""
    return operation.plan.target_c + coat.barren.bound(operation.plan.stops_on)


def missing_c(operation: Operation, coat: Coat, charge: Interval) -> float:
    """Charge, C, that must follow `charge` until that bound reaches the target; none where it has."""
    return max(0.0, target_c(operation, coat) - charge.bound(operation.plan.stops_on))


def mean_loss_nm(operation: Operation, coat: Coat) -> float:
    """What the walls of the whole coat have lost in the mean, nm."""
    grown = grown_c(operation, coat)
    return coat.layers_nm_c / grown if grown > 0 else 0.0


def lost_share(operation: Operation, coat: Coat) -> float:
    """Share of its mass, 0 to 1, that the coat has lost to acid."""
    return dissolution.lost_share(mean_loss_nm(operation, coat))


def less(whole: Interval, part: Interval) -> Interval:
    """Take from a sum, C, the part of it that was summed up in the same readings."""
    return Interval(whole.low - part.low, whole.best - part.best, whole.high - part.high)


def older(
    coat: Coat, now_s: float, loss_nm_per_s: float, charge: Interval, *, grows: bool
) -> tuple[float, float, Interval]:
    """Let acid work up to process time `now_s`, and say of the charge since the last time, C, whether it grew coat.

    Returns what `outer_nm`, `layers_nm_c` and `barren` are then. Nothing is lost before there is a coat.
    """
    barren = coat.barren if grows else coat.barren.plus(less(charge, coat.judged))
    grown = charge.best - barren.best
    if grown <= 0 or coat.counted_s is None:
        return coat.outer_nm, coat.layers_nm_c, barren
    loss_nm = loss_nm_per_s * max(0.0, now_s - coat.counted_s)
    return coat.outer_nm + loss_nm, coat.layers_nm_c + loss_nm * grown, barren
