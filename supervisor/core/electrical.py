"""What current, voltage and bath tell of contacts and coat: a sequential test on the apparent area of a load.

Source: the cumulative sum of E. S. Page, Biometrika 41 (1954) 100 (from memory), on the logarithm of
`trade/apparent_area.py`, twice: against a level that follows slowly (what is lost or gained at once), and against
where this very load had settled (what creeps), less what drift, bath and set point explain. Absolute volts differ by
load, so each load is measured against itself; only what 30 % off the area given, a short or bare metal is, is judged
without. Waits, allowances and thresholds are common practice, no source; `tests/campaigns/electrical.py` holds them
against clean loads.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import NamedTuple

from supervisor.trade.apparent_area import drift, excess_v, log_share
from supervisor.trade.cell import POWER, TEMPERATURE_DOUBT_PER_K, surface_c, voltage_v, warmer

LOST, CREEPING, HOT = "contact-lost-part", "contact-creeping", "contact-hot"
TOUCHED, BARE, BURNING, WRONG = "cathode-touched", "no-growth", "burning", "area-wrong"

CAUSES = (TOUCHED, BARE, LOST, CREEPING, HOT, BURNING, WRONG)
"""Every cause found here; the first of several that stand names what is done."""

SETTLING_S = 45.0
"""For so long after soft start or step the volts of a sound load may move: the plateau comes by 30-60 s."""

LEARNING_S = 15.0
"""For so long after that the load's own level is taken; from then on it is watched. After a step it is watched on."""

WANDER = 0.06
"""What the level may move by at once with nothing wrong, apart from its readings."""

SUDDEN = 0.5
"""Evidence, as logarithm x s beyond that, which tells of a loss: half the area is found within a second or two."""

UNSETTLED = 3.0
"""So many times that evidence is asked for after a step, and always with knobs: turned down they look like a loss.
Twice what the level may move by is allowed for then."""

SURELY = 1.4
"""By so much a loss must be larger to be found whatever noise and the curve's own error do to it."""

GRADUAL_S, GRADUAL_SHARE = 4.0, 0.75
"""A loss is gradual where, after so long, it has been less than this share of what it is now on the average."""

WITHIN_S = 10.0
"""Time within which the least detectable loss is found, s."""

SLOW_MARGIN = 0.06
SLOW_FOR_S = 60.0
"""What a slow change must be beyond what explains it, and for how long."""

STEP_SHARE = 0.3
"""What a change of current may move the level by, as a share of its logarithm: the curve's power is known no better,
and the part's surface, 1-2.5 degC over the bath, gets warmer with the power."""

STANDS_S = 90.0
"""For so long after the start the load's own level is taken anew: volts held settle by then (30-90 s, from memory)."""

WRONG_SHARE, ACID_DOUBT = 0.3, 0.07
"""An area further off than this share is told (unlearned), beyond what acid of 150-200 g/L does to the logarithm."""

HOT_W = 15.0
"""From here on a slow loss of volts is told as heat in a contact: a clamp's surface cannot carry away more."""

TOUCH_V = 4.0
BARRIER_C_PER_M2 = 1000.0
"""A barrier layer of 15 V takes 264 C/m2 (1.76 mC/cm2 and nm, 1 nm/V): after four times that no cell's volts are so
low."""

TOUCH_FOR_S = 2.0
COAT_V, BARE_SHARE = 8.0, 0.55
BARE_AFTER_S = 60.0
"""Under 8 V, where a settled cell carries a quarter of 12 A/ft2, and under this share of the alloy's least volts, so
long after the current began: no coat grows."""

_LEVEL_S, _FAST_S, _LAG_S = 120.0, 1.5, 8.0
_BATH_C_PER_S = 0.25 / 60
"""A real bath of 8-200 L moves by 0.2 degC/min at most; a reading that moves faster is followed no faster than this."""
_LONGEST_S = 2.0
_SAMPLES = 2.0
"""No single reading brings more than half of the evidence: one that is wrong decides nothing."""


class Sample(NamedTuple):
    """Current, A, voltage, V, and bath, degC, as read last at process time `at_s`; charge per area so far, C/m2."""

    at_s: float
    current_a: float
    voltage_v: float
    bath_c: float
    charge_c_per_m2: float


@dataclass(frozen=True, slots=True)
class Sight:
    """What is known of a load and its meters before any reading.

    Attributes:
        area_m2: as ordered. low_v, high_v: volts of its alloy, or of all alloys where none is named.
        growth_um_m2_per_c: for what drift explains.
        doubt: what errors of reading may move the logarithm by, see `apparent_area.reading_doubt`.
        by_hand: whether hands set its current.
    """

    area_m2: float
    low_v: float
    high_v: float
    growth_um_m2_per_c: float
    doubt: float
    by_hand: bool = False


@dataclass(frozen=True, slots=True)
class Settled:
    """Where a load had settled: logarithm of its apparent area, bath, degC, current, A, and charge, C/m2, then.

    It is taken anew up to process time `until_s`, as long as nothing looks like a loss.
    """

    until_s: float
    level: float
    bath_c: float
    current_a: float
    charge_c_per_m2: float


@dataclass(frozen=True, slots=True)
class Watch:
    """What the test remembers.

    Attributes:
        began_s: process time at which current began. quiet_s: from which the load is left to settle.
        at_s: of the newest sample. bath_c: as followed.
        level, fast, lagging: running means of the logarithm, slow, quick and in between.
        loss, gain: evidence of something sudden; loss_s: for how long there has been some of a loss.
        low_s, high_s, touch_s: how long something slow, or a short, has stood.
        settled: None before. found: the causes that stand.
    """

    began_s: float
    quiet_s: float
    at_s: float
    bath_c: float
    level: float = 0.0
    fast: float = 0.0
    lagging: float = 0.0
    loss: float = 0.0
    loss_s: float = 0.0
    gain: float = 0.0
    low_s: float = 0.0
    high_s: float = 0.0
    touch_s: float = 0.0
    settled: Settled | None = None
    found: tuple[str, ...] = ()


def begin(at_s: float, bath_c: float) -> Watch:
    """Begin with the current, at process time `at_s`, in a bath, degC."""
    return Watch(began_s=at_s, quiet_s=at_s, at_s=at_s, bath_c=bath_c)


def disturbed(watch: Watch, at_s: float) -> Watch:
    """Leave the load to settle anew: its set point was changed at process time `at_s`."""
    return replace(watch, quiet_s=at_s, loss=0.0, loss_s=0.0, gain=0.0, low_s=0.0, high_s=0.0)


def least_loss(sight: Sight) -> float:
    """Smallest share of the area, 0 to 1, whose sudden loss is surely found within `WITHIN_S`, once settled."""
    slack, evidence = _bounds(sight)
    return -math.expm1(-SURELY * (slack + evidence / WITHIN_S))


def step(watch: Watch, sample: Sample, sight: Sight) -> Watch:
    """Take in one pair of good readings; one that is not newer, or without current or volts, changes nothing."""
    elapsed_s = sample.at_s - watch.at_s
    if elapsed_s <= 0.0 or sample.current_a <= 0.0 or sample.voltage_v <= 0.0:
        return watch
    bath_c = watch.bath_c + _within(sample.bath_c - watch.bath_c, _BATH_C_PER_S * elapsed_s)
    plain = _plain(watch, bath_c, sample, sight)
    if plain or watch.touch_s > 0.0:
        return _without_coat(watch, bath_c, sample, plain)
    log = log_share(sample.current_a, sample.voltage_v, bath_c, sight.high_v, sight.area_m2)
    if watch.settled is not None:
        return _compare(watch, bath_c, log, sample, sight)
    settling_s = sample.at_s - watch.quiet_s - SETTLING_S
    if settling_s < 0.0 or abs(log - watch.level) > _bounds(sight)[0]:
        # What still moves has not settled: a coat that is restarted takes its current late, for up to 120 s.
        watch = replace(watch, quiet_s=max(watch.quiet_s, sample.at_s - SETTLING_S))
        return replace(watch, at_s=sample.at_s, bath_c=bath_c, level=log, fast=log, lagging=log)
    # The mean of what the load shows once it has settled.
    level = watch.level + (log - watch.level) * min(1.0, elapsed_s / max(settling_s, elapsed_s))
    watch = replace(watch, at_s=sample.at_s, bath_c=bath_c, level=level, fast=level, lagging=level)
    if settling_s < LEARNING_S:
        return watch
    until_s = watch.quiet_s + STANDS_S
    settled = Settled(until_s, level, bath_c, sample.current_a, sample.charge_c_per_m2)
    return replace(watch, settled=settled, found=_add(watch.found, _wrong(level, sight)))


def _within(value: float, bound: float) -> float:
    return min(max(value, -bound), bound)


def _add(found: tuple[str, ...], cause: str) -> tuple[str, ...]:
    return found if not cause or cause in found else (*found, cause)


def _bounds(sight: Sight, *, settling: bool = False) -> tuple[float, float]:
    """What the level may move by with nothing wrong, and what evidence beyond that is asked for."""
    unsettled = sight.by_hand or settling
    return WANDER * (2.0 if unsettled else 1.0) + sight.doubt, SUDDEN * (UNSETTLED if unsettled else 1.0)


def _share(elapsed_s: float, over_s: float) -> float:
    """How far a running mean with a time constant, s, moves towards what is new."""
    return elapsed_s / (elapsed_s + over_s)


def _plain(watch: Watch, bath_c: float, sample: Sample, sight: Sight) -> str:
    """Find a short and bare metal, which need nothing learned: current without the volts of a coat."""
    if sample.voltage_v >= COAT_V or sample.charge_c_per_m2 < BARRIER_C_PER_M2:
        return ""
    least_v = BARE_SHARE * voltage_v(sample.current_a / sight.area_m2, surface_c(bath_c), sight.low_v)
    if sample.voltage_v >= least_v:
        return ""
    if sample.voltage_v < TOUCH_V:
        return TOUCHED
    return BARE if sample.at_s - watch.began_s >= BARE_AFTER_S else ""


def _without_coat(watch: Watch, bath_c: float, sample: Sample, cause: str) -> Watch:
    """Count for how long there have been no volts of a coat; nothing else is told from them."""
    touch_s = watch.touch_s + min(sample.at_s - watch.at_s, _LONGEST_S) if cause else 0.0
    found = _add(watch.found, cause) if touch_s >= TOUCH_FOR_S else watch.found
    return replace(watch, at_s=sample.at_s, bath_c=bath_c, touch_s=touch_s, found=found)


def _wrong(level: float, sight: Sight) -> str:
    """Say whether even the alloy's most fitting volts make the area more than 30 % another than the one given."""
    lowest = level + math.log(sight.low_v / sight.high_v) / POWER
    doubt = ACID_DOUBT + sight.doubt
    too_small = level < math.log(1 - WRONG_SHARE) - doubt
    too_large = lowest > math.log(1 + WRONG_SHARE) + doubt
    return WRONG if too_small or too_large else ""


def _compare(watch: Watch, bath_c: float, log: float, sample: Sample, sight: Sight) -> Watch:
    """Hold a settled load against its level and against where it settled."""
    elapsed_s = sample.at_s - watch.at_s
    settling = sample.at_s - watch.quiet_s < SETTLING_S + LEARNING_S
    slack, evidence = _bounds(sight, settling=settling)
    credit_s, most = min(elapsed_s, _LONGEST_S), evidence / _SAMPLES
    loss = max(0.0, watch.loss + min((watch.level - log - slack) * credit_s, most))
    gain = max(0.0, watch.gain + min((log - watch.level - slack) * credit_s, most))
    low, high = _beyond(watch, sample, sight)
    after = Watch(
        began_s=watch.began_s,
        quiet_s=watch.quiet_s,
        at_s=sample.at_s,
        bath_c=bath_c,
        level=watch.level + _within(log - watch.level, slack) * _share(elapsed_s, LEARNING_S if settling else _LEVEL_S),
        fast=watch.fast + (log - watch.fast) * _share(elapsed_s, _FAST_S),
        lagging=watch.lagging + (log - watch.lagging) * _share(elapsed_s, _LAG_S),
        loss=loss,
        loss_s=watch.loss_s + credit_s if loss > 0.0 else 0.0,
        gain=gain,
        low_s=watch.low_s + credit_s if low > 0.0 else 0.0,
        high_s=watch.high_s + credit_s if high > 0.0 else 0.0,
        settled=_stands(watch, sample),
        found=watch.found,
    )
    if gain >= evidence or after.high_s >= SLOW_FOR_S:
        return replace(after, found=_add(after.found, BURNING))
    if loss < evidence and after.low_s < SLOW_FOR_S:
        return after
    at_once = loss >= evidence and after.low_s < SLOW_FOR_S and not _gradual(after, slack, most / credit_s)
    return replace(after, found=_add(after.found, LOST if at_once else _slow(after, sample, sight)))


def _stands(watch: Watch, sample: Sample) -> Settled | None:
    """Take where the load has settled anew while it is young and sound."""
    settled = watch.settled
    if settled is None or sample.at_s >= settled.until_s or watch.loss > 0.0 or watch.gain > 0.0:
        return settled
    return Settled(settled.until_s, watch.level, watch.bath_c, sample.current_a, sample.charge_c_per_m2)


def _gradual(watch: Watch, slack: float, most: float) -> bool:
    """Whether what is being lost still grows: a part that falls off is gone within a second or two."""
    now = min(watch.level - watch.fast - slack, most)
    return watch.loss_s >= GRADUAL_S and watch.loss < GRADUAL_SHARE * now * watch.loss_s


def _beyond(watch: Watch, sample: Sample, sight: Sight) -> tuple[float, float]:
    """By how much a slow fall, and a slow rise, of the logarithm exceed all that may explain them.

    The bath counts as read and as it was when the load settled, whichever explains more: a thermometer that is wrong
    is no lost contact.
    """
    settled = watch.settled
    assert settled is not None
    moved = watch.lagging - settled.level
    warmer_c = watch.bath_c - settled.bath_c
    by_bath = warmer(surface_c(watch.bath_c), surface_c(settled.bath_c))
    allowed = SLOW_MARGIN + sight.doubt + TEMPERATURE_DOUBT_PER_K * abs(warmer_c)
    allowed += STEP_SHARE * abs(math.log(sample.current_a / settled.current_a))
    low = -max(moved, moved + by_bath) - allowed - _drifted(settled, sample, sight)
    return low, min(moved, moved + by_bath) - allowed


def _drifted(settled: Settled, sample: Sample, sight: Sight) -> float:
    """What the growing coat of a sound load may have taken since it settled."""
    grown_um = sight.growth_um_m2_per_c * (sample.charge_c_per_m2 - settled.charge_c_per_m2)
    return drift(grown_um, sample.voltage_v)


def _slow(watch: Watch, sample: Sample, sight: Sight) -> str:
    """Name a slow loss: from the heat on that it would be if one contact took all of the volts, it is a hot contact."""
    assert watch.settled is not None
    fall = watch.settled.level - watch.fast - _drifted(watch.settled, sample, sight)
    return HOT if sample.current_a * excess_v(fall, sample.voltage_v) >= HOT_W else CREEPING
