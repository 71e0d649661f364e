"""R2, R3, R7 and R11: when off is commanded, how it is proven, and what it may not wait for."""

from __future__ import annotations

from collections.abc import Iterator

from supervisor.core.actions import Record, SetPoints, Switch, SwitchOff, SwitchOn
from supervisor.core.alarms import Alarm
from supervisor.core.anodize import OVER, State
from supervisor.core.events import Delayed, Ending, Request, Scanned, Started, Woken
from tests.exploration import standing
from tests.exploration.seen import Around, Seen, by

Found = Iterator[str]

RECORDED_WITHIN_S = 1.0
NOBODY_WATCHED_S = 2.0
STOPS = frozenset({"hold", "stop", "abort", "off"})

# -- R2


def a_trip_ends_current_at_once_and_stays(seen: Seen, of: Around) -> Found:
    asked = isinstance(seen.event, Request) and seen.event.what in STOPS
    if of.ends and not asked and not isinstance(seen.event, Started | Ending):
        yield from left_without_off(seen, of)
    for alarm in standing.over(seen.setup, seen.after, of.name):
        if of.energised and standing.trips(seen.setup, alarm) and (alarm.active or alarm.latch):
            yield f"current under {alarm.name}"
        if alarm.active and standing.opens(seen.setup, alarm) and _is_closed(seen, of.setup.contactor):
            yield f"the contactor is closed under {alarm.name}"
    if of.energised:
        yield from _not_woken_for_silence(seen, of)
        if isinstance(seen.event, Delayed) and seen.event.by_wire_s >= NOBODY_WATCHED_S:
            yield "current though nobody watched"


def a_cause_against_heat_has_the_heater_off(seen: Seen) -> Found:
    for name, tank in seen.setup.tanks.items():
        if tank.heating is None or not seen.after.outputs[tank.heating.output].on:
            continue
        for alarm in seen.after.alarms.values():
            against = "heater off" in seen.setup.interlocks[alarm.cause].also
            if against and alarm.active and alarm.subject in seen.setup.over_tank[name]:
                yield f"the heater of {name} is on under {alarm.name}"


def _is_closed(seen: Seen, contactor: str | None) -> bool:
    return contactor is not None and seen.after.outputs[contactor].on


def left_without_off(seen: Seen, of: Around) -> Found:
    """What goes out when an operation loses its current, by the means its supply has."""
    if of.setup.control == "remote":
        if not of.told or not isinstance(of.told[-1], SwitchOff):
            yield "current ends and off is not commanded in that step"
    elif of.setup.contactor is not None:
        told = seen.switches(of.setup.contactor)
        if not told or told[-1].on:
            yield "current ends and the contactor is not opened in that step"


def _not_woken_for_silence(seen: Seen, of: Around) -> Found:
    for channel, longest_s in standing.looked_at(seen.setup, of.name):
        latest = seen.after.channels.get(channel)
        heard_s = seen.after.heard_from_s
        due_s = heard_s if latest is None or latest.good_s is None else max(latest.good_s, heard_s)
        if due_s + longest_s > seen.process_s and not by(seen.wake.process_s, due_s + longest_s):
            yield f"nobody looks when {channel} falls silent"


def no_latch_ends_by_itself(seen: Seen) -> Found:
    """What switched something off stands or is latched until a person resets it, or what it is folded under."""
    if seen.after.alarms is seen.before.alarms:
        return
    for name, was in seen.before.alarms.items():
        now = seen.after.alarms.get(name)
        if now is was or not standing.latches(seen.setup, was) or not (was.active or was.latch):
            continue
        if now is not None and (now.active or now.latch):
            continue
        forgotten = now is None and isinstance(seen.event, Started)
        if not forgotten and (was.active or not _is_reset(seen, was)):
            yield f"{name} is over and nobody has reset it"


def _is_reset(seen: Seen, alarm: Alarm) -> bool:
    event = seen.event
    resets = isinstance(event, Request) and event.what == "alarm reset" and seen.asks_afresh
    return resets and isinstance(event, Request) and event.alarm in {alarm.name, alarm.under}


# -- R3


def the_safe_state_comes_first_and_last(seen: Seen, of: Around) -> Found:
    quiet = seen.after.watch_only and not isinstance(seen.event, Started)
    if isinstance(seen.event, Started | Ending) and of.setup.control == "remote" and not quiet:
        if [type(action) for action in of.told] != [SwitchOff]:
            yield "the one command at start and end is not off"
    elif isinstance(seen.event, Started | Ending) and of.ends:
        yield from left_without_off(seen, of)
    if isinstance(seen.event, Started) and of.now.output.proven_off:
        yield "off is called proven right after a start"
    contactor = of.setup.contactor
    if seen.after.ending and not seen.after.watch_only and of.now.output.proven_off and contactor is not None:
        state = seen.after.outputs[contactor]
        if state.on is not seen.setup.outputs[contactor].safe_on:
            yield "ending with off proven and the contactor left closed"


def every_switch_is_safe_at_start_and_end(seen: Seen) -> Found:
    if seen.before.ending and not isinstance(seen.event, Started):
        for action in seen.actions:
            otherwise = isinstance(action, Switch) and action.on is not seen.setup.outputs[action.output].safe_on
            if otherwise or isinstance(action, SwitchOn | SetPoints):
                yield "commanded otherwise than safe after the end was told"
    if isinstance(seen.event, Started | Ending):
        yield from _not_sent_safe(seen)


def _not_sent_safe(seen: Seen) -> Found:
    """At the end a remote supply's contactor waits for the proof of off; who only watches touches nothing then."""
    waits = {of.contactor for of in seen.setup.supplies.values() if of.control == "remote"}
    for output, setup in seen.setup.outputs.items():
        told = seen.switches(output)
        if setup.role == "supply output":
            continue
        if isinstance(seen.event, Started):
            if not told or not all(action.safe and action.on is setup.safe_on for action in told):
                yield f"{output} is not sent its safe state at the start"
        elif not seen.after.watch_only and output not in waits and not (told and told[-1].safe):
            yield f"{output} is not sent its safe state at the end"


# -- R7


def off_is_proven_by_good_low_readings_alone(seen: Seen, of: Around) -> Found:
    was, now = of.was.output, of.now.output
    counts = of.low_after_confirmation
    if now.proven_off and not was.proven_off and not of.proves_off:
        yield "off counts as proven by something else than two good low readings"
    if now.low_readings > was.low_readings and not counts:
        yield "a reading that is no proof counts toward one"
    current_a = seen.good(of.setup.current)
    fresh = current_a is not None and isinstance(seen.event, Scanned) and _is_newer(seen, of.setup.current)
    if fresh and now.proven_off and current_a is not None and abs(current_a) >= of.setup.off_threshold_a:
        yield "current flows and off counts as proven"
    stood, stands = _state(of.was.operation), _state(of.now.operation)
    if stands is not stood and stands in OVER | {State.HELD} and not now.proven_off:
        yield f"{stands} without the proof of off"


def _state(operation: object) -> State:
    return getattr(operation, "state", State.IDLE)


def _is_newer(seen: Seen, channel: str) -> bool:
    latest = seen.before.channels.get(channel)
    assert isinstance(seen.event, Scanned)
    return latest is None or (seen.event.t_sent_s + seen.event.t_received_s) / 2 > latest.at_s


def off_is_sent_until_it_is_proven(seen: Seen, of: Around) -> Found:
    was, now, setup = of.was.output, of.now.output, of.setup
    if now.asked_wire_s is None or now.sent_wire_s is None:
        return
    later = was.asked_wire_s is not None and now.asked_wire_s > was.asked_wire_s
    if later and not isinstance(seen.event, Started) and not of.proves_off:
        yield "the deadline of the proof began anew"
    deadline_s = now.asked_wire_s + setup.proof_deadline_s
    alarm = seen.after.alarms.get(f"{of.name}/off-not-proven")
    if seen.wire_s >= deadline_s and isinstance(seen.event, Woken) and not (alarm is not None and alarm.active):
        yield "the proof of off is late and nobody is told"
    if seen.wire_s < deadline_s and not by(seen.wake.wire_s, deadline_s):
        yield "nobody looks when the proof of off is due"
    if seen.after.watch_only or setup.control != "remote":
        return
    again_s = None if was.sent_wire_s is None else was.sent_wire_s + setup.resend_s
    if isinstance(seen.event, Woken) and again_s is not None and seen.wire_s >= again_s and not of.has(SwitchOff):
        yield "off is not sent again"
    if not by(seen.wake.wire_s, now.sent_wire_s + setup.resend_s):
        yield "nobody looks when off is to be sent again"


# -- R11


def off_waits_for_nothing_and_on_for_its_record(seen: Seen, of: Around) -> Found:
    event, was, now = seen.event, of.was.pending, of.now.pending
    if isinstance(event, Request) and event.what in STOPS and seen.asks_afresh and _is_meant(seen, of, event):
        yield from _not_off_when_asked(seen, of, event.what)
    if of.begins and was is not None and seen.wire_s >= was.deadline_wire_s:
        yield "begun by a record that came too late"
    if now is None:
        return
    if seen.wire_s >= now.deadline_wire_s and of.settled:
        yield "an intent is waited for though its record is late"
    elif seen.wire_s < now.deadline_wire_s and not by(seen.wake.wire_s, now.deadline_wire_s):
        yield "nobody looks when the record is late"
    if was is None or was.intent != now.intent:
        if now.deadline_wire_s > seen.wire_s + RECORDED_WITHIN_S:
            yield "a record is waited for longer than 1 s"
        if not any(isinstance(action, Record) and action.intent == now.intent for action in seen.actions):
            yield "an intent is waited for that nobody records"


def _is_meant(seen: Seen, of: Around, event: Request) -> bool:
    """Whether a request is for this supply: named, the only one, or one of all that are to go off."""
    return event.supply == of.name or (not event.supply and (len(seen.setup.supplies) == 1 or event.what == "off"))


def _not_off_when_asked(seen: Seen, of: Around, what: str) -> Found:
    if of.energised:
        yield f"{what} was asked for and current may still flow"
    elif of.ends:
        yield from left_without_off(seen, of)
    elif what == "off" and of.setup.control == "remote" and not of.has(SwitchOff):
        yield "off was asked for and is not commanded in that step"
    if of.now.pending is not None:
        yield f"{what} was asked for and a start is still on its way"
