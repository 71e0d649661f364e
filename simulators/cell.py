"""The anodizing cell: what voltage it needs, how its oxide settles after a step, and how thick the coat is."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass

# At 12 A/ft2, 15 wt %, 70 degF, and growth in um per A*min/dm2: figures of the trade, from memory. 2xxx grow 0.7 to
# 0.85, 7xxx 0.9 to 1.0, castings 0.6 to 0.85 of what 1xxx, 5xxx and 6xxx do; 3003 is taken to grow like 1xxx.
_BEST_GROWTH = (0.30, 0.33)


@dataclass(frozen=True, slots=True)
class Alloy:
    """What an alloy does: volts at 1.3 A/dm2, 21 degC and 170 g/L; least and most growth, um per A*min/dm2."""

    voltage_v: float
    growth_low: float
    growth_high: float


def _alloy(voltage_v: float, low_share: float = 1.0, high_share: float = 1.0) -> Alloy:
    return Alloy(voltage_v, _BEST_GROWTH[0] * low_share, _BEST_GROWTH[1] * high_share)


ALLOYS = {
    "1100": _alloy(15.0),
    "2024": _alloy(21.0, 0.7, 0.85),
    "3003": _alloy(16.0),
    "5052": _alloy(14.5),
    "6061": _alloy(15.0),
    "6063": _alloy(15.0),
    "7075": _alloy(16.0, 0.9, 1.0),
    "cast 356": _alloy(19.0, 0.6, 0.85),
    "cast 380": _alloy(23.0, 0.6, 0.85),
    "cast 413": _alloy(26.0, 0.6, 0.85),
}

_REFERENCE_A_PER_DM2 = 1.3
_DENSITY_POWER = 0.4
# Through a barrier of given thickness the current rises e-fold for this share more voltage (high-field conduction):
# at nine tenths of its forming voltage a coat carries next to nothing.
_FIELD_SHARE = 0.035
# How sharply field-assisted dissolution rises with the barrier: an eighth power gives a peak of 10 to 30 %.
_DISSOLUTION_POWER = 8
_NATIVE_OXIDE_V = 1.5
_LEAST_A_PER_DM2 = 1e-6
_SURFACE_LAG_S = 15.0
_SURFACE_REFERENCE_W_PER_DM2 = 24.0
_RESIDUAL_DECAY_S = 3.0
_TRANSIENT_S = 30.0
_YOUNG_S = 8.0


def steady_voltage(density_a_per_dm2: float, surface_c: float, acid_g_per_l: float, alloy_v: float) -> float:
    """The voltage of a settled cell without its leads, V, for A/dm2, degC at the part's surface and g/L of acid.

    A fit to knowledge of the trade, from memory, good to about 10 %.
    """
    by_density = math.pow(density_a_per_dm2 / _REFERENCE_A_PER_DM2, _DENSITY_POWER)
    by_acid = math.pow(acid_g_per_l / 170.0, -0.3)
    return alloy_v * by_density * by_acid * math.exp(-0.028 * (surface_c - 21.0))


@dataclass(frozen=True, slots=True)
class LoadDraw:
    """What chance decides for one load.

    Attributes:
        growth_um_m2_per_c: thickness per charge per area.
        drift_v: rise of the settled voltage over the first 25 um, V.
        rise_v_per_s: how fast the barrier builds up at 1.5 A/dm2, V/s.
        pores_s: time constant with which pores open, s.
    """

    growth_um_m2_per_c: float
    drift_v: float
    rise_v_per_s: float
    pores_s: float

    @classmethod
    def of(cls, alloy: Alloy, chance: random.Random, growth_um_per_a_min_dm2: float | None = None) -> LoadDraw:
        """Draw a load of this alloy, with its growth as well where none is given."""
        growth = chance.uniform(alloy.growth_low, alloy.growth_high) * chance.uniform(0.95, 1.02)
        if growth_um_per_a_min_dm2 is not None:
            growth = growth_um_per_a_min_dm2
        return cls(growth / 6000.0, chance.uniform(0.0, 2.0), chance.uniform(4.0, 6.0), chance.uniform(9.0, 14.0))


class Cell:
    """One load in its acid between the ends of its leads. Times are process time.

    Attributes:
        area_dm2: wetted area of the whole load.
        share: part of that area still in contact, 0 to 1; 0 means that the circuit is open.
        creep_ohm: resistance that a failing contact adds; infinite when it has opened.
        touch_ohm: resistance of a rack that touches the cathode, beside the cell; infinite while it does not.
        burning_c: how much hotter than its surroundings the surface is where it burns, K.
        charge_c: charge that has passed through the load.
        draw: what chance decided for it.
        is_stirred: whether the acid around it moves.
    """

    __slots__ = (
        "_acid_g_per_l", "_alloy_v", "_barrier_v", "_leads_ohm", "_pores", "_residual_v", "_rise_per_as", "_settled_s",
        "_still_rise_c", "_surface_over_bath_c", "_surface_rise_c", "_touch_c", "area_dm2", "burning_c", "charge_c",
        "creep_ohm", "draw", "is_stirred", "share", "touch_ohm",
    )  # fmt: skip

    def __init__(
        self,
        *,
        area_dm2: float,
        alloy: str,
        acid_g_per_l: float,
        leads_ohm: float,
        surface_over_bath_c: float,
        still_over_bath_c: float,
        chance: random.Random,
        growth_um_per_a_min_dm2: float | None = None,
    ) -> None:
        self.area_dm2 = area_dm2
        self.share = 1.0
        self.creep_ohm = 0.0
        self.touch_ohm = math.inf
        self.burning_c = 0.0
        self.charge_c = 0.0
        self._touch_c = 0.0
        self.draw = LoadDraw.of(ALLOYS[alloy], chance, growth_um_per_a_min_dm2)
        self._alloy_v = ALLOYS[alloy].voltage_v
        self._acid_g_per_l = acid_g_per_l
        self._leads_ohm = leads_ohm
        self.is_stirred = True
        self._surface_rise_c = surface_over_bath_c / _SURFACE_REFERENCE_W_PER_DM2
        self._still_rise_c = still_over_bath_c / _SURFACE_REFERENCE_W_PER_DM2
        self._surface_over_bath_c = 0.0
        self._barrier_v = _NATIVE_OXIDE_V
        self._pores = 0.0
        self._rise_per_as = self.draw.rise_v_per_s / 1.5
        self._residual_v = 0.0
        self._settled_s = 0.0

    @property
    def thickness_um(self) -> float:
        """Mean thickness over the whole load's area, um."""
        return self.draw.growth_um_m2_per_c * (self.charge_c - self._touch_c) / (self.area_dm2 * 0.01)

    @property
    def residual_v(self) -> float:
        """What the cell still shows at its open ends after the current stopped, V."""
        return self._residual_v

    @property
    def is_open(self) -> bool:
        """Whether no current can pass."""
        return (self.share <= 0.0 and not self.is_touching) or math.isinf(self.creep_ohm)

    @property
    def is_touching(self) -> bool:
        """Whether a rack touches the cathode: what flows passes the oxide by."""
        return not math.isinf(self.touch_ohm)

    @property
    def surface_over_bath_c(self) -> float:
        """How far the part's surface is above the bath now, K."""
        return self._surface_over_bath_c

    @property
    def is_settling(self) -> bool:
        """Whether the oxide still moves fast, so that steps of time must be short."""
        return self._settled_s < _TRANSIENT_S or self._pores < 0.99

    @property
    def is_young(self) -> bool:
        """Whether the last step of current or contact was only seconds ago."""
        return self._settled_s < _YOUNG_S

    def disturb(self) -> None:
        """Tell the cell that its current or contact changes by a step."""
        self._settled_s = 0.0

    def voltage_at(self, current_a: float) -> float:
        """Voltage at the ends of the leads, V, while this current flows."""
        if self.is_touching:
            return current_a * (self._leads_ohm + self.creep_ohm + self.touch_ohm)
        density = max(current_a / (self.area_dm2 * self.share), _LEAST_A_PER_DM2)
        field = 1.0 + _FIELD_SHARE * math.log(density / _REFERENCE_A_PER_DM2)
        return self._barrier_v * field + current_a * (self._leads_ohm + self.creep_ohm)

    def current_at(self, voltage_v: float) -> float:
        """Current, A, that this voltage at the ends of the leads drives; found by Newton's method."""
        if self.is_touching:
            return voltage_v / (self._leads_ohm + self.creep_ohm + self.touch_ohm)
        area = self.area_dm2 * self.share
        ohmic = _REFERENCE_A_PER_DM2 * area * (self._leads_ohm + self.creep_ohm)
        per_fold = self._barrier_v * _FIELD_SHARE
        fold = min((voltage_v / self._barrier_v - 1.0) / _FIELD_SHARE, 20.0)
        if ohmic > 0.0 and voltage_v > 0.0:
            fold = min(fold, math.log(voltage_v / ohmic))
        for _ in range(60):
            drop = ohmic * math.exp(fold)
            change = (self._barrier_v + per_fold * fold + drop - voltage_v) / (per_fold + drop)
            fold -= change
            if abs(change) < 1e-9:
                break
        density = _REFERENCE_A_PER_DM2 * math.exp(fold)
        return density * area if density > 2 * _LEAST_A_PER_DM2 else 0.0

    def heat_w(self, current_a: float, voltage_v: float) -> float:
        """Heat into the bath, W: current x voltage at the tank, and up to 1.41 V x current from the reaction."""
        if current_a <= 0.0:
            return 0.0
        return current_a * (voltage_v - current_a * (self._leads_ohm + self.creep_ohm) + 1.41)

    def step(self, step_s: float, current_a: float, voltage_v: float, bath_c: float, holds_voltage: bool) -> None:
        """Let the oxide and the surface go on for step_s, s, with this current, A, and voltage, V, at their start."""
        self._settled_s += step_s
        if current_a <= 0.0:
            self._residual_v *= math.exp(-step_s / _RESIDUAL_DECAY_S)
            self._surface_over_bath_c *= math.exp(-step_s / _SURFACE_LAG_S)
            return
        if self.is_touching:
            self._touch_c += current_a * step_s
            self._residual_v *= math.exp(-step_s / _RESIDUAL_DECAY_S)
            return
        density = current_a / (self.area_dm2 * self.share)
        cell_v = voltage_v - current_a * (self._leads_ohm + self.creep_ohm)
        self._residual_v = cell_v
        self._grow_barrier(step_s, density, bath_c + self._surface_over_bath_c + self.burning_c, holds_voltage)
        self._pores += (1.0 - self._pores) * -math.expm1(-step_s / self.draw.pores_s)
        rise_c = (self._surface_rise_c if self.is_stirred else self._still_rise_c) * density * cell_v
        self._surface_over_bath_c += (rise_c - self._surface_over_bath_c) * -math.expm1(-step_s / _SURFACE_LAG_S)

    def _grow_barrier(self, step_s: float, density: float, surface_c: float, holds_voltage: bool) -> None:
        """Barrier growth by current less dissolution at the pores' base, one exponential (stiffly stable) step."""
        barrier = self._barrier_v
        field = 1.0 + _FIELD_SHARE * math.log(density / _REFERENCE_A_PER_DM2)
        settled = steady_voltage(density, surface_c, self._acid_g_per_l, self._alloy_v)
        settled += self.draw.drift_v * self.thickness_um / 25.0
        ratio = self._pores * (barrier * field / settled) ** _DISSOLUTION_POWER
        growth = self._rise_per_as * density * (1.0 - ratio)
        slope = self._rise_per_as * density * ratio * _DISSOLUTION_POWER / barrier
        if holds_voltage:
            slope += self._held_slope(density, field, ratio)
        self._barrier_v = max(barrier + growth * _grown_share(slope * step_s) * step_s, _NATIVE_OXIDE_V)

    def _held_slope(self, density: float, field: float, ratio: float) -> float:
        """What the fall of the current under a held voltage adds to the slope of the growth, 1/s."""
        ohmic = self.area_dm2 * self.share * (self._leads_ohm + self.creep_ohm)
        fall = field / (self._barrier_v * _FIELD_SHARE / density + ohmic)
        gain = ratio * _DISSOLUTION_POWER * (_DENSITY_POWER - _FIELD_SHARE)
        return max(self._rise_per_as * fall * (1.0 - ratio + gain), 0.0)


def _grown_share(decay: float) -> float:
    return -math.expm1(-decay) / decay if decay > 1e-9 else 1.0
