"""Timers that are over and channels that have fallen silent: more of what can happen, by a moved beginning."""

from __future__ import annotations

from dataclasses import replace

from supervisor.core.events import Woken
from supervisor.core.switches import REFRESHED_S, SAFE_WITHIN_S
from tests.exploration.happenings import Happening, Made
from tests.exploration.moment import BARELY_S, Moment

LONGEST_DELAY_S = 7200.0
"""Longer than any delay of an alarm and than any acknowledged one is left alone."""


def falls_silent(channel: str, longest_s: float) -> Happening:
    def happening(moment: Moment) -> Made:
        return (moment.silent(channel, longest_s), Woken(moment.at)) if channel in moment.setup.channels else None

    return happening


def the_contactor_is_too_slow(moment: Moment) -> Made:
    closing = moment.supply.closing
    if closing is None:
        return None
    late = replace(closing, since_wire_s=closing.since_wire_s - 2.0 - BARELY_S)
    return moment.with_supply(closing=late), Woken(moment.at)


def the_proof_is_late(moment: Moment) -> Made:
    asked_s = moment.supply.output.asked_wire_s
    if asked_s is None:
        return None
    return moment.with_output(asked_wire_s=asked_s - moment.of.proof_deadline_s - BARELY_S), Woken(moment.at)


def off_is_due_again(moment: Moment) -> Made:
    sent_s = moment.supply.output.sent_wire_s
    if sent_s is None:
        return None
    return moment.with_output(sent_wire_s=sent_s - moment.of.resend_s - BARELY_S), Woken(moment.at)


def the_contactor_is_told_again(moment: Moment) -> Made:
    switch = moment.switch
    if switch is None or switch.on or switch.confirmed_s is not None:
        return None
    return moment.with_switch(sent_wire_s=switch.sent_wire_s - 1.0), Woken(moment.at)


def the_contactor_is_told_for_good_measure(moment: Moment) -> Made:
    switch = moment.switch
    if switch is None or switch.on or switch.confirmed_s is None or moment.state.watch_only:
        return None
    return moment.with_switch(sent_wire_s=switch.sent_wire_s - REFRESHED_S - BARELY_S), Woken(moment.at)


def the_contactor_stays_silent(moment: Moment) -> Made:
    switch = moment.switch
    if switch is None or switch.on or switch.confirmed_s is not None:
        return None
    return moment.with_switch(asked_wire_s=switch.asked_wire_s - SAFE_WITHIN_S - BARELY_S), Woken(moment.at)


def a_set_point_is_due(moment: Moment) -> Made:
    ramp = moment.operation.ramp if moment.operation is not None else None
    if ramp is None or ramp.next_s is None:
        return None
    began_s = ramp.began_s - moment.setup.anodize.ramp_step_s
    return moment.with_operation(ramp=replace(ramp, began_s=began_s, next_s=moment.at.process_s)), Woken(moment.at)


def the_target_is_foreseen(moment: Moment) -> Made:
    operation = moment.operation
    ramp = operation.ramp if operation is not None else None
    if operation is None or ramp is None or ramp.on_s is None or not moment.may_reach_its_target:
        return None
    return moment.nearly_there(), Woken(moment.at)


def the_longest_time_is_over(moment: Moment) -> Made:
    operation = moment.operation
    if operation is None:
        return None
    began_s = moment.at.process_s - operation.plan.longest_s - BARELY_S
    return moment.with_operation(began_s=began_s), Woken(moment.at)


def the_largest_charge_is_reached(moment: Moment) -> Made:
    operation = moment.operation
    if operation is None:
        return None
    return moment.with_operation(commanded_c=operation.plan.largest_c), Woken(moment.at)


def delays_are_over(moment: Moment) -> Made:
    """What an alarm's cause says otherwise than the alarm has been so for long enough."""
    if all(alarm.turning_s is None for alarm in moment.state.alarms.values()):
        return None
    old_s = moment.at.process_s - LONGEST_DELAY_S
    aged = moment.with_alarms(lambda alarm: alarm if alarm.turning_s is None else replace(alarm, turning_s=old_s))
    return aged, Woken(moment.at)


def shelving_is_over(moment: Moment) -> Made:
    if all(alarm.shelved_until_s is None for alarm in moment.state.alarms.values()):
        return None
    now_s = moment.at.process_s
    over = moment.with_alarms(
        lambda alarm: alarm if alarm.shelved_until_s is None else replace(alarm, shelved_until_s=now_s)
    )
    return over, Woken(moment.at)


def acknowledged_long_ago(moment: Moment) -> Made:
    if all(alarm.acknowledged_s is None for alarm in moment.state.alarms.values()):
        return None
    old_s = moment.at.process_s - LONGEST_DELAY_S
    aged = moment.with_alarms(
        lambda alarm: alarm if alarm.acknowledged_s is None else replace(alarm, acknowledged_s=old_s)
    )
    return aged, Woken(moment.at)
