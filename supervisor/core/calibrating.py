"""What a person tells of an instrument held against something better: kept or refused with every reason, or forgotten.

Nothing changes under a load: what is told of a channel while an operation hangs on it, or a heater, is refused.
"""

from __future__ import annotations

import difflib
from dataclasses import replace
from typing import TYPE_CHECKING

from supervisor.core import calibrated, heating, words
from supervisor.core.actions import Note
from supervisor.core.calibrated import Calibration, Instrument
from supervisor.core.events import Request
from supervisor.trade import calibration
from supervisor.trade.calibration import Limits, Point

if TYPE_CHECKING:
    from supervisor.core.setup import LineSetup
    from supervisor.core.state import LineState
    from supervisor.core.work import Work

DUE = "calibration-due"


def take(work: Work, request: Request) -> None:
    """Do one request about an instrument, or refuse it."""
    if request.what == "calibrate":
        _calibrate(work, request)
    else:
        _forget(work, request)


def judge_due(work: Work, channel: str) -> None:
    """Let the alarm of a due date follow it; asked at each reading of the channel."""
    known = work.state.calibrations.get(channel)
    if known is not None:
        work.alarm(channel, DUE, calibrated.overdue(known, work.at.wall_s))


def begin(work: Work) -> None:
    """At a start: what was told of instruments that the line no longer has there is forgotten, and said."""
    state, setup = work.state, work.setup
    calibrations = {
        name: one for name, one in state.calibrations.items() if calibrated.still_fitted(setup, one, name)
    }  # fmt: skip
    commissioned = {
        name: one
        for name, one in state.commissioned.items()
        if name in setup.supplies and calibrated.still_fitted(setup, one, setup.supplies[name].current)
    }
    gone = (*state.calibrations.keys() - calibrations.keys(), *state.commissioned.keys() - commissioned.keys())
    work.state = replace(state, calibrations=calibrations, commissioned=commissioned)
    for name in sorted(gone):
        text = f"{name}: the line file names another instrument now, so what was told of the one before is forgotten."
        work.actions.append(Note("output", name, text))
        if name in setup.channels:
            work.alarm(name, DUE, False)


def against(setup: LineSetup, state: LineState, instrument: Instrument) -> tuple[str, ...]:
    """Every reason why nothing may be told of an instrument now."""
    reasons = []
    for name, supply in setup.supplies.items():
        if instrument.of not in {name, supply.tank}:
            continue
        known = state.supplies[name]
        if known.operation is not None and not known.operation.over:
            reasons.append(f"operation: {name} is {known.operation.state}; calibrate when its operation is over.")
        if known.pending is not None:
            reasons.append(f"operation: a {known.pending.what} of {name} is on its way.")
    tank = instrument.of
    if state.heating.get(tank, heating.HeatingState()).demanded:
        reasons.append(f"heater: {tank} is heated by what this shows; first: ampminder tank rest {tank}")
    return tuple(reasons)


def _calibrate(work: Work, request: Request) -> None:
    instrument, reasons = _instrument(work, request.channel)
    if instrument is None:
        work.answer(request.id, reasons)
        return
    limits = calibrated.limits(work.setup, instrument)
    reasons = (
        *against(work.setup, work.state, instrument),
        *_against_points(work, request, limits),
        *_against_words(work, request),
    )
    if reasons:
        work.answer(request.id, reasons)
        return
    channel = work.setup.channels[request.channel]
    points = calibration.in_order(request.points)
    known = Calibration(
        channel.name, channel.device, channel.point, points, request.reference, work.at.wall_s, request.who,
        request.due, request.due_wall_s,
    )  # fmt: skip
    work.state = replace(work.state, calibrations={**work.state.calibrations, channel.name: known})
    _changed(work, channel.name, instrument, _told(work, known))
    work.answer(request.id, channel=channel.name, notice=_told(work, known))


def _forget(work: Work, request: Request) -> None:
    instrument, reasons = _instrument(work, request.channel)
    if instrument is not None:
        reasons = against(work.setup, work.state, instrument)
        if request.channel not in work.state.calibrations:
            reasons = (*reasons, f"channel: {request.channel} was never calibrated.")
    if instrument is None or reasons:
        work.answer(request.id, reasons)
        return
    kept = {name: one for name, one in work.state.calibrations.items() if name != request.channel}
    work.state = replace(work.state, calibrations=kept)
    text = f"{request.channel}: its calibration is forgotten, says {request.who}; it is read as it shows."
    _changed(work, request.channel, instrument, text)
    work.answer(request.id, channel=request.channel, notice=text)


def _changed(work: Work, channel: str, instrument: Instrument, text: str) -> None:
    """Tell a change, and let readings begin from it: a step of what is shown is no bath that moved.

    What is doubted stays so: a thermometer still in ice is not to be believed because it was calibrated there.
    """
    believed = work.state.believed.get(instrument.of)
    if believed is not None and not believed.why:
        others = {name: one for name, one in work.state.believed.items() if name != instrument.of}
        work.state = replace(work.state, believed=others)
    judge_due(work, channel)
    if channel not in work.state.calibrations:
        work.alarm(channel, DUE, False)
    work.actions.append(Note("tank" if instrument.what == "thermometer" else "output", instrument.of, text))


def _instrument(work: Work, channel: str) -> tuple[Instrument | None, tuple[str, ...]]:
    known = calibrated.instruments(work.setup)
    if channel in known:
        return known[channel], ()
    near = difflib.get_close_matches(channel, known, n=1)
    hint = f"did you mean {near[0]}?" if near else f"this line has {', '.join(known)}."
    what = "is no thermometer and no meter" if channel in work.setup.channels else "is no channel of this line"
    return None, (f"channel: {channel} {what}; {hint}",)


def _against_words(work: Work, request: Request) -> tuple[str, ...]:
    reasons = []
    if not request.reference:
        reasons.append("reference: say what told the truth, such as 'ice and boiling water' or the meter's number.")
    if request.due_wall_s <= work.at.wall_s:
        reasons.append(f"due: {request.due or 'the date'} is not ahead; name a later day, like 2030-01-31.")
    return tuple(reasons)


def _against_points(work: Work, request: Request, limits: Limits) -> tuple[str, ...]:
    """Every reason against a set of points."""
    channel = work.setup.channels[request.channel]
    foreign = [point for point in request.points if point.unit != channel.unit]
    if foreign:
        return tuple(f"points: {foreign_to(point, channel.name, channel.unit)}" for point in foreign)
    reasons = []
    if len(request.points) < calibration.LEAST_POINTS:
        reasons.append(f"points: at least {calibration.LEAST_POINTS} are needed; there are {len(request.points)}.")
    for point in request.points:
        reasons += _against_point(work, point, limits, channel.low, channel.high)
    for one, other in calibration.too_near(request.points, limits.apart):
        pair = f"{_value(work, one.true, one.unit)} and {_value(work, other.true, other.unit)}"
        apart = _difference(work, limits.apart, one.unit)
        reasons.append(f"points: {pair} are one point told twice; two must be at least {apart} apart.")
    for one, other in calibration.not_rising(request.points):
        reasons.append(
            f"points: from {_value(work, one.true, one.unit)} to {_value(work, other.true, other.unit)} it showed no "
            "rise. Was it truly there, and are the points in their places?"
        )
    return tuple(reasons)


def foreign_to(point: Point, name: str, unit: str) -> str:
    """Say that a point is in the unit of something else."""
    return f"{point.shown:.6g} {point.unit} is nothing that {name} shows; it shows {unit}."


def _against_point(work: Work, point: Point, limits: Limits, low: float, high: float) -> list[str]:
    reasons, written = [], _value(work, point.true, point.unit)
    if not low <= point.true <= high or not low <= point.shown <= high:
        span = f"{_value(work, low, point.unit)} to {_value(work, high, point.unit)}"
        reasons.append(f"points: {written} is not within what the instrument can show, {span}.")
    if not point.spread <= limits.steady:
        moved, most = _difference(work, point.spread, point.unit), _difference(work, limits.steady, point.unit)
        reasons.append(f"points: at {written} it moved by {moved}; wait until it moves by less than {most}.")
    if not abs(calibration.correction(point)) <= limits.largest:
        off = _difference(work, abs(calibration.correction(point)), point.unit)
        most = _difference(work, limits.largest, point.unit)
        reasons.append(
            f"points: at {written} it is off by {off}, and no more than {most} is corrected. Look for the fault: a "
            "sensor not deep enough, the wrong kind of thermocouple or shunt, a reference misread."
        )
    return reasons


def _told(work: Work, known: Calibration) -> str:
    parts = [
        f"{_difference(work, calibration.correction(point), point.unit, sign='+')} at "
        f"{_value(work, point.true, point.unit)}"
        for point in known.points
    ]
    return (
        f"{known.channel}: from now on read with {', '.join(parts)}, straight between these and unchanged beyond; held "
        f"against {known.reference} by {known.who}, due again on {known.due}."
    )


def _value(work: Work, value: float, unit: str) -> str:
    return words.temperature(value, work.setup.units) if unit == "degC" else f"{value:.4g} {unit}"


def _difference(work: Work, value: float, unit: str, *, sign: str = "") -> str:
    if unit == "degC":
        return words.temperature_difference(value, work.setup.units, sign=sign)
    return f"{value:{sign}.3g} {unit}"
