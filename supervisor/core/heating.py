"""Heating of a tank: asked for by a person, held by two-position control, and off on any doubt.

A heater in the air burns, and nobody is there: so it heats only while the temperature is good, the level is proven and
was seen to move since the tank was filled, no cause stands against it, and somebody was there lately unless the line
file says otherwise. Whatever ends a demand, only a fresh request brings it back. The cut at a high-high limit is not
made here (`causes.cut_heater`), and both are additional to an independent cut-out in hardware.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from supervisor.core import contacts, permissives, rise, switches, words
from supervisor.core.actions import Note
from supervisor.core.alarms import Alarm, AlarmState
from supervisor.core.interlocks import CAUSES
from supervisor.core.rise import Rise
from supervisor.core.two_position import Told, look, tell, wants

if TYPE_CHECKING:
    from supervisor.core.tank_setup import HeatingSetup
    from supervisor.core.work import Work


@dataclass(frozen=True, slots=True)
class HeatingState:
    """One tank's heating.

    Attributes:
        demanded: whether a person asked for heat and nothing has ended that since.
        unattended: whether it ended because nobody was there, and nobody has been since.
        heater: what its control told the heater. rise: whether the bath warms up as it should.
    """

    demanded: bool = False
    unattended: bool = False
    heater: Told = field(default_factory=Told)
    rise: Rise = field(default_factory=Rise)


def state_of(work: Work, tank: str) -> HeatingState:
    """Return the state of a tank's heating."""
    return work.state.heating.get(tank, HeatingState())


def begin(work: Work, tank: str, who: str) -> tuple[str, ...]:
    """Heat a tank from now on, or return every reason why not; refused, an earlier demand has ended as well."""
    reasons, state = against(work, tank), state_of(work, tank)
    if reasons:
        forget(work, tank, f"asked for again by {who} and refused")
    elif not state.demanded:
        _put(work, tank, replace(state, demanded=True))
        held = words.temperature(_setup(work, tank).hold_c, work.setup.units)
        _note(work, tank, "demanded", f"{tank}: heated to {held} from now on, asked for by {who}.")
    return reasons


def end(work: Work, tank: str, why: str) -> None:
    """End a demand and have the heater off, whatever was known of it."""
    forget(work, tank, why)
    switches.command(work, _setup(work, tank).output, on=False)


def forget(work: Work, tank: str, why: str) -> None:
    """End a demand; nothing happens where there is none."""
    state = state_of(work, tank)
    if state.demanded:
        _put(work, tank, replace(state, demanded=False, rise=Rise()))
        _note(work, tank, "rests", f"{tank}: no longer heated ({why}); it stays so until somebody asks for heat again.")


def judge(work: Work, tank: str) -> None:
    """Let the alarms of a tank's heating follow how its temperature rises and whether anybody is there."""
    if work.setup.tanks[tank].heating is None:
        return
    _judge_rise(work, tank)
    state = state_of(work, tank)
    unattended = (state.demanded or state.unattended) and _left_alone(work, tank)
    if unattended is not state.unattended:
        _put(work, tank, replace(state, unattended=unattended))
    work.alarm(tank, "heating-unattended", unattended)


def settle(work: Work, tank: str) -> tuple[list[float], list[float]]:
    """After an event: end what may not go on, and switch the heater as its bath asks for.

    Returns process and wire times to look at it again. A supervisor that only watches leaves it alone.
    """
    setup, before = work.setup.tanks[tank].heating, state_of(work, tank)
    if setup is None or work.state.watch_only:
        return [], []
    heater = look(work, setup.output, before.heater)
    if heater != before.heater:
        _put(work, tank, replace(before, heater=heater))
        forget(work, tank, f"{setup.output} was switched by something else, or its device began anew")
    for why in _ends(work, tank):
        forget(work, tank, why)
    on = _wants(work, tank)
    if on is not work.state.outputs[setup.output].on:
        _put(work, tank, replace(state_of(work, tank), heater=tell(work, setup.output, on=on)))
    return _wakes(work, tank, setup)


def against(work: Work, tank: str) -> tuple[str, ...]:
    """Every reason why a tank's heater may not be on now, each one sentence with its name first (R1, R9)."""
    setup, output = _setup(work, tank), work.state.outputs[_setup(work, tank).output]
    reasons = [permissives.not_watching(work.state), *permissives.nothing_tried(work.state), _too_warm(work, tank)]
    if setup.level:
        reasons += contacts.against_level(work.setup, work.state, setup.level, work.at.process_s)
    reasons += [_stands(alarm) for alarm in _heater_off(work, tank)]
    if not output.on and output.confirmed_s is None:
        reasons.append(f"heater answers: {setup.output} has not confirmed yet that it is off.")
    return tuple(reason for reason in reasons if reason)


def _wakes(work: Work, tank: str, setup: HeatingSetup) -> tuple[list[float], list[float]]:
    state, output = state_of(work, tank), work.state.outputs[setup.output]
    if not state.demanded:
        return [], []
    process = [state.heater.since_s + (setup.least_on_s if output.on else setup.least_off_s)]
    if setup.attended_s is not None and work.state.attended_s is not None:
        process.append(work.state.attended_s + setup.attended_s)
    waits = output.on and output.confirmed_s is None
    return process, [output.asked_wire_s + switches.SAFE_WITHIN_S] if waits else []


def _wants(work: Work, tank: str) -> bool:
    """Whether the heater is to be on. Any doubt is off, whatever its least time on."""
    setup, state = _setup(work, tank), state_of(work, tank)
    if not state.demanded or against(work, tank) or _unheard(work, tank):
        return False
    now_c = _temperature_c(work, tank)
    assert now_c is not None, "nothing stood against it a moment ago"
    for_s = work.at.process_s - state.heater.since_s
    on = work.state.outputs[setup.output].on
    return wants(on, now_c - setup.hold_c, setup.band_c, for_s, setup.least_on_s, setup.least_off_s)


def _unheard(work: Work, tank: str) -> bool:
    """Whether a heater's on has gone unconfirmed for too long: nobody knows what it does, so it is told off."""
    output = work.state.outputs[_setup(work, tank).output]
    late = work.at.wire_s - output.asked_wire_s >= switches.SAFE_WITHIN_S
    return output.on and output.confirmed_s is None and late


def _ends(work: Work, tank: str) -> list[str]:
    """What ends a demand for good."""
    if not state_of(work, tank).demanded:
        return []
    found = [alarm.name for alarm in _heater_off(work, tank) if alarm.active]
    return [*found, *(["nobody is there"] if state_of(work, tank).unattended else [])]


def _heater_off(work: Work, tank: str) -> list[Alarm]:
    """The causes over a tank that switch its heater off and are there, their delays over or not, or are latched."""
    over = work.setup.over_tank[tank]
    return [
        alarm
        for alarm in work.state.alarms.values()
        if alarm.subject in over
        and "heater off" in work.setup.interlocks[alarm.cause].also
        and (alarm.active or alarm.latched or (alarm.present and alarm.state is not AlarmState.SUPPRESSED))
    ]


def _stands(alarm: Alarm) -> str:
    if alarm.present:
        return f"no trip: {alarm.name} stands. {CAUSES[alarm.cause].first.format(subject=alarm.subject)}"
    return f"no trip: {alarm.name} waits for a reset (alarms reset {alarm.name})."


def _too_warm(work: Work, tank: str) -> str:
    now_c, limit_c = _temperature_c(work, tank), work.setup.tanks[tank].band.warn_high_c
    if now_c is None:
        return f"temperature known: no good temperature from {tank}."
    if now_c < limit_c:
        return ""
    shown, limit = (words.temperature(value, work.setup.units) for value in (now_c, limit_c))
    return f"bath in band: {tank} is at {shown}; it is not heated from {limit} up."


def _temperature_c(work: Work, tank: str) -> float | None:
    channel = work.setup.channels[work.setup.tanks[tank].temperature]
    return permissives.fresh(work.state, channel.name, work.at.process_s, channel.age_limit_s)


def _judge_rise(work: Work, tank: str) -> None:
    """Blame the heater or the sensor at a new reading alone: nothing can be seen without one."""
    setup, state, of = _setup(work, tank), state_of(work, tank), work.setup.tanks[tank]
    latest, now_c = work.state.channels.get(of.temperature), _temperature_c(work, tank)
    new = latest is not None and (state.rise.seen is None or latest.at_s > state.rise.seen[0])
    if not state.demanded or latest is None or now_c is None or not new:
        work.alarm(tank, "no-rise", present=False)
        return
    output = work.state.outputs[setup.output]
    on = output.on and output.confirmed_s is not None and latest.at_s >= output.confirmed_s
    after = rise.read(state.rise, of, setup, latest.at_s, now_c, on=on)
    came = rise.judged(after, setup)
    _put(work, tank, replace(state, rise=after if came is None else rise.next_minutes(after)))
    work.alarm(tank, "no-rise", came is False)


def _left_alone(work: Work, tank: str) -> bool:
    """Whether no person has asked for anything for longer than this tank may heat by itself."""
    limit_s, seen_s = _setup(work, tank).attended_s, work.state.attended_s
    return limit_s is not None and (seen_s is None or work.at.process_s >= seen_s + limit_s)


def _setup(work: Work, tank: str) -> HeatingSetup:
    setup = work.setup.tanks[tank].heating
    assert setup is not None, "asked of heated tanks alone"
    return setup


def _put(work: Work, tank: str, state: HeatingState) -> None:
    work.state = replace(work.state, heating={**work.state.heating, tank: state})


def _note(work: Work, tank: str, heating: str, text: str) -> None:
    work.actions.append(Note("tank", tank, text, {"heating": heating}))
