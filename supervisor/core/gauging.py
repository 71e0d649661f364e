"""A gauge's readings of a load: whether they can be its, and that they are kept or forgotten.

Nothing is kept of a set of which one reading cannot be. A mil and a millimetre differ by 39 and a mil and a micrometre
by 25: a reading that fits the charge in another unit is asked back.
"""

from __future__ import annotations

import difflib
from dataclasses import replace

from supervisor.core import coat, words
from supervisor.core.alloyed import published_growth
from supervisor.core.events import GaugeReading, Request
from supervisor.core.learned import learned
from supervisor.core.load import REMEMBERED_GAUGED, Gauged, Load
from supervisor.core.state import LineState
from supervisor.core.work import Work
from supervisor.trade.charge import Interval
from supervisor.trade.coating import MIL_UM, thickness_um

FARTHEST = 3.0
"""A reading more than so many times off what the charge makes is no reading of that load: factors of all alloys lie
within 1.6 of a usual one, and places on a rack within 1.2 of their mean (both from memory)."""

LIKELY = 2.0
"""A unit was mistaken if the number in another one is no more than so many times off."""

_UNITS_UM = {"um": 1.0, "mil": MIL_UM, "mm": 1000.0}


def take(work: Work, request: Request) -> None:
    """Keep a gauge's readings of a load, or forget them."""
    if request.what == "gauge forget":
        _forget(work, request)
    else:
        _keep(work, request)


def grown(state: LineState, load: Load) -> tuple[Interval | None, str]:
    """The charge that grew a load's coat, C, or why it cannot be told."""
    supplies = state.supplies.values()
    supply = next((one for one in supplies if one.operation is not None and one.operation.id == load.operation), None)
    operation = None if supply is None else supply.operation
    if operation is not None and not operation.over:
        return None, f"load: {load.id} is {operation.state}; gauge it when its operation is over."
    charge = load.grew if supply is None or operation is None else coat.grew(operation, supply.coat)
    if charge is None or not load.tank:  # the latter in a record of an earlier release
        return None, f"load: nobody knows what charge {load.id} had, so its coat says nothing of the growth."
    if charge.best <= 0:
        return None, f"load: {load.id} had no current that grew a coat."
    return charge, ""


def _keep(work: Work, request: Request) -> None:
    load = work.state.loads.get(request.load)
    if load is None:
        work.answer(request.id, (_unknown(request.load, work.state.loads, "there is no load"),))
        return
    charge, why = grown(work.state, load)
    reasons = (*((why,) if why else ()), *_against(work, request, load, charge))
    if charge is None or reasons:
        work.answer(request.id, reasons)
        return
    readings_um = tuple(reading.thickness_um for reading in request.readings)
    found = Gauged(
        load.id, load.alloy, load.tank, load.area_m2, charge, readings_um, load.suspect, work.at.wall_s, request.who
    )
    kept = list(work.state.gauged.items())[1 - REMEMBERED_GAUGED :]
    work.state = replace(work.state, gauged={**dict(kept), load.id: found})
    work.answer(request.id, load=load.id, notice=_told(work, found))


def _against(work: Work, request: Request, load: Load, charge: Interval | None) -> tuple[str, ...]:
    """Every reason against a set of readings."""
    reasons = []
    if load.id in work.state.gauged:
        reasons.append(f"load: {load.id} was gauged already; forget that first: ampminder gauge {load.id} --forget")
    if not request.readings:
        reasons.append("readings: there is none; write each with its unit, like 20 um or 0.8 mil.")
    expected_um = None
    if charge is not None:
        expected_um = thickness_um(charge, load.area_m2, published_growth(work.setup, load.alloy)).best
    reasons += [_implausible(work, reading, expected_um) for reading in request.readings]
    return tuple(reason for reason in reasons if reason)


def _implausible(work: Work, reading: GaugeReading, expected_um: float | None) -> str:
    """Why a reading cannot be, or what was likely meant; "" where nothing is against it."""
    written = f"readings: {reading.number:.6g} {reading.unit}"
    if not 0 < reading.thickness_um < float("inf"):
        return f"{written}: a coat's thickness is above zero."
    if expected_um is None or _apart(reading.thickness_um, expected_um) <= FARTHEST:
        return ""
    expected = words.thickness(expected_um, work.setup.units)
    meant = [
        name
        for name, unit_um in _UNITS_UM.items()
        if name != reading.unit
        and reading.unit in _UNITS_UM
        and _apart(reading.number * unit_um, expected_um) <= LIKELY
    ]
    if meant:
        asked = " or ".join(f"{reading.number:.6g} {name}" for name in meant)
        return f"{written}: the charge makes about {expected}. Was {asked} meant?"
    return f"{written}: the charge makes about {expected}. Is it this load's, and was the gauge set to zero?"


def _apart(one: float, other: float) -> float:
    """How many times one is the other, whichever is greater; both above zero."""
    return max(one / other, other / one)


def _told(work: Work, found: Gauged) -> str:
    """What a set of readings came to, in sentences."""
    units, count = work.setup.units, len(found.readings_um)
    mean = words.thickness(sum(found.readings_um) / count, units)
    text = f"{found.load}: {mean} in the mean of {count} reading{'s' if count > 1 else ''}."
    if found.suspect:
        return f"{text} Nothing is learned from it, because the load is suspect: {found.suspect}."
    known = learned(work.setup, work.state.gauged, found.alloy, found.tank)
    factor, loads = known.believed.factor, len(known.loads)
    kind = f"of {found.alloy} " if found.alloy else ""
    text += (
        f" The growth {kind}in {found.tank} is now {words.growth(factor.best, units)} "
        f"({words.growth(factor.low, units)} to {words.growth(factor.high, units)}), learned from {loads} "
        f"load{'s' if loads > 1 else ''}; it serves from the next start on."
    )
    if known.believed.fits[-1] < 0.5:
        text += f" {found.load} does not fit the others and counts for little: was it gauged right, and its area told?"
    return text


def _forget(work: Work, request: Request) -> None:
    if request.load not in work.state.gauged:
        work.answer(request.id, (_unknown(request.load, work.state.gauged, "there is no gauged load"),))
        return
    kept = {name: one for name, one in work.state.gauged.items() if name != request.load}
    work.state = replace(work.state, gauged=kept)
    work.answer(request.id, load=request.load)


def _unknown(asked: str, names: dict[str, Load] | dict[str, Gauged], text: str) -> str:
    near = difflib.get_close_matches(asked, names, n=3)
    newest = f"the newest are {', '.join(list(names)[:-4:-1])}." if names else "there is none yet."
    return f"load: {text} {asked}; " + (f"did you mean {' or '.join(near)}?" if near else newest)
