"""Every instrument of a line with what is known of its calibration, as one plain object for programs and people."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from supervisor.core import calibrated, calibrating
from supervisor.core.calibrated import Calibration, Commissioned, Instrument
from supervisor.core.events import Instant
from supervisor.core.setup import LineSetup
from supervisor.core.state import LineState


def calibrations(setup: LineSetup, state: LineState, at: Instant) -> dict[str, Any]:
    """Return every instrument by channel, and what was seen of each supply's meter; figures in their channel's unit."""
    return {
        "units": setup.units,
        "watch_only": state.watch_only,
        "instruments": {
            channel: _instrument(setup, state, channel, instrument, at)
            for channel, instrument in calibrated.instruments(setup).items()
        },
        "commissioned": {name: _commissioned(state.commissioned.get(name)) for name in setup.supplies},
    }


def brief(state: LineState, at: Instant) -> dict[str, Any]:
    """Return what a report must say of every calibrated channel: when and by what, and until when it holds."""
    return {
        name: {
            "wall_s": one.wall_s,
            "reference": one.reference,
            "due": one.due,
            "overdue": calibrated.overdue(one, at.wall_s),
        }
        for name, one in state.calibrations.items()
    }


def _instrument(
    setup: LineSetup, state: LineState, channel: str, instrument: Instrument, at: Instant
) -> dict[str, Any]:
    latest, known = state.channels.get(channel), state.calibrations.get(channel)
    stale = latest is None or at.process_s - latest.at_s > setup.channels[channel].age_limit_s
    return {
        "what": instrument.what,
        "of": instrument.of,
        "unit": setup.channels[channel].unit,
        "limits": asdict(calibrated.limits(setup, instrument)),
        "shown": None if latest is None or stale else latest.shown,
        "reading": "none yet" if latest is None else "stale" if stale else str(latest.reading.quality),
        "sampled_s": None if latest is None else latest.at_s,
        "against": list(calibrating.against(setup, state, instrument)),
        "calibration": known and _known(known, at),
    }


def _known(known: Calibration, at: Instant) -> dict[str, Any]:
    return {
        "points": [{"shown": point.shown, "true": point.true} for point in known.points],
        "who": known.who,
        "wall_s": known.wall_s,
        "reference": known.reference,
        "due": known.due,
        "overdue": calibrated.overdue(known, at.wall_s),
    }


def _commissioned(found: Commissioned | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {
        "points": [{"shown": point.shown, "true": point.true} for point in found.points],
        "who": found.who,
        "wall_s": found.wall_s,
        "reference": found.reference,
    }
