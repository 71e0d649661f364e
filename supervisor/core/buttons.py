"""Buttons beside the tank: silence, acknowledge and test. None of them ever energises or resets anything.

A button's contact is normally open and closes while it is pressed: a broken wire presses nothing, and is not noticed by
itself. The contact is read no more often than its channel is polled, as the line file says: a press that begins and
ends between two readings is lost, and whoever pressed sees and hears that nothing changed, and presses longer.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from supervisor.core import annunciator, contacts, telling
from supervisor.core.actions import Note
from supervisor.core.alarms import UNANSWERED, AlarmTrigger

if TYPE_CHECKING:
    from supervisor.core.work import Work

BOUNCE_S = 0.5
"""Process time from one press to the next that counts: contacts bounce for milliseconds, a worn one for longer
(common practice, no source)."""


def read(work: Work, name: str, closed: bool, sampled_s: float, before_s: float | None) -> None:
    """Take one good reading of a button's contact, sampled at process time `sampled_s`, before `contacts` does.

    `before_s` is the sample of the good one before it. Only closed after open is a press, and only where that open is
    not too old to count: what closed while nobody could look may have been anything.
    """
    known = work.state.contacts.get(name)
    age_limit_s = work.setup.channels[work.setup.contacts[name].channel].age_limit_s
    if not closed or known is None or known.closed is not False:
        return
    if before_s is None or sampled_s - before_s > age_limit_s:
        return
    pressed_s = work.state.annunciator.pressed_s
    if name in pressed_s and sampled_s - pressed_s[name] < BOUNCE_S:
        return
    state = replace(work.state.annunciator, pressed_s={**pressed_s, name: sampled_s})
    work.state = replace(work.state, annunciator=state)
    _attend(work, sampled_s)
    _press(work, name)


def judge(work: Work, name: str) -> None:
    """Let the alarm of a held button follow its contact: only a good reading starts or ends it (R9)."""
    known = work.state.contacts.get(name)
    alarm = work.state.alarms.get(f"{name}/button-held")
    held = alarm is not None and alarm.active
    fresh = work.at.process_s < contacts.due_s(work.setup, work.state, name)
    if fresh and known is not None and known.closed is not None:
        held = known.closed
    work.alarm(name, "button-held", held)


def _press(work: Work, name: str) -> None:
    does = work.setup.contacts[name].does
    if does:
        reasons = _DO[does](work)
        text = f"{name}: pressed, {does}." if not reasons else f"{name}: pressed, {does}: {' '.join(reasons)}"
        work.actions.append(Note("output", name, text, {"does": does}))


def _acknowledge(work: Work) -> tuple[str, ...]:
    """Take every alarm that is told as seen. None is reset: that needs a person who names it."""
    annunciator.silence(work)
    for name in tuple(work.state.alarms):
        alarm = work.state.alarms[name]
        if alarm.told and alarm.state in UNANSWERED:
            telling.answer(work, alarm, AlarmTrigger.ACKNOWLEDGE)
    return ()


_DO: dict[str, Callable[[Work], tuple[str, ...]]] = {
    "silence": annunciator.silence,
    "acknowledge": _acknowledge,
    "test": annunciator.test,
}


def _attend(work: Work, at_s: float) -> None:
    """A person is there: attendance that lasts is prolonged. None is begun, for that could switch a heater on."""
    known_s = work.state.attended_s
    limits_s = [
        tank.heating.attended_s
        for tank in work.setup.tanks.values()
        if tank.heating is not None and tank.heating.attended_s is not None
    ]
    if known_s is not None and all(at_s - known_s < limit_s for limit_s in limits_s):
        work.state = replace(work.state, attended_s=max(known_s, at_s))
