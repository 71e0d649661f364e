"""R1, R6 and R9: what must be true where anything is switched on, and what it must be known from."""

from __future__ import annotations

from collections.abc import Iterator

from supervisor.core.actions import SetPoints, SwitchOff, SwitchOn
from supervisor.core.anodize import State
from supervisor.core.events import Quality, Recorded, Scanned
from supervisor.core.setup import ContactSetup
from tests.exploration import standing
from tests.exploration.seen import Around, Seen, is_good

Found = Iterator[str]

CLOSES_WITHIN_S = 2.0
NO_PROOF = frozenset({"button", "auxiliary contact"})
"""Contacts that say nothing about whether an operation may run."""

# -- R1


def on_has_every_reason(seen: Seen, of: Around) -> Found:
    if of.begins:
        yield from _begins(seen, of)
    for action in of.told:
        if isinstance(action, SwitchOn):
            yield from _switches_on(seen, of)
        elif isinstance(action, SetPoints) and not of.energised:
            yield "set points without an operation under current"
        elif isinstance(action, SetPoints) and not (of.was.output.wanted_on or of.has(SwitchOn)):
            yield "set points for an output that is not switched on"
    if of.now.output.wanted_on and not of.energised:
        yield "an output is wanted on and nothing runs"
    contactor = of.setup.contactor
    if contactor is not None and any(told.on for told in seen.switches(contactor)) and not of.begins:
        exercise = seen.after.exercise
        if exercise is None or exercise.output != contactor:
            yield "a contactor closes though nothing begins"


def _begins(seen: Seen, of: Around) -> Found:
    """Current may flow from this step on, so this step must have made an intent's record known."""
    pending, operation = of.was.pending, of.was.operation
    if not isinstance(seen.event, Recorded) or pending is None or pending.intent != seen.event.intent:
        yield "begun without a durable intent"
    elif pending.what == "start" and operation is not None:
        yield "started though an operation is there"
    elif pending.what == "restart" and (operation is None or operation.state is not State.HELD):
        yield "restarted though nothing is held"
    yield from _against(seen, of)


def _switches_on(seen: Seen, of: Around) -> Found:
    if not of.energised:
        yield "on without an operation under current"
    if of.has(SwitchOff):
        yield "on and off in one step"
    if of.setup.contactor is not None and (of.was.closing is None or not shut(seen, of.setup.contactor)):
        yield "on though the contactor is not seen closed"
    if of.setup.contactor is None and not of.begins:
        yield "on later than its operation began"
    if of.was.closing is not None and seen.wire_s >= of.was.closing.since_wire_s + CLOSES_WITHIN_S:
        yield "on though the contactor was too late"
    if not of.begins:
        yield from _against(seen, of)


def _against(seen: Seen, of: Around) -> Found:
    if seen.before.ending or seen.before.watch_only:
        yield "on by a supervisor that ends or only watches"
    if seen.before.exercise is not None:
        yield "on while an output is exercised"
    if not of.was.output.proven_off:
        yield "on though off was not proven before"
    for alarm in standing.over(seen.setup, seen.before, of.name):
        if standing.blocks(seen.setup, alarm) and not standing.trips(seen.setup, alarm):
            yield f"on under {alarm.name}"
    yield from _without_air(seen, of)


def _without_air(seen: Seen, of: Around) -> Found:
    """Fumes must have been drawn off for a while before current."""
    for contact in seen.setup.contacts.values():
        known = seen.after.contacts.get(contact.name)
        if contact.proves != "ventilation" or contact.tank not in {of.setup.tank, ""} or known is None:
            continue
        if seen.process_s - known.since_s < seen.setup.ventilation.before_s:
            yield f"on though {contact.name} has not shown moving air for long enough"


def shut(seen: Seen, contactor: str) -> bool:
    """Whether a contactor is closed by its device's word and a good contact sampled since."""
    state, auxiliary = seen.after.outputs[contactor], seen.setup.outputs[contactor].auxiliary
    if not state.on or state.confirmed_s is None:
        return False
    latest = seen.after.channels.get(auxiliary) if auxiliary is not None else None
    if auxiliary is None:
        return True
    return latest is not None and latest.reading.value == 1.0 and latest.at_s > state.confirmed_s


# -- R6


def set_points_keep_their_limits(seen: Seen, of: Around) -> Found:
    operation = of.now.operation
    for action in of.told:
        if not isinstance(action, SetPoints) or operation is None:
            continue
        area_a = operation.plan.area_m2 * seen.setup.anodize.highest_density_a_per_m2
        most_a = min(of.setup.rated_current_a, of.setup.cap_current_a, area_a)
        steps = action.current_a / of.setup.current_step_a
        if not 0 < action.current_a <= most_a * (1 + 1e-9):
            yield f"{action.current_a} A where {most_a} A is the most"
        if abs(steps - round(steps)) > 1e-6:
            yield f"{action.current_a} A is no whole number of the device's steps"
        if not 0 < action.voltage_v <= of.setup.rated_voltage_v:
            yield f"{action.voltage_v} V where {of.setup.rated_voltage_v} V is the most"


# -- R9


def a_bad_reading_is_no_evidence(seen: Seen) -> Found:
    if not isinstance(seen.event, Scanned):
        return
    for reading in seen.event.readings:
        was, now = seen.before.channels.get(reading.channel), seen.after.channels.get(reading.channel)
        if is_good(reading) or now is None or now is was:
            continue
        if now.reading.value is not None or now.good_s != (None if was is None else was.good_s):
            yield f"{reading.channel} has a value though its reading is not good"
    if not any(is_good(reading) for reading in seen.event.readings):
        yield from _cleared_by_nothing(seen)


def _cleared_by_nothing(seen: Seen) -> Found:
    """No alarm goes by a bad reading, but for one about a current that ends, or that is told by a graver name now."""
    if seen.after.bands != seen.before.bands or seen.after.restarted != seen.before.restarted:
        yield "a reading that is not good moved a limit"
    if any(of.ends for of in seen.supplies()):
        return
    # One whose cause went by a good reading before goes when its delay is over, whatever comes then.
    stood = {name for name, alarm in seen.before.alarms.items() if alarm.active and alarm.present}
    stands = {name: alarm.subject for name, alarm in seen.after.alarms.items() if alarm.active}
    renamed = {subject for name, subject in stands.items() if name not in stood}
    for name in stood - stands.keys():
        if seen.before.alarms[name].subject not in renamed:
            yield f"{name} is cleared by a reading that is not good"


def on_stands_on_good_fresh_readings(seen: Seen, of: Around) -> Found:
    if not of.begins and not of.has(SwitchOn):
        return
    for channel, longest_s in standing.looked_at(seen.setup, of.name):
        latest = seen.after.channels.get(channel)
        if latest is None or latest.reading.quality is not Quality.GOOD:
            yield f"on though {channel} has no good reading"
        elif latest.good_s is None or seen.process_s - latest.good_s > longest_s:
            yield f"on though {channel} is too old"
    zero = seen.after.channels.get(of.setup.current)
    if (
        of.begins
        and zero is not None
        and abs(zero.good_value) > seen.setup.channels[of.setup.current].accuracy.absolute
    ):
        yield f"on though {of.setup.current} is not at zero with the output off"
    for contact in seen.setup.contacts.values():
        if contact.role not in NO_PROOF and contact.tank in {of.setup.tank, ""} and not _is_healthy(seen, contact):
            yield f"on though {contact.name} is not closed by a good reading that is fresh"
    band = seen.setup.tanks[of.setup.tank].band
    bath = seen.after.channels.get(seen.setup.tanks[of.setup.tank].temperature)
    if bath is not None and not band.warn_low_c < bath.good_value < band.warn_high_c:
        yield "on though the bath is out of its band"


def _is_healthy(seen: Seen, contact: ContactSetup) -> bool:
    latest, channel = seen.after.channels.get(contact.channel), seen.setup.channels[contact.channel]
    if latest is None or latest.good_s is None or latest.good_value < 1:
        return False
    return seen.process_s - latest.good_s < channel.age_limit_s
