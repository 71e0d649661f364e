"""Faults planted in the core, one or more for every rule: the exploration must find each and call it by its rule."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import Any
from unittest.mock import patch

from supervisor.core import (
    alarms,
    anodize,
    causes,
    contactor,
    dose,
    effects,
    energise,
    line,
    output,
    permissives,
    readings,
    requests,
    switches,
)
from supervisor.core.alarms import Alarm
from supervisor.core.events import Reading, Request, Switched
from supervisor.core.output import Output
from supervisor.core.state import LineState, Pending
from supervisor.core.work import Work
from supervisor.trade.charge import Interval, between_readings
from tests.exploration import parts
from tests.exploration.explorer import Part, explore
from tests.exploration.moment import NAME
from tests.exploration.rules import BrokenRuleError


@dataclass(frozen=True)
class Fault:
    """A fault: the rule it breaks, what it is, the part that shows it, and what stands in for what."""

    rule: str
    what: str
    part: Callable[[], Part]
    planted: tuple[tuple[Any, str, Any], ...]

    def found(self) -> frozenset[str]:
        """Return the numbers of the rules that the exploration calls broken; none where it finds nothing."""
        with ExitStack() as stack:
            for where, name, instead in self.planted:
                stack.enter_context(patch.object(where, name, instead))
            try:
                explore(self.part())
            except BrokenRuleError as broken:
                return broken.numbers
        return frozenset()


def _nothing(*_: object, **__: object) -> None:
    """Forget to do it."""


def _holds(*_: object) -> str:
    return ""


def _never(*_: object) -> bool:
    return False


# -- R1


def _energises_at_once(work: Work, name: str, pending: Pending) -> None:
    energise._energise(work, name, pending)


def _believes_the_device_alone(work: Work, name: str) -> bool | None:
    state = work.state.outputs[name]
    return None if state.confirmed_s is None else state.on


# -- R2


def _trips_without_off(work: Work, name: str) -> None:
    """The operation moves, and off is left to whoever looks next."""
    with patch.object(Work, "switch_off", _nothing):
        _act(work, name)


_act = causes.act


def _told_alone(work: Work, subjects: frozenset[str]) -> list[str]:
    alarms_now = work.state.alarms.values()
    return [alarm.cause for alarm in alarms_now if alarm.active and alarm.told and alarm.subject in subjects]


def _resets_as_well(alarm: Alarm, now_s: float) -> Alarm:
    return alarms.reset(_acknowledge(alarm, now_s))


_acknowledge = alarms.acknowledge


def _hot_bath() -> Part:
    return next(part for part in parts.alarms() if part.name == parts.STOPS)


# -- R3


def _interrupts_only_what_runs(work: Work, name: str) -> None:
    operation = work.supply(name).operation
    if operation is not None and operation.energised:
        _interrupt(work, name)


_interrupt = line._interrupt


def _opens_nothing_at_the_start(work: Work, name: str) -> None:
    if work.state.outputs[name].number:
        _make_safe(work, name)


_make_safe = switches.make_safe


# -- R4


def _takes_a_stored_copy(work: Work, request: Request) -> tuple[str, ...]:
    return _stale(work, replace(request, retained=False))


def _takes_it_twice(work: Work, request: Request) -> tuple[str, ...]:
    return _stale(work, replace(request, id="another"))


_stale = requests._stale


def _believes_any_word(work: Work, event: Switched) -> None:
    _switched(work, replace(event, number=work.state.actions))


_switched = switches.switched


# -- R5


def _bridges_every_gap(before: Interval, after: Interval, elapsed_s: float, most_a: float) -> Interval:
    return between_readings(before, after, elapsed_s)


def _trusts_the_meter(before: Interval, after: Interval, elapsed_s: float, *_: object) -> Interval:
    charge_c = (before.best + after.best) / 2 * elapsed_s
    return Interval(charge_c, charge_c, charge_c)


def _knows_what_flowed_across_boots(found: dose.Dose, *_: object) -> dose.Dose:
    return found


# -- R6


def _half_as_much_again(*of: Any) -> tuple[float, float]:
    current_a, voltage_v = _set_points(*of)
    return 1.5 * current_a, voltage_v


_set_points = anodize.set_points


def _rounds_to_half_steps(value: float, step: float) -> float:
    return value + step / 2


# -- R7


def _takes_bad_for_low(found: Output, current_a: float | None, *of: float) -> Output:
    return _read(found, 0.0 if current_a is None else current_a, *of)


def _takes_early_for_late(found: Output, current_a: float | None, sent_s: float, threshold_a: float) -> Output:
    return _read(found, current_a, float("inf"), threshold_a)


_read = output.read


def _waits_anew(found: Output, wire_s: float) -> Output:
    return _ask_off(replace(found, asked_wire_s=None), wire_s)


_ask_off = output.ask_off


# -- R8


def _counts_nothing(operation: anodize.Operation, *_: object, **__: object) -> anodize.Operation:
    return operation


def _never_too_long(work: Work, name: str, cause: str) -> None:
    if cause != "longest-time":
        _fault(work, name, cause)


_fault = Work.fault


# -- R9


def _last_good_value(state: LineState, channel: str, now_s: float, age_limit_s: float) -> float | None:
    latest = state.channels.get(channel)
    known = latest is not None and latest.good_s is not None and now_s - latest.good_s <= age_limit_s
    return latest.good_value if latest is not None and known else None


def _believes_what_is_left_in_it(reading: Reading) -> Reading:
    return reading


# -- R10


def _settles_by_the_wall_clock(work: Work, name: str) -> None:
    work.at = replace(work.at, process_s=work.at.wall_s)
    _settle(work, name)


_settle = line._settle


def _expires_by_the_wall_clock(work: Work, request: Request) -> tuple[str, ...]:
    return _stale(work, request) if work.at.wall_s < request.expires_wire_s + 1.79e9 else ("fresh: expired.",)


# -- R11


def _off_waits_for_the_record(work: Work, request: Request) -> None:
    if work.supply(NAME).pending is None:
        _off(work, request)
    else:
        work.answer(request.id)


_off = requests._off


PLANTED = (
    Fault("R1", "the proof of off is no permissive", parts.switching, ((permissives, "_off_proven", _holds),)),
    Fault("R1", "on does not wait for its record", parts.switching, ((requests, "intend", _energises_at_once),)),
    Fault("R1", "the contactor's own contact is not looked at", parts.switching,
           ((contactor, "shows", _believes_the_device_alone),)),
    Fault("R2", "a trip does nothing", parts.product, ((causes, "act", _nothing),)),
    Fault("R2", "a trip does not latch", parts.product, ((effects.Row, "latches", _never),)),
    Fault("R2", "a cause that opens the contactor leaves it closed", parts.product,
           ((causes, "switches", SimpleNamespace(command=_nothing)),)),
    Fault("R2", "what is hidden does not act", _hot_bath, ((causes, "standing_over", _told_alone),)),
    Fault("R2", "who acknowledges a latch resets it", _hot_bath, ((alarms, "acknowledge", _resets_as_well),)),
    Fault("R2", "off follows a trip one step later", parts.product, ((causes, "act", _trips_without_off),)),
    Fault("R3", "off is not sent at the start where nothing ran", parts.ends,
           ((line, "_interrupt", _interrupts_only_what_runs),)),
    Fault("R3", "no contactor is opened at the start", parts.ends,
           ((switches, "make_safe", _opens_nothing_at_the_start),)),
    Fault("R3", "nothing is sent at the end", parts.ends, ((line, "_ending", _nothing),)),
    Fault("R4", "a stored copy of a request counts", parts.switching, ((requests, "_stale", _takes_a_stored_copy),)),
    Fault("R4", "a repeated request counts", parts.switching, ((requests, "_stale", _takes_it_twice),)),
    Fault("R4", "a word on an earlier command confirms this one", parts.switching,
           ((switches, "switched", _believes_any_word),)),
    Fault("R5", "a gap is bridged", parts.switching, ((dose, "over_gap", _bridges_every_gap),)),
    Fault("R5", "the meter is exact", parts.switching, ((dose, "between_readings", _trusts_the_meter),)),
    Fault("R5", "nothing flows across a boot", parts.boots, ((dose, "lost_track", _knows_what_flowed_across_boots),)),
    Fault("R6", "half as much again is set", parts.switching, ((energise, "set_points", _half_as_much_again),)),
    Fault("R6", "set points between the device's steps", parts.switching,
           ((anodize, "floor_to_step", _rounds_to_half_steps),)),
    Fault("R7", "one low reading proves off", parts.switching, ((output, "PROOF_READINGS", 1),)),
    Fault("R7", "a bad reading counts as low", parts.switching, ((output, "read", _takes_bad_for_low),)),
    Fault("R7", "a reading from before the confirmation counts", parts.switching,
           ((output, "read", _takes_early_for_late),)),
    Fault("R7", "off is sent once", parts.switching, ((line, "_resend_off", _nothing),)),
    Fault("R7", "every off gives the proof more time", parts.switching, ((output, "ask_off", _waits_anew),)),
    Fault("R8", "the target ends nothing", parts.switching, ((line, "_target", _nothing),)),
    Fault("R8", "commanded charge is not counted", parts.switching, ((line, "count_commanded", _counts_nothing),)),
    Fault("R8", "no time is too long", parts.switching, ((Work, "fault", _never_too_long),)),
    Fault("R9", "the last good value serves though a bad reading is newer", parts.links,
           ((permissives, "fresh", _last_good_value),)),
    Fault("R9", "a value left in a bad reading counts", parts.links,
           ((readings, "_trusted", _believes_what_is_left_in_it),)),
    Fault("R10", "time is counted by the wall clock", parts.switching,
           ((line, "_settle", _settles_by_the_wall_clock),)),
    Fault("R10", "requests expire by the wall clock", parts.switching,
           ((requests, "_stale", _expires_by_the_wall_clock),)),
    Fault("R11", "a record is waited for a minute", parts.switching, ((requests, "RECORD_WITHIN_S", 60.0),)),
    Fault("R11", "a late record is still waited for", parts.switching, ((energise, "expire", _nothing),)),
    Fault("R11", "off waits for a record on its way", parts.switching,
           ((requests, "_off", _off_waits_for_the_record),)),
)  # fmt: skip
