"""What must be true to energise, by name. Checked when asked for and again when the intent is durable (R1, R9)."""

from __future__ import annotations

from typing import TYPE_CHECKING

from supervisor.core import contacts, stirring, words, zero
from supervisor.core.alarms import AlarmState
from supervisor.core.anodize import State
from supervisor.core.interlocks import CAUSES
from supervisor.core.plan import highest_current_a
from supervisor.core.setup import LineSetup, SupplySetup

if TYPE_CHECKING:
    from supervisor.core.state import LineState


def failing(setup: LineSetup, state: LineState, name: str, what: str, now_s: float) -> tuple[str, ...]:
    """Every permissive that does not hold for `what` (start, restart, on) on supply `name` at process time `now_s`.

    `on` is the moment at which a contactor has closed for a start or restart and the output is to follow.

    Each is one sentence, its name first. Empty means the output may be energised.
    """
    supply = setup.supplies[name]
    checks = (
        not_watching(state),
        _operation_ready(state, name, what),
        _off_proven(state, name),
        _supply_answers(state, supply, now_s),
        zero.against(setup, state, supply, what),
        _charge_bounded(state, name, what),
        _time_left(state, name, what, now_s),
        _plan_within_limits(setup, state, name, what),
        _coat_can_go_on(setup, state, name, what, now_s),
        *_bath_in_band(setup, state, supply, now_s),
        *_heartbeats(setup, state, name, now_s),
        *contacts.against(setup, state, name, now_s),
        *nothing_tried(state),
        *_nothing_latched(setup, state, supply),
    )
    return tuple(reason for reason in checks if reason)


def not_watching(state: LineState) -> str:
    """Nothing is energised while only watching, or once told to end."""
    if state.ending:
        return "not ending: this supervisor was told to end and switches nothing on any more."
    return "watching only: this supervisor was started to watch and switches nothing on." if state.watch_only else ""


def _operation_ready(state: LineState, name: str, what: str) -> str:
    operation = state.supplies[name].operation
    stands = operation.state if operation else State.IDLE
    if what == "start" and operation is not None:
        first = "Reset it first." if operation.over else "Stop it first."
        return f"operation idle: {name} is {stands} with load {operation.load}. {first}"
    if what == "restart" and stands is not State.HELD:
        return f"operation held: {name} is {stands}; only a held operation can be restarted."
    if what == "on" and (operation is None or not operation.energised):
        return f"operation running: {name} is {stands}."
    return ""


def _off_proven(state: LineState, name: str) -> str:
    if state.supplies[name].output.proven_off:
        return ""
    return f"off proven: the output of {name} is not proven off yet."


def _supply_answers(state: LineState, supply: SupplySetup, now_s: float) -> str:
    if fresh(state, supply.current, now_s, supply.silent_after_s) is not None:
        return ""
    return f"supply answers: no good current reading from {supply.name}."


def _charge_bounded(state: LineState, name: str, what: str) -> str:
    operation = state.supplies[name].operation
    if what == "restart" and operation is not None and operation.dose.unbounded:
        return (
            f"charge bounded: nobody can say how long current flowed through load {operation.load} while the "
            "supervisor was away. Gauge the coat and start a new load, or strip it."
        )
    return ""


def _time_left(state: LineState, name: str, what: str, now_s: float) -> str:
    """R8 ends the operation in this same step, but only after what this step was asked for."""
    operation = state.supplies[name].operation
    if what == "start" or operation is None or now_s < operation.began_s + operation.plan.longest_s:
        return ""
    return f"time left: the longest time of load {operation.load} is over; it is stopped."


def _plan_within_limits(setup: LineSetup, state: LineState, name: str, what: str) -> str:
    """R6: a plan made before the line file was changed must fit the limits of now."""
    operation, supply = state.supplies[name].operation, setup.supplies[name]
    if what != "restart" or operation is None:
        return ""
    plan = operation.plan
    most_a = highest_current_a(supply, setup.anodize.highest_density_a_per_m2, plan.area_m2)
    if plan.current_a <= most_a * (1 + 1e-9) and plan.voltage_v <= supply.rated_voltage_v:
        return ""
    return (
        f"plan within limits: load {operation.load} was planned for {plan.current_a:.4g} A and {plan.voltage_v:.4g} V; "
        f"{name} may give {most_a:.4g} A and {supply.rated_voltage_v:.4g} V since the line file was changed."
    )


def _coat_can_go_on(setup: LineSetup, state: LineState, name: str, what: str, now_s: float) -> str:
    """A coat that stood in acid for long, or was rinsed, does not take up its growth evenly."""
    operation = state.supplies[name].operation
    if what != "restart" or operation is None:
        return ""
    then = "Rinse the load, gauge its coat, and keep it so or strip it."
    coat = state.supplies[name].coat
    if coat.out_s is not None:
        return f"coat can go on: load {operation.load} was taken out of the acid. {then}"
    off_s, within_s = coat.off_for_s(now_s), setup.anodize.restart_within_s
    if off_s <= within_s:
        return ""
    return (
        f"coat can go on: load {operation.load} was off the current in acid for {words.duration(off_s)}, more than "
        f"{words.duration(within_s)}. {then}"
    )


def _bath_in_band(setup: LineSetup, state: LineState, supply: SupplySetup, now_s: float) -> tuple[str, ...]:
    tank = setup.tanks[supply.tank]
    now_c = fresh(state, tank.temperature, now_s, setup.channels[tank.temperature].age_limit_s)
    if now_c is None:
        return (f"bath in band: no good temperature from {tank.name}.",)
    still_s = stirring.missing_s(setup, state, tank, now_s)
    if still_s > 0:
        wait = f"its agitation must run for {still_s:.0f} s more, as a still bath lies in layers; then ask again."
        return (f"bath in band: {tank.name}'s temperature is not trusted yet: {wait}",)
    band = tank.band
    if band.warn_low_c < now_c < band.warn_high_c:
        return ()
    shown, low, high = (words.temperature(value, setup.units) for value in (now_c, band.warn_low_c, band.warn_high_c))
    return (f"bath in band: {tank.name} is at {shown}, not within {low} to {high}.",)


def _heartbeats(setup: LineSetup, state: LineState, name: str, now_s: float) -> tuple[str, ...]:
    return tuple(
        f"heartbeat there: none comes from {beat.device}."
        for beat in setup.heartbeats.values()
        if name in beat.supplies and fresh(state, beat.channel, now_s, beat.silent_after_s) is None
    )


def nothing_tried(state: LineState) -> tuple[str, ...]:
    """Nothing is energised while an output is tried out."""
    if state.exercise is None:
        return ()
    return (f"nothing tried: {state.exercise.output} is being exercised.",)


def _nothing_latched(setup: LineSetup, state: LineState, supply: SupplySetup) -> tuple[str, ...]:
    """Whatever trips and is there, its delay over or not, told or hidden; and whatever waits for a reset (R2)."""
    reasons = []
    for alarm in state.alarms.values():
        row = CAUSES[alarm.cause]
        mine = alarm.subject in setup.over_supply[supply.name]
        if not mine or not row.latches(setup.interlocks[alarm.cause]):
            continue
        if alarm.state is AlarmState.SUPPRESSED:
            continue  # an open contact, which `contacts.against` names
        if alarm.present or alarm.active:
            reasons.append(f"no trip: {alarm.name} stands. {row.first.format(subject=alarm.subject)}")
        elif alarm.latched:
            reasons.append(f"no trip: {alarm.name} waits for a reset (alarms reset {alarm.name}).")
    return tuple(reasons)


def fresh(state: LineState, channel: str, now_s: float, age_limit_s: float) -> float | None:
    """Return the channel's value if its newest reading is good and not too old; None otherwise (R9)."""
    latest = state.channels.get(channel)
    if latest is None or latest.good_s is None or latest.reading.value is None:
        return None
    return latest.reading.value if now_s - latest.good_s <= age_limit_s else None


def heard(state: LineState, channel: str, now_s: float, age_limit_s: float) -> bool:
    """Whether a channel has surely given a good reading lately; without one its alarm stays as it is (R9)."""
    latest = state.channels.get(channel)
    return latest is not None and latest.good_s is not None and now_s < latest.good_s + age_limit_s


def last_good_s(state: LineState, channel: str) -> float:
    """Process time of a channel's newest good reading, or since when it could have been heard, if that is later."""
    latest = state.channels.get(channel)
    return state.heard_from_s if latest is None or latest.good_s is None else max(latest.good_s, state.heard_from_s)
