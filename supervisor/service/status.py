"""How the line stands, as one plain object for programs and for the live view."""

from __future__ import annotations

from typing import Any

from supervisor.core import alarm_log as log
from supervisor.core import annunciator, coat, contacts, dose, knobs
from supervisor.core.alarms import AlarmState
from supervisor.core.anodize import Operation
from supervisor.core.events import Instant
from supervisor.core.heating import HeatingState
from supervisor.core.interlocks import CAUSES
from supervisor.core.setup import LineSetup
from supervisor.core.state import LineState
from supervisor.core.switches import SwitchState
from supervisor.core.tank_setup import CoolingSetup, HeatingSetup
from supervisor.core.work import Work
from supervisor.service import calibrations, status_forecast
from supervisor.trade.charge import Interval

VERSION = 1


def status(setup: LineSetup, state: LineState, at: Instant) -> dict[str, Any]:
    """Return the line's state; every figure in the unit its name says, None where there is no good reading."""
    return {
        "version": VERSION,
        "line": setup.name,
        "units": setup.units,
        "at": {"process_s": at.process_s, "wire_s": at.wire_s, "wall_s": at.wall_s},
        "watch_only": state.watch_only,
        "supplies": {name: _supply(setup, state, name, at) for name in setup.supplies},
        "tanks": {name: _tank(setup, state, name, at) for name in setup.tanks},
        "outputs": {name: _output(setup, of, name) for name, of in state.outputs.items()},
        "contacts": {name: _contact(setup, state, name, at) for name in setup.contacts},
        "heartbeats": {
            name: {
                "seconds": value(setup, state, beat.channel, at),
                "reading": _quality(setup, state, beat.channel, at),
            }
            for name, beat in setup.heartbeats.items()
        },
        "annunciation": _annunciation(setup, state, at),
        "calibrations": calibrations.brief(state, at),
        "commissioned": {
            name: {"wall_s": one.wall_s, "reference": one.reference} for name, one in state.commissioned.items()
        },
        "exercise": None if state.exercise is None else state.exercise.output,
        "alarms": [
            _alarm(setup, state, name, at)
            for name in sorted(state.alarms)
            if state.alarms[name].state is not AlarmState.NORMAL
        ],
        "alarm_rate": {
            "told_lately": log.told_lately(state.alarm_log, at.process_s),
            "within_s": log.RATE_WITHIN_S,
            "flood_from": log.FLOOD,
            "chattering": sorted(log.chattering(state.alarms.values(), at.process_s)),
            "standing_long": sorted(log.standing_long(state.alarms.values(), at.process_s)),
        },
    }


def alarm_log(state: LineState) -> list[dict[str, Any]]:
    """What became of alarms lately, oldest first: too much to be told with every state."""
    return [
        {
            "wall_s": happening.wall_s,
            "name": happening.alarm,
            "what": happening.what,
            "state": happening.state,
            "under": happening.under,
            "why": happening.why,
        }
        for happening in state.alarm_log
    ]


def value(setup: LineSetup, state: LineState, channel: str, at: Instant) -> float | None:
    """Return a channel's newest value if it is good and fresh; a bad one has no number."""
    latest = state.channels.get(channel)
    if latest is None or latest.reading.value is None:
        return None
    return latest.reading.value if at.process_s - latest.at_s <= setup.channels[channel].age_limit_s else None


def _quality(setup: LineSetup, state: LineState, channel: str, at: Instant) -> str:
    latest = state.channels.get(channel)
    if latest is None:
        return "none yet"
    stale = at.process_s - latest.at_s > setup.channels[channel].age_limit_s
    quality = f"{latest.reading.quality}: {latest.doubt}" if latest.doubt else str(latest.reading.quality)
    return "stale" if stale else quality


def _supply(setup: LineSetup, state: LineState, name: str, at: Instant) -> dict[str, Any]:
    supply, names = state.supplies[name], setup.supplies[name]
    operation = supply.operation
    return {
        "state": str(operation.state) if operation else "idle",
        "control": names.control,
        "waits_for_hands": knobs.waits_for_hands(names, operation),
        "wanted_on": supply.output.wanted_on,
        "off_proven": supply.output.proven_off and _shows_off(setup, state, name, at),
        "current_a": value(setup, state, names.current, at),
        "voltage_v": value(setup, state, names.voltage, at),
        "voltage_held": supply.voltage_held,
        "contactor": names.contactor,
        "hydrogen_l_per_s": status_forecast.hydrogen(setup, name, value(setup, state, names.current, at)),
        "operation": _operation(setup, state, name, operation, at) if operation else None,
    }


def _tank(setup: LineSetup, state: LineState, name: str, at: Instant) -> dict[str, Any]:
    tank = setup.tanks[name]
    return {
        "role": tank.role,
        "temperature_c": value(setup, state, tank.temperature, at),
        "reading": _quality(setup, state, tank.temperature, at),
        "low_c": tank.band.warn_low_c,
        "high_c": tank.band.warn_high_c,
        "heating": _heating(state, name, tank.heating),
        "cooling": _control(state, tank.cooling),
        "ready": status_forecast.ready(setup, state, name),
        "end": status_forecast.end(setup, state, name, at),
    }


def _heating(state: LineState, tank: str, heating: HeatingSetup | None) -> dict[str, Any] | None:
    told = _control(state, heating)
    return told and told | {"asked_for": state.heating.get(tank, HeatingState()).demanded}


def _control(state: LineState, control: HeatingSetup | CoolingSetup | None) -> dict[str, Any] | None:
    """Tell what holds a tank's temperature from one side; None where nothing does."""
    if control is None:
        return None
    output = state.outputs.get(control.output)
    return {"output": control.output, "on": output is not None and output.on, "hold_c": control.hold_c}


def _output(setup: LineSetup, output: SwitchState, name: str) -> dict[str, Any]:
    return {
        "role": setup.outputs[name].role,
        "device": setup.outputs[name].device,
        "point": setup.outputs[name].point,
        "on": output.on,
        "confirmed": output.confirmed_s is not None,
        "safe_on": setup.outputs[name].safe_on,
    }


def _contact(setup: LineSetup, state: LineState, name: str, at: Instant) -> dict[str, Any]:
    """Tell a contact; whether it is healthy is None of one that only shows, and while nobody can know yet."""
    contact = setup.contacts[name]
    shown, known = value(setup, state, contact.channel, at), state.contacts.get(name)
    judged = bool(contacts.causes_of(setup, contact))
    return {
        "role": contact.role,
        "tank": contact.tank or None,
        "closed": None if shown is None else shown >= 1,
        "reading": _quality(setup, state, contact.channel, at),
        "healthy": contacts.healthy(setup, state, name, at.process_s) if judged else None,
        "since_s": None if shown is None or known is None else known.since_s,
    }


def _annunciation(setup: LineSetup, state: LineState, at: Instant) -> dict[str, Any] | None:
    """Tell what lamps and horn show; None where there are none, and while only watching they are left alone."""
    signs = {name: setup.outputs[name] for name in state.outputs if setup.outputs[name].role in {"lamp", "horn"}}
    if not signs or state.watch_only:
        return None
    lights, shown = annunciator.lights(Work(setup, state, at)), state.annunciator
    horns = any(output.role == "horn" for output in signs.values())
    return {
        "lamps": {name: lights[output.colour].name.lower() for name, output in signs.items() if output.role == "lamp"},
        "horn": shown.sound.name.lower().replace("_", " ") if horns else None,
        "silenced": sorted(shown.silenced),
        "test": shown.test_until_wire_s is not None,
    }


def _shows_off(setup: LineSetup, state: LineState, name: str, at: Instant) -> bool:
    """Whether the newest good current still says off: a proof that nothing backs any more is history (R7)."""
    names = setup.supplies[name]
    latest = state.channels.get(names.current)
    if latest is None or latest.good_s is None or at.process_s - latest.good_s > names.silent_after_s:
        return False
    return abs(latest.good_value) < names.off_threshold_a


def _operation(setup: LineSetup, state: LineState, name: str, operation: Operation, at: Instant) -> dict[str, Any]:
    aged = state.supplies[name].coat
    plan, charge, growth = operation.plan, _charge(setup, state, name, operation, at), setup.growth
    of_line = Interval(growth.low_um_m2_per_c, growth.best_um_m2_per_c, growth.high_um_m2_per_c)
    made = coat.told(operation, aged, charge, of_line)
    load = state.loads.get(operation.load)
    now_a = value(setup, state, setup.supplies[name].current, at) if operation.energised else None
    return {
        "id": operation.id,
        "load": operation.load,
        "suspect": load.suspect if load else "",
        "why": operation.why,
        "mode": plan.mode,
        "area_m2": plan.area_m2,
        "alloy": plan.alloy,
        "gauge": load.gauge if load else "",
        "target": {"thickness_um": plan.target_um, "means": plan.means, "charge_c": coat.target_c(operation, aged)},
        "set_current_a": plan.current_a,
        "set_voltage_v": plan.voltage_v,
        "expected_s": plan.expected_s,
        "longest_s": plan.longest_s,
        "elapsed_s": at.process_s - operation.began_s,
        "charge_c": _interval(charge),
        "charge_unbounded": operation.dose.unbounded,
        "stops_on": plan.stops_on,
        "thickness_um": _interval(made.mean_um),
        "band_um": _interval(made.band_um),
        "learned_from": plan.learned_from,
        "least_local_um": _interval(made.least_local_um),
        "spread_um": _interval(made.spread_um),
        "mass_g_per_m2": _interval(made.mass_g_per_m2),
        "mass_lost_share": made.lost_share,
        "porosity_share": made.porosity,
        "barren_c": aged.barren.best,
        "to_go_s": coat.missing_c(operation, aged, charge) / now_a if now_a is not None and now_a > 0 else None,
    }


def _charge(setup: LineSetup, state: LineState, name: str, operation: Operation, at: Instant) -> Interval:
    """Say what has flowed by now: while the output may be on and no reading comes, that grows ever less certain."""
    supply, channel = setup.supplies[name], setup.channels[setup.supplies[name].current]
    if operation.over or state.supplies[name].output.proven_off:
        return operation.dose.charge
    metering = dose.Metering(channel.accuracy, channel.period_s, supply.rated_current_a)
    return dose.up_to(operation.dose, at.process_s, metering)


def _interval(interval: Interval) -> dict[str, float]:
    return {"low": interval.low, "best": interval.best, "high": interval.high}


def _alarm(setup: LineSetup, state: LineState, name: str, at: Instant) -> dict[str, Any]:
    alarm = state.alarms[name]
    row = CAUSES[alarm.cause]
    what, follows, first = row.told(alarm.subject, second_means=setup.second_means(alarm.subject))
    until_s = alarm.shelved_until_s
    return {
        "name": name,
        "state": str(alarm.state),
        "priority": str(row.priority),
        "active": alarm.active,
        "latched": alarm.latched,
        "under": alarm.under,
        "what": what,
        "follows": follows,
        "first": first,
        "time": row.time,
        "since_wall_s": alarm.since_wall_s,
        "count": alarm.count,
        "why": alarm.why,
        "shelved_for_s": None if until_s is None else max(0.0, until_s - at.process_s),
    }
