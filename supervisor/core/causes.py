"""Which causes stand now, and what they do: alarms follow causes, trips act in the same step (R2)."""

from __future__ import annotations

from dataclasses import replace

from supervisor.core import contactor, in_acid, knobs, meters, output, switches, watching
from supervisor.core.anodize import Operation, State, Trigger
from supervisor.core.effects import Effect
from supervisor.core.interlocks import strongest
from supervisor.core.limits import BandState
from supervisor.core.permissives import heard, last_good_s
from supervisor.core.readings import low_for_s
from supervisor.core.setup import SupplySetup
from supervisor.core.state import SupplyState
from supervisor.core.work import Work

FAULTS = (
    "contactor-dropped",
    "contactor-failed",
    "not-ready",
    "current-lost",
    *watching.TRIPPING,
    "output-dropped",
    "supply-restarted",
    "settings-differ",
    "command-failed",
    "over-current",
    "over-voltage",
    "loop-late",
    "longest-time",
    "largest-charge",
    "interrupted",
    "current-without-operation",
)
"""Causes that events show; they stand until off is proven."""

LIMITS = ("bath-low-low", "bath-low", "bath-high", "bath-high-high")

_TRIGGERS = {Effect.HOLD: Trigger.HOLD, Effect.STOP: Trigger.STOP, Effect.ABORT: Trigger.ABORT}


def judge_tank(work: Work, tank: str) -> None:
    """Let the alarms of a tank follow its limits and the age of its temperature."""
    beyond = work.state.bands.get(tank, BandState()).beyond
    for cause in LIMITS:
        work.alarm(tank, cause, cause in beyond)
    channel = work.setup.channels[work.setup.tanks[tank].temperature]
    latest = work.state.channels.get(channel.name)
    if work.at.process_s >= temperature_due_s(work, tank):
        work.alarm(tank, "temperature-doubted" if latest is not None and latest.doubt else "temperature-lost", True)
    elif heard(work.state, channel.name, work.at.process_s, channel.age_limit_s):
        work.alarm(tank, "temperature-lost", False)
        work.alarm(tank, "temperature-doubted", False)
    if work.setup.tanks[tank].second:
        second = work.setup.channels[work.setup.tanks[tank].second]
        lost = work.at.process_s >= last_good_s(work.state, second.name) + second.age_limit_s
        if lost or heard(work.state, second.name, work.at.process_s, second.age_limit_s):
            work.alarm(tank, "second-sensor-lost", lost)


def temperature_due_s(work: Work, tank: str) -> float:
    """Process time by which a good temperature must have come."""
    channel = work.setup.channels[work.setup.tanks[tank].temperature]
    return last_good_s(work.state, channel.name) + channel.age_limit_s


def current_due_s(work: Work, setup: SupplySetup) -> float:
    """Process time by which a good current must have come."""
    return last_good_s(work.state, setup.current) + setup.silent_after_s


def judge_supply(work: Work, name: str) -> None:
    """Let the alarms of a supply follow its causes."""
    setup = work.supply_setup(name)
    _detect(work, name)
    supply, now_s = work.supply(name), work.at.process_s
    silent = now_s >= current_due_s(work, setup)
    if silent or heard(work.state, setup.current, now_s, setup.silent_after_s):
        work.alarm(name, "supply-silent", silent and not supply.output.proven_off)
        work.alarm(name, "supply-absent", silent and supply.output.proven_off)
    work.alarm(name, "off-not-proven", output.overdue(supply.output, work.at.wire_s, setup.proof_deadline_s))
    work.alarm(name, "voltage-ceiling", _at_ceiling(supply))
    work.alarm(name, "meters-differ", meters.differ(work, name))
    knobs.judge(work, name)
    for cause in ("left-in-acid", "left-long-in-acid"):  # the rows' delays tell them apart
        work.alarm(name, cause, in_acid.sits(supply))
    watching.judge(work, name)
    for cause in FAULTS:
        work.alarm(name, cause, cause in supply.faults)


def _at_ceiling(supply: SupplyState) -> bool:
    operation = supply.operation
    under_way = operation is not None and operation.energised and operation.plan.mode == "current"
    return under_way and supply.voltage_held is True


def _detect(work: Work, name: str) -> None:
    """Find the causes that time and charge bring, R8's ends among them."""
    supply, now_s = work.supply(name), work.at.process_s
    operation = supply.operation
    if contactor.failed(work, name):
        work.fault(name, "contactor-failed")
    if operation is None or operation.over or operation.state in {State.STOPPING, State.ABORTING}:
        return
    if (
        operation.energised
        and operation.low_since_s is not None
        and low_for_s(operation) >= work.setup.anodize.lost_after_s
    ):
        work.fault(name, "current-lost")
    if now_s >= operation.began_s + operation.plan.longest_s:
        work.fault(name, "longest-time")
    if counted_c(operation) >= operation.plan.largest_c:
        work.fault(name, "largest-charge")


def counted_c(operation: Operation) -> float:
    """R8: the larger of commanded and metered charge, C."""
    return max(operation.commanded_c, operation.dose.charge.best)


def act(work: Work, name: str) -> None:
    """Do what the causes over a supply ask for: the strongest effect on its operation, and its contactor opened.

    Off goes first: a contactor that opens under current wears, and the output's off needs no contact to move. What has
    it open holds the load at least, even where a line file gave that to a warning.
    """
    standing = standing_over(work, work.setup.over_supply[name])
    opens = [cause for cause in standing if "contactor open" in work.setup.interlocks[cause].also]
    effects = {cause: work.setup.interlocks[cause].effect for cause in standing}
    effects |= {cause: max(effects[cause], Effect.HOLD) for cause in opens}
    cause = strongest(effects)
    if cause is not None and effects[cause] > Effect.WARN:
        work.move(name, _TRIGGERS[effects[cause]], cause)
    fitted = work.supply_setup(name).contactor
    if fitted is None or not work.state.outputs[fitted].on:
        return
    if opens:
        switches.command(work, fitted, on=False)


def cut_heater(work: Work, tank: str) -> None:
    """Switch a tank's heater off where a cause asks for it: apart from its control, whatever that one wants."""
    heating = work.setup.tanks[tank].heating
    if heating is not None and work.state.outputs[heating.output].on and against_heat(work, tank):
        switches.command(work, heating.output, on=False)


def against_heat(work: Work, tank: str) -> list[str]:
    """The alarms over a tank whose causes are there now, told or hidden, and have its heater off."""
    over, interlocks = work.setup.over_tank[tank], work.setup.interlocks
    return [
        alarm.name
        for alarm in work.state.alarms.values()
        if alarm.active and alarm.subject in over and "heater off" in interlocks[alarm.cause].also
    ]


def standing_over(work: Work, subjects: frozenset[str]) -> list[str]:
    """The causes that are there now on any of these subjects, told or hidden."""
    return [alarm.cause for alarm in work.state.alarms.values() if alarm.active and alarm.subject in subjects]


def clear_faults(work: Work, name: str) -> None:
    """With off proven, what events showed is over; the alarms stay latched until a person resets them."""
    supply: SupplyState = work.supply(name)
    if supply.faults and supply.output.proven_off:
        work.put(name, replace(supply, faults=frozenset()))
        for cause in sorted(supply.faults):
            work.alarm(name, cause, present=False)
