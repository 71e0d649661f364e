"""Everything that can happen to a line of one supply, as a state a timer has been moved in, and an event.

A happening that would mean nothing at a moment is None there.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from supervisor.core.events import (
    Command,
    Delayed,
    Ending,
    Event,
    Order,
    Quality,
    Reading,
    Recorded,
    Request,
    RequestKind,
    Scanned,
    Started,
    Switched,
    Woken,
    Written,
)
from supervisor.core.state import LineState
from tests.exploration.moment import BARELY_S, Moment

Made = tuple[LineState, *tuple[Event, ...]] | None
Happening = Callable[[Moment], Made]

RAMP_S = 2.0
ORDER = Order(0.013, 20.0, ramp_s=RAMP_S)
"""Two set points to full current, 1.95 A."""

LOW_A, HIGH_A, MUCH_A, MUCH_V = 0.004, 1.95, 4.0, 40.0
GOOD_C, WARM_C, HOT_C = 20.5, 22.5, 24.5


# -- a person


def asks(what: RequestKind) -> Happening:
    return lambda moment: (moment.state, request(moment, what))


def request(moment: Moment, what: RequestKind, *, alarm: str = "", output: str = "") -> Request:
    wire_s = moment.at.wire_s
    order = ORDER if what == "start" else None
    return Request(
        moment.at, f"r{moment.count}", wire_s, wire_s + 5.0, "socket", "mara", what, "", alarm, order, output=output
    )


def tempting(moment: Moment) -> Request:
    """What would change most if it were taken."""
    operation = moment.supply.operation
    if operation is None:
        return request(moment, "start")
    if operation.over:
        return request(moment, "reset")
    return request(moment, "restart" if operation.state == "held" else "off")


def asks_by_a_stored_copy(moment: Moment) -> Made:
    return moment.state, replace(tempting(moment), retained=True)


def asks_too_late(moment: Moment) -> Made:
    return moment.state, replace(tempting(moment), expires_wire_s=moment.at.wire_s)


def asks_from_the_future(moment: Moment) -> Made:
    return moment.state, replace(tempting(moment), made_wire_s=moment.at.wire_s + 2.0)


def asks_a_second_time(moment: Moment) -> Made:
    before = moment.state.requests
    return (moment.state, replace(tempting(moment), id=before[-1])) if before else None


def asks_together_with_a_stop(moment: Moment) -> Made:
    """Made at the very moment of the newest request that took energy away."""
    lowered_s, asked = moment.state.lowered_wire_s, tempting(moment)
    if lowered_s is None or asked.what not in {"start", "restart"}:
        return None
    return moment.state, replace(asked, made_wire_s=lowered_s)


def asks_of(what: RequestKind, alarm: str) -> Happening:
    """Something about an alarm that this line may never have had yet."""

    def happening(moment: Moment) -> Made:
        asked = request(moment, what, alarm=alarm)
        return moment.state, replace(asked, why="mended tomorrow", for_s=60.0 if what == "alarm shelve" else None)

    return happening


def resets_the_rest(named: tuple[str, ...]) -> Happening:
    """A person resets whatever can be reset but for the alarms that are looked at one by one."""

    def happening(moment: Moment) -> Made:
        alarms = moment.state.alarms.items()
        latched = [name for name, alarm in alarms if alarm.latched and not alarm.present and name not in named]
        resets = [replace(request(moment, "alarm reset", alarm=name), id=f"r{moment.count}/{name}") for name in latched]
        return (moment.state, *resets) if resets else None

    return happening


# -- the journal


def the_record_is_kept(moment: Moment) -> Made:
    pending = moment.supply.pending
    return None if pending is None else (moment.state, Recorded(moment.at, pending.intent))


def restarts_at_once(moment: Moment) -> Made:
    """A restart asked for, its record kept before anything else happens."""
    operation, asked = moment.operation, request(moment, "restart")
    if operation is None:
        return moment.state, asked
    return moment.state, asked, Recorded(moment.at, f"{operation.id}/{asked.id}")


def the_record_is_kept_too_late(moment: Moment) -> Made:
    pending = moment.supply.pending
    if pending is None:
        return None
    late = moment.with_supply(pending=replace(pending, deadline_wire_s=moment.at.wire_s))
    return late, Recorded(moment.at, pending.intent)


def the_record_does_not_come(moment: Moment) -> Made:
    made = the_record_is_kept_too_late(moment)
    return None if made is None else (made[0], Woken(moment.at))


def a_record_nobody_waits_for(moment: Moment) -> Made:
    return moment.state, Recorded(moment.at, "test-0/nobody")


# -- the supply's wire


def _written(moment: Moment, command: Command, number: int, *, ok: bool) -> Event:
    now_s = moment.at.process_s
    return Written(moment.at, "main", command, number, ok, now_s, now_s, "" if ok else "no answer")


def off_is(*, ok: bool) -> Happening:
    def happening(moment: Moment) -> Made:
        if not ok and moment.supply.output.asked_wire_s is None:
            return None
        return moment.state, _written(moment, "off", moment.state.actions, ok=ok)

    return happening


def on_is(*, ok: bool) -> Happening:
    def happening(moment: Moment) -> Made:
        operation = moment.operation
        if operation is None or operation.state == "held":
            return None
        return moment.state, _written(moment, "on", moment.state.actions, ok=ok)

    return happening


def set_points_are(*, ok: bool, stale: bool = False) -> Happening:
    def happening(moment: Moment) -> Made:
        ramp = moment.operation.ramp if moment.operation is not None else None
        return None if ramp is None else (moment.state, _written(moment, "set points", ramp.number - stale, ok=ok))

    return happening


def time_out_is(*, ok: bool) -> Happening:
    def happening(moment: Moment) -> Made:
        if moment.of.device_time_out_s is None or moment.supply.armed is ok:
            return None
        return moment.state, _written(moment, "time-out", moment.state.actions, ok=ok)

    return happening


def switched_on_at_once(moment: Moment) -> Made:
    """On and its set points confirmed, one after the other."""
    operation = moment.operation
    ramp = operation.ramp if operation is not None else None
    if ramp is None or (ramp.on_s is not None and ramp.set_s is not None):
        return None
    number = moment.state.actions
    return (
        moment.state,
        _written(moment, "on", number, ok=True),
        _written(moment, "set points", ramp.number, ok=True),
    )


def off_is_proven_at_once(moment: Moment) -> Made:
    """Off confirmed, and two good low readings after that."""
    if moment.supply.output.proven_off or moment.supply.output.wanted_on:
        return None
    now_s = moment.at.process_s
    low = (Reading(moment.of.current, Quality.GOOD, LOW_A),)
    return (
        moment.state,
        _written(moment, "off", moment.state.actions, ok=True),
        Scanned(moment.at, "device", now_s + BARELY_S, now_s + BARELY_S, low),
        Scanned(moment.at, "device", now_s + 2 * BARELY_S, now_s + 2 * BARELY_S, low),
    )


# -- the contactor's wire


def the_contactor_answers(*, ok: bool = True, other: bool = False, stale: bool = False) -> Happening:
    """The word on its newest command, on the other way, or on one from before its last change."""

    def happening(moment: Moment) -> Made:
        switch, now_s = moment.switch, moment.at.process_s
        if switch is None or switch.number == 0 or (switch.confirmed_s is not None and not other):
            return None
        number = switch.first - 1 if stale else switch.number
        word = Switched(moment.at, moment.of.contactor or "", switch.on is not other, number, ok, now_s, now_s)
        return moment.state, word

    return happening


# -- readings


def reads(channel: str, value: float, quality: Quality = Quality.GOOD) -> Happening:
    """One reading of a channel; what is not good carries a tempting value all the same."""

    def happening(moment: Moment) -> Made:
        return (moment.state, scan(moment, channel, value, quality)) if channel in moment.setup.channels else None

    return happening


def scan(moment: Moment, channel: str, value: float, quality: Quality = Quality.GOOD) -> Scanned:
    now_s = moment.at.process_s
    return Scanned(moment.at, "device", now_s, now_s, (Reading(channel, quality, value),))


def low_asked_for_before_off_was_confirmed(moment: Moment) -> Made:
    confirmed_s, now_s = moment.supply.output.confirmed_s, moment.at.process_s
    if confirmed_s is None:
        return None
    sent_s = confirmed_s - 1e-4
    reading = Reading(moment.of.current, Quality.GOOD, LOW_A)
    return moment.state, Scanned(moment.at, "device", sent_s, 2 * now_s - sent_s, (reading,))


def high_after_a_gap(moment: Moment) -> Made:
    operation = moment.operation
    if operation is None or operation.dose.last_s is None:
        return None
    return moment.after_a_gap(2.0), scan(moment, moment.of.current, HIGH_A)


def high_reaches_the_target(moment: Moment) -> Made:
    """Where off is proven a reading is the meter's own zero and reaches nothing."""
    if not moment.may_reach_its_target or moment.supply.output.proven_off:
        return None
    return moment.nearly_there(), scan(moment, moment.of.current, HIGH_A)


def low_for_long(moment: Moment) -> Made:
    operation = moment.operation
    if operation is None or operation.low_since_s is None:
        return None
    low_since_s = operation.low_since_s - moment.setup.anodize.lost_after_s - BARELY_S
    return moment.with_operation(low_since_s=low_since_s), scan(moment, moment.of.current, LOW_A)


def warm_for_long(moment: Moment) -> Made:
    band = moment.state.bands.get(moment.of.tank)
    if band is None or band.warn_since_s is None:
        return None
    limits = moment.setup.tanks[moment.of.tank]
    aged = replace(band, warn_since_s=band.warn_since_s - limits.band.delay_s - BARELY_S)
    state = replace(moment.state, bands={**moment.state.bands, moment.of.tank: aged})
    return state, scan(moment, limits.temperature, WARM_C)


def shut_half_a_second_after_it_opened(moment: Moment) -> Made:
    switch = moment.switch
    if switch is None or switch.on or switch.confirmed_s is None or "shut" not in moment.setup.channels:
        return None
    return moment.with_switch(confirmed_s=switch.confirmed_s - 0.6), scan(moment, "shut", 1.0)


def beats(*, anew: bool = False, quality: Quality = Quality.GOOD) -> Happening:
    def happening(moment: Moment) -> Made:
        if "board-heartbeat" not in moment.setup.channels:
            return None
        return moment.state, scan(moment, "board-heartbeat", 0.1 if anew else moment.at.process_s, quality)

    return happening


# -- the supervisor itself


def stood_still(seconds: float) -> Happening:
    """The loop did nothing for so long."""
    return lambda moment: (moment.state, Delayed(moment.at, seconds))


def the_end_is_told(moment: Moment) -> Made:
    return None if moment.state.ending else (moment.state, Ending(moment.at))


def starts_again(*, same_boot: bool = True, watch_only: bool = False) -> Happening:
    def happening(moment: Moment) -> Made:
        before_s = moment.at.process_s - 1e-3
        started = Started(moment.at, "boot", "1", "hash", watch_only, journal_s=before_s, same_boot=same_boot)
        return moment.state, started

    return happening


# -- an output tried out, while only watching


def tries_the_contactor(moment: Moment) -> Made:
    if not moment.state.watch_only or moment.of.contactor is None:
        return None
    return moment.state, request(moment, "exercise", output=moment.of.contactor)


def leaves_the_contactor(moment: Moment) -> Made:
    if moment.state.exercise is None:
        return None
    return moment.state, request(moment, "release", output=moment.state.exercise.output)


def the_trial_is_over(moment: Moment) -> Made:
    exercise = moment.state.exercise
    if exercise is None:
        return None
    return replace(moment.state, exercise=replace(exercise, until_wire_s=moment.at.wire_s)), Woken(moment.at)
