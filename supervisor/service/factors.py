"""What was learned of growth factors and from which loads, as one plain object for programs and people."""

from __future__ import annotations

from typing import Any

from supervisor.core.learned import Learned, learned
from supervisor.core.load import Gauged
from supervisor.core.setup import LineSetup
from supervisor.core.state import LineState
from supervisor.trade.charge import Interval
from supervisor.trade.learning import LEVEL, seen


def factors(setup: LineSetup, state: LineState) -> dict[str, Any]:
    """Return every factor that a gauge taught something of, um per C/m2; the newest loads last."""
    pairs = dict.fromkeys((one.alloy, one.tank) for one in state.gauged.values())
    return {"units": setup.units, "level": LEVEL, "factors": [_factor(setup, state, *pair) for pair in pairs]}


def _factor(setup: LineSetup, state: LineState, alloy: str, tank: str) -> dict[str, Any]:
    known = learned(setup, state.gauged, alloy, tank)
    fits = {load.load: fit for load, fit in zip(known.loads, known.believed.fits, strict=True)}
    mine = [one for one in state.gauged.values() if (one.alloy, one.tank) == (alloy, tank)]
    return {
        "alloy": alloy,
        "tank": tank,
        "published": _interval(known.published),
        "factor": _interval(known.believed.factor),
        "of_load": _interval(known.believed.of_load),
        "loads": [_load(one, fits.get(one.load), known) for one in mine],
    }


def _load(gauged: Gauged, fit: float | None, known: Learned) -> dict[str, Any]:
    """Tell of one load; `fit` is None where nothing is learned from it."""
    shown = seen(gauged.readings_um, gauged.grew, gauged.area_m2)
    grown_um = gauged.grew.best / gauged.area_m2 * known.published.best
    return {
        "load": gauged.load,
        "mean_um": sum(gauged.readings_um) / len(gauged.readings_um),
        "readings_um": list(gauged.readings_um),
        "published_um": grown_um,
        "factor": shown.factor,
        "sure_to_share": shown.sd,
        "fits": fit,
        "left_out": _left_out(gauged, fit),
        "wall_s": gauged.wall_s,
        "who": gauged.who,
    }


def _left_out(gauged: Gauged, fit: float | None) -> str:
    if gauged.suspect:
        return f"suspect: {gauged.suspect}"
    return "newer ones count" if fit is None else ""


def _interval(interval: Interval) -> dict[str, float]:
    return {"low": interval.low, "best": interval.best, "high": interval.high}
