"""What a person tells of an instrument, as texts with units, made into points in SI and a date."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta
from typing import Any

from supervisor import units
from supervisor.trade.calibration import Point

MOST_POINTS = 20

DUE_AFTER = timedelta(days=365)
"""After so long an instrument is calibrated again where nobody names a date; common practice, no source."""

FORM = "write what it showed, =, and what was true, like '0.4 degC = 0 degC' or '9.9 A +- 0.02 A = 10 A'"

_KINDS: dict[str, units.Kind] = {"degC": "temperature", "A": "current", "V": "voltage"}
_POINT = re.compile(r"([^=]+?)(?:(?:\+-|±)([^=]+))?=([^=]+)")


def read_points(body: dict[str, Any], reasons: list[str]) -> tuple[Point, ...]:
    """Read points; a mistake in any is told."""
    written = body.get("points", [])
    if (
        not isinstance(written, list)
        or len(written) > MOST_POINTS
        or not all(isinstance(one, str) and len(one) <= 200 for one in written)
    ):
        reasons.append(f"points: these must be at most {MOST_POINTS} texts; {FORM}.")
        return ()
    found = [_point(text, reasons) for text in written]
    return tuple(point for point in found if point is not None)


def _point(text: str, reasons: list[str]) -> Point | None:
    parts = _POINT.fullmatch(text)
    if parts is None:
        reasons.append(f"points: {text!r} is no point; {FORM}.")
        return None
    shown, spread, true = parts.groups()
    unit = next((unit for unit, kind in _KINDS.items() if _is(true, kind)), "")
    if not unit:
        reasons.append(f"points: {true.strip()!r} is no temperature, current or voltage with its unit; {FORM}.")
        return None
    kind = _KINDS[unit]
    try:
        changed = 0.0 if spread is None else units.parse(spread, "temperature difference" if unit == "degC" else kind)
        return Point(units.parse(shown, kind), units.parse(true, kind), abs(changed), unit)
    except units.UnitMistake as mistake:
        reasons.append(f"points: {mistake.problem}; {mistake.right}.")
        return None


def _is(text: str, kind: units.Kind) -> bool:
    try:
        units.parse(text, kind)
    except units.UnitMistake:
        return False
    return True


def read_due(body: dict[str, Any], wall_s: float, reasons: list[str]) -> tuple[str, float]:
    """Read the date on which it is to be done again: as written and as UTC s; a year from `wall_s` where none is."""
    text = body.get("due", "")
    try:
        due = date.fromisoformat(text) if text else datetime.fromtimestamp(wall_s, UTC).date() + DUE_AFTER
    except (TypeError, ValueError):
        reasons.append(f"due: {str(text)[:40]!r} is no date; write it as year-month-day, like 2030-01-31.")
        return "", 0.0
    return due.isoformat(), datetime(due.year, due.month, due.day, tzinfo=UTC).timestamp()
