"""What the explorer tells two states of a line apart by: finite, whatever ids, dates, charges and ages they hold.

A part of the exploration puts together the looks it needs. What a part leaves out it does not let happen either, or it
makes no difference to what can come next.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator

from supervisor.core.alarms import Alarm
from supervisor.core.anodize import State
from tests.exploration import standing
from tests.exploration.moment import Moment

Look = Callable[[Moment], Hashable]


def service(moment: Moment) -> Hashable:
    """Whether the supervisor may energise at all."""
    return moment.state.watch_only, moment.state.ending


def operation(moment: Moment) -> Hashable:
    """Where it stands, whether a start or restart is on its way, and whether it met its target if that still counts."""
    operation, pending = moment.supply.operation, moment.supply.pending and moment.supply.pending.what
    if operation is None:
        return State.IDLE, pending
    return operation.state, pending, operation.state not in {State.ABORTING, *_OVER} and operation.at_target


_OVER = {State.STOPPED, State.ABORTED, State.COMPLETE}


def target(moment: Moment) -> Hashable:
    """Whether the target was met, also where it no longer decides how the operation ends."""
    return moment.operation is not None and moment.operation.at_target


def soft_start(moment: Moment) -> Hashable:
    """Whether on and its set points are confirmed, and whether the last of them are told."""
    operation = moment.operation
    ramp = operation.ramp if operation is not None else None
    if operation is None or ramp is None:
        return moment.supply.closing is not None
    final = ramp.current_a >= operation.plan.current_a
    return ramp.on_s is None, ramp.next_s is None, ramp.set_s is None, final, operation.low_since_s is None


def output(moment: Moment) -> Hashable:
    """On, or how far the proof of off has come."""
    output = moment.supply.output
    if output.wanted_on or output.proven_off:
        return output.wanted_on
    return output.asked_wire_s is None, output.confirmed_s is None, output.low_readings


def proof(moment: Moment) -> Hashable:
    """On, off and proven, or neither."""
    return moment.supply.output.wanted_on, moment.supply.output.proven_off


def lateness(moment: Moment) -> Hashable:
    """Whether the proof of off is late."""
    asked_s = moment.supply.output.asked_wire_s
    return asked_s is not None and moment.at.wire_s - asked_s >= moment.of.proof_deadline_s


def contactor(moment: Moment) -> Hashable:
    """What it was told, whether its device did it, and what its contact has shown since."""
    switch, name = moment.switch, moment.of.contactor
    if switch is None or name is None:
        return None
    auxiliary = moment.setup.outputs[name].auxiliary
    latest = moment.state.channels.get(auxiliary) if auxiliary is not None else None
    seen = latest is not None and switch.confirmed_s is not None and latest.at_s > switch.confirmed_s
    return switch.on, switch.number == 0, switch.confirmed_s is None, latest.reading.value if latest and seen else None


def trial(moment: Moment) -> Hashable:
    """Whether the contactor is, or was, tried out."""
    return moment.state.exercise is not None, moment.switch is not None and moment.switch.tried


def across_boots(moment: Moment) -> Hashable:
    """Whether the device's own time-out is armed, and whether charge is bounded."""
    operation = moment.operation
    return moment.supply.armed, operation is not None and operation.dose.unbounded


def reading(channel: str, longest_s: float) -> Look:
    """Whether the newest reading of a channel is good, and whether the newest good one is too old."""

    def look(moment: Moment) -> Hashable:
        latest, since_s = moment.state.channels.get(channel), moment.state.heard_from_s
        if latest is not None and latest.good_s is not None:
            since_s = max(since_s, latest.good_s)
        if moment.at.process_s - since_s >= longest_s:
            return "silent"
        return latest is None or latest.reading.value is None

    return look


def heartbeat(moment: Moment) -> Hashable:
    """Whether the board began anew by its newest heartbeat."""
    return moment.state.restarted


def bath(moment: Moment) -> Hashable:
    """Which limits the bath is beyond, and whether it is on its way beyond one."""
    band = moment.state.bands.get(moment.of.tank)
    return band is not None and (band.beyond, band.warn_since_s is not None)


def causes(*names: str) -> Look:
    """Of each of these alarms: inactive, active or latched."""

    def look(moment: Moment) -> Hashable:
        known = (moment.state.alarms.get(name) for name in names)
        return tuple(alarm is not None and (alarm.active or (alarm.latch and "latched")) for alarm in known)

    return look


def alarm(name: str) -> Look:
    """One, state by state; one that never appeared is like one that is over."""

    def look(moment: Moment) -> Hashable:
        known = moment.state.alarms.get(name, Alarm("", ""))
        return known.state, known.active, known.latch, known.turning_s is None

    return look


def contact(name: str) -> Look:
    """What a contact showed last."""

    def look(moment: Moment) -> Hashable:
        known = moment.state.contacts.get(name)
        return None if known is None else known.closed

    return look


def blocked(*names: str) -> Look:
    """Whether any alarm but these is against switching on."""
    return lambda moment: any(True for _ in _blocking(moment, names))


def rest(*names: str) -> Look:
    """The same, and whether all that are wait for nothing but a reset."""

    def look(moment: Moment) -> Hashable:
        found = [alarm.active or alarm.present for alarm in _blocking(moment, names)]
        return "standing" if any(found) else bool(found)

    return look


def _blocking(moment: Moment, names: tuple[str, ...]) -> Iterator[Alarm]:
    alarms = moment.state.alarms.items()
    return (alarm for name, alarm in alarms if name not in names and standing.blocks(moment.setup, alarm))
