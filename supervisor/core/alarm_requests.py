"""What a person asks of alarms: acknowledge, reset, shelve for a while, take out of service and back, silence.

Source: IEC 62682 asks for a reason and a longest time of shelving. What its cause does stays in force all the while.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable
from typing import TYPE_CHECKING

from supervisor.core import annunciator, telling
from supervisor.core.alarms import Alarm, AlarmState, AlarmTrigger
from supervisor.core.events import Request
from supervisor.core.interlocks import CAUSES
from supervisor.core.possible import possible_alarms
from supervisor.core.words import duration

if TYPE_CHECKING:
    from supervisor.core.work import Work


def take(work: Work, request: Request) -> None:
    """Do one request about an alarm, or about all of them, or refuse it with every reason."""
    if request.what in _DO_FOR_ALL:
        work.answer(request.id, _DO_FOR_ALL[request.what](work))
        return
    alarm = _meant(work, request.alarm)
    if alarm is None:
        near = difflib.get_close_matches(request.alarm, [*work.state.alarms, *possible_alarms(work.setup)], n=1)
        hint = f" Did you mean {near[0]}?" if near else ""
        work.answer(request.id, (f"alarm: there is no alarm {request.alarm}.{hint}",))
        return
    reasons = _DO[request.what](work, request, alarm)
    work.answer(request.id, reasons, **({} if reasons else {"alarm": alarm.name}))


def _meant(work: Work, name: str) -> Alarm | None:
    """The alarm of that name, also one that has never appeared if this line can have it."""
    known = work.state.alarms.get(name)
    if known is None and name in possible_alarms(work.setup):
        subject, _, cause = name.partition("/")
        return Alarm(cause, subject)
    return known


def _acknowledge(work: Work, _: Request, alarm: Alarm) -> tuple[str, ...]:
    if telling.answer(work, alarm, AlarmTrigger.ACKNOWLEDGE):
        return ()
    return (f"alarm: {alarm.name} is {alarm.state}; there is nothing to acknowledge.",)


def _reset(work: Work, _: Request, alarm: Alarm) -> tuple[str, ...]:
    if alarm.present:
        return (f"alarm: {alarm.name} cannot be reset while its cause stands.",)
    if telling.answer(work, alarm, AlarmTrigger.RESET):
        return ()
    return (f"alarm: {alarm.name} is {alarm.state}; there is nothing to reset.",)


def _shelve(work: Work, request: Request, alarm: Alarm) -> tuple[str, ...]:
    longest_s = work.setup.alarms.longest_shelving_s
    reasons = list(_hidable(alarm, request))
    if alarm.state is AlarmState.OUT_OF_SERVICE:
        reasons.append(f"alarm: {alarm.name} is out of service already.")
    if request.for_s is None:
        reasons.append("for: shelving needs a time, such as 30 min.")
    elif not 0 < request.for_s <= longest_s:  # said so that a figure that is no number fails too
        reasons.append(f"for: an alarm is shelved for {duration(longest_s)} at most, and for more than nothing.")
    if not reasons and request.for_s is not None:
        until_s = work.at.process_s + request.for_s
        telling.hide(work, alarm, AlarmTrigger.SHELVE, _said(request), until_s)
    return tuple(reasons)


def _take_out(work: Work, request: Request, alarm: Alarm) -> tuple[str, ...]:
    reasons = list(_hidable(alarm, request))
    if alarm.state is AlarmState.OUT_OF_SERVICE:
        reasons.append(f"alarm: {alarm.name} is out of service already.")
    if not reasons:
        telling.hide(work, alarm, AlarmTrigger.TAKE_OUT, _said(request))
    return tuple(reasons)


def _hidable(alarm: Alarm, request: Request) -> tuple[str, ...]:
    """What stands against hiding an alarm at all."""
    reasons = []
    if not CAUSES[alarm.cause].shelvable:
        reasons.append(f"alarm: {alarm.name} asks for hands at once; it is never hidden.")
    if not request.why.strip():
        reasons.append("why: a reason is needed, for whoever comes next.")
    return tuple(reasons)


def _unshelve(work: Work, _: Request, alarm: Alarm) -> tuple[str, ...]:
    return _show(work, alarm, AlarmState.SHELVED)


def _put_back(work: Work, _: Request, alarm: Alarm) -> tuple[str, ...]:
    return _show(work, alarm, AlarmState.OUT_OF_SERVICE)


def _show(work: Work, alarm: Alarm, hidden: AlarmState) -> tuple[str, ...]:
    if alarm.state is not hidden:
        return (f"alarm: {alarm.name} is {alarm.state}, not {hidden}.",)
    telling.show(work, alarm)
    return ()


def _said(request: Request) -> str:
    return f"{request.why.strip()} ({request.who})"


_DO_FOR_ALL: dict[str, Callable[[Work], tuple[str, ...]]] = {
    "alarm silence": annunciator.silence,
    "alarm test": annunciator.test,
}

_DO: dict[str, Callable[[Work, Request, Alarm], tuple[str, ...]]] = {
    "alarm acknowledge": _acknowledge,
    "alarm reset": _reset,
    "alarm shelve": _shelve,
    "alarm unshelve": _unshelve,
    "alarm out of service": _take_out,
    "alarm in service": _put_back,
}
