"""How baths go on, for programs and for the live view: when a tank is ready, where a load's bath ends."""

from __future__ import annotations

import math
from typing import Any

from supervisor.core import bath_end, forecast
from supervisor.core.events import Instant
from supervisor.core.setup import LineSetup
from supervisor.core.state import LineState
from supervisor.trade.charge import Interval
from supervisor.trade.hydrogen import hydrogen_l_per_s


def ready(setup: LineSetup, state: LineState, tank: str) -> dict[str, Any] | None:
    """Tell when a heated tank is at what it is to hold; a time that is None never comes."""
    found = forecast.ready(setup, state, tank)
    if found is None:
        return None
    ends = {key: value if math.isfinite(value) else None for key, value in _interval(found.to_go_s).items()}
    return {"at_c": forecast.ready_c(setup.tanks[tank]), "to_go_s": ends, "levels_off_c": found.ends_c}


def end(setup: LineSetup, state: LineState, tank: str, at: Instant) -> dict[str, Any] | None:
    """Tell where a bath under current stands when its load is done, and what is to be known if that is too warm."""
    found = forecast.end(setup, state, tank, at.process_s)
    if found is None:
        return None
    limit_c, shares = setup.tanks[tank].band.trip_high_c, found.held.mean
    limit_s = bath_end.course(shares, found.of, found.now_c, found.ahead, limit_c).limit_s
    alone = bath_end.Ahead(found.ahead.heat_w, found.ahead.left_s, None)
    return {
        "temperature_c": _interval(bath_end.end_c(found.held, found.of, found.now_c, found.ahead)),
        "uncooled_c": bath_end.course(shares, found.of, found.now_c, alone, limit_c).end_c,
        "cooling": _cooling(state, tank, found),
        "limit_c": limit_c,
        "limit_s": limit_s,
        "bearable_a": None if limit_s is None else forecast.bearable_a(setup, state, tank, found),
    }


def hydrogen(setup: LineSetup, supply: str, current_a: float | None) -> float | None:
    """Hydrogen at most, L/s at 20 degC, of a supply's current, A; None while that is not known."""
    if current_a is None:
        return None
    return hydrogen_l_per_s(current_a) if current_a >= setup.supplies[supply].off_threshold_a else 0.0


def _cooling(state: LineState, tank: str, found: forecast.End) -> str:
    if found.ahead.cooling is None:
        return "none"
    alarm = state.alarms.get(f"{tank}/no-fall")
    failed = alarm is not None and alarm.active
    return "failed" if failed else "on" if found.ahead.cooling.on else "resting"


def _interval(of: Interval) -> dict[str, float]:
    return {"low": of.low, "best": of.best, "high": of.high}
