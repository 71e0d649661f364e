"""How alarms follow their causes: delays, suppression by design, the end of a shelving, and what is told of it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from supervisor.core import alarms, annunciator, first_out
from supervisor.core.actions import Note
from supervisor.core.alarm_log import Happening, with_happening
from supervisor.core.alarms import Alarm, AlarmState, AlarmTrigger, Priority
from supervisor.core.interlocks import CAUSES
from supervisor.core.possible import possible_alarms

if TYPE_CHECKING:
    from supervisor.core.work import Work


def follow(work: Work, subject: str, cause: str, *, present: bool) -> None:
    """Let an alarm follow what its cause says now."""
    known = work.state.alarms.get(f"{subject}/{cause}")
    if known is None and not present:
        return
    alarm = known or Alarm(cause, subject)
    if _suppressed(work, alarm, present=present):
        return
    if alarm.state is AlarmState.SUPPRESSED:
        alarm = _put(work, alarms.show(alarm), AlarmTrigger.SHOW_NORMAL)
    interlock = work.setup.interlocks[cause]
    turned, due = alarms.turn(alarm, present, work.at.process_s, interlock.on_delay_s, interlock.off_delay_s)
    if due:
        _appear(work, turned) if present else _go(work, turned)
    elif turned is not known:
        _keep(work, turned)


def carried_over(work: Work, shift_s: float) -> None:
    """At a start: keep the alarms this line can have, each with its delay begun anew and its latch as its state has it.

    A record of an earlier release knows states alone; what stood or was latched there waits for its reset here too.
    `shift_s` brings process times into this boot, s.
    """
    possible, kept = possible_alarms(work.setup), {}
    for name, alarm in work.state.alarms.items():
        if name not in possible:
            continue
        active = alarm.active or alarm.state in alarms.STANDING
        latches = active and CAUSES[alarm.cause].latches(work.setup.interlocks[alarm.cause])
        latch = alarm.latch or latches or alarm.state in alarms.LATCHED
        under = alarm.under if alarm.under in possible else ""  # a head that this line has no more folds nothing
        kept[name] = replace(_shifted(alarm, shift_s), active=active, latch=latch, turning_s=None, under=under)
    work.state = replace(work.state, alarms=kept)


def _shifted(alarm: Alarm, shift_s: float) -> Alarm:
    return replace(
        alarm,
        since_s=alarm.since_s + shift_s,
        recent_s=tuple(moment_s + shift_s for moment_s in alarm.recent_s),
        acknowledged_s=None if alarm.acknowledged_s is None else alarm.acknowledged_s + shift_s,
        shelved_until_s=None if alarm.shelved_until_s is None else alarm.shelved_until_s + shift_s,
    )


def _suppressed(work: Work, alarm: Alarm, *, present: bool) -> bool:
    """Suppress by design what does not count now; what stands or is latched already stays told."""
    if CAUSES[alarm.cause].when == "always" or work.current_over(alarm.subject):
        return False
    if alarm.active or alarm.latch:
        return False
    if present and alarm.state is AlarmState.NORMAL:
        hidden = alarms.hide(replace(alarm, turning_s=None), AlarmTrigger.SUPPRESS)
        _put(work, hidden, AlarmTrigger.SUPPRESS)
    elif not present and alarm.state is AlarmState.SUPPRESSED:
        _put(work, alarms.show(alarm), AlarmTrigger.SHOW_NORMAL)
    elif alarm.turning_s is not None:
        _keep(work, replace(alarm, turning_s=None))
    return True


def _appear(work: Work, alarm: Alarm) -> None:
    row = CAUSES[alarm.cause]
    latches = row.latches(work.setup.interlocks[alarm.cause])
    after = alarms.appear(alarm, work.at.process_s, work.at.wall_s, latches=latches)
    after = replace(after, under=first_out.head_of(work, after))
    _put(work, after, AlarmTrigger.APPEARS)
    head = work.state.alarms.get(after.under)
    if head is not None and not row.shelvable:  # what asks for hands at once is never silent (R7)
        annunciator.hear(work, head.name)
        if head.state is AlarmState.ACKNOWLEDGED:
            _put(work, alarms.again(head), AlarmTrigger.AGAIN)
    for earlier in first_out.late_to(work, after):
        for one in (earlier, *(replace(its, under=after.name) for its in first_out.folded(work, earlier.name))):
            _keep(work, one)
            _tell(work, one, "folded")
    if row.suspect:
        work.suspect(after)


def _go(work: Work, alarm: Alarm) -> None:
    after = alarms.go(alarm)
    _put(work, after, AlarmTrigger.GOES_LATCHED if after.latch else AlarmTrigger.GOES)


def answer(work: Work, alarm: Alarm, trigger: AlarmTrigger) -> bool:
    """Acknowledge or reset an alarm, and with it what is folded under it; return whether that changed anything."""
    changed = False
    for one in (*first_out.folded(work, alarm.name), alarm):
        acknowledges = trigger is AlarmTrigger.ACKNOWLEDGE
        after = alarms.acknowledge(one, work.at.process_s) if acknowledges else alarms.reset(one)
        if after != one:
            _put(work, after, trigger)
            changed = True
    return changed


def hide(work: Work, alarm: Alarm, trigger: AlarmTrigger, why: str, until_s: float | None = None) -> None:
    """Shelve an alarm or take it out of service. What its cause does stays in force."""
    _put(work, alarms.hide(alarm, trigger, why, until_s), trigger)


def show(work: Work, alarm: Alarm) -> None:
    """End a hiding: it stands where its cause is by now."""
    trigger = AlarmTrigger.SHOW_LATCHED if alarm.latched else AlarmTrigger.SHOW_NORMAL
    _put(work, alarms.show(alarm), AlarmTrigger.SHOW_STANDING if alarm.active else trigger)


def settle(work: Work) -> set[str]:
    """Do what time brings: delays, ends of shelvings, what is told again. Returns the subjects whose causes turned."""
    turned = set()
    for alarm in tuple(work.state.alarms.values()):
        if work.at.process_s < _due_s(work, alarm):
            continue
        if alarm.turning_s is not None:
            follow(work, alarm.subject, alarm.cause, present=alarm.present)
            turned.add(alarm.subject)
        elif alarm.shelved_until_s is not None:
            show(work, alarm)
        else:
            _put(work, alarms.again(alarm), AlarmTrigger.AGAIN)
    return turned


def due_s(work: Work) -> float:
    """Process time at which time alone changes an alarm next; infinite where it never does."""
    return min((_due_s(work, alarm) for alarm in work.state.alarms.values()), default=float("inf"))


def _due_s(work: Work, alarm: Alarm) -> float:
    if alarm.turning_s is not None:
        interlock = work.setup.interlocks[alarm.cause]
        return alarm.turning_s + (interlock.off_delay_s if alarm.active else interlock.on_delay_s)
    if alarm.shelved_until_s is not None:
        return alarm.shelved_until_s
    if alarm.acknowledged_s is None:
        return float("inf")
    priority, setup = CAUSES[alarm.cause].priority, work.setup.alarms
    after_s = {Priority.HIGH: setup.again_high_s, Priority.MEDIUM: setup.again_medium_s}.get(priority, float("inf"))
    return alarm.acknowledged_s + after_s


def _put(work: Work, alarm: Alarm, trigger: AlarmTrigger) -> Alarm:
    """Take an alarm over, remember and tell what became of it.

    What is folded under one that is over or hidden from now on is freed: else nobody would be told of it.
    """
    before = work.state.alarms.get(alarm.name)
    _keep(work, alarm)
    if before is not None and before.state is alarm.state and trigger is not AlarmTrigger.APPEARS:
        return alarm
    _tell(work, alarm, trigger)
    if not (alarm.active or alarm.latch) or alarm.state in alarms.HIDDEN:
        for one in first_out.folded(work, alarm.name):
            freed = replace(one, under="")
            _keep(work, freed)
            if freed.active or freed.latch:
                _tell(work, freed, "stands for itself")
    return alarm


def _keep(work: Work, alarm: Alarm) -> None:
    """Remember an alarm; one whose cause came and went within its delay never was."""
    alarms_now = {**work.state.alarms, alarm.name: alarm}
    if alarm.state is AlarmState.NORMAL and not alarm.count and alarm.turning_s is None:
        del alarms_now[alarm.name]
    work.state = replace(work.state, alarms=alarms_now)


def _tell(work: Work, alarm: Alarm, what: str) -> None:
    """Remember what became of an alarm, and tell it; in full where it is new or stands for itself from now on."""
    happening = Happening(work.at.process_s, work.at.wall_s, alarm.name, alarm.state, what, alarm.under, alarm.why)
    work.state = replace(work.state, alarm_log=with_happening(work.state.alarm_log, happening))
    row = CAUSES[alarm.cause]
    text = f"{alarm.name}: {alarm.state}."
    new = what == AlarmTrigger.APPEARS and alarm.state is AlarmState.UNACKNOWLEDGED
    if alarm.under:
        text = f"{alarm.name}: {alarm.state}, a consequence of {alarm.under}."
    elif new or what == "stands for itself":
        text = " ".join(row.told(alarm.subject, second_means=work.setup.second_means(alarm.subject)))
    data = {"state": str(alarm.state), "priority": str(row.priority), "under": alarm.under}
    work.actions.append(Note("alarm", alarm.name, text, data))
