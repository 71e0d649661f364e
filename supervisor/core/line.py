"""The line: the one mutable holder. Each event drafts the next state; it is taken over only when whole."""

from __future__ import annotations

from dataclasses import dataclass, replace

from supervisor.core import (
    air,
    annunciator,
    bath,
    buttons,
    calibrating,
    causes,
    coat,
    communication,
    contactor,
    contacts,
    dose,
    energise,
    exercise,
    forecast,
    heartbeat,
    in_acid,
    knobs,
    output,
    readings,
    requests,
    routes,
    switches,
    telling,
)  # fmt: skip
from supervisor.core.actions import Action
from supervisor.core.anodize import ENDING, Operation, Trigger, count_commanded, proven
from supervisor.core.events import Delayed, Ending, Event, Recorded, Request, Scanned, Started, Switched, Wake, Written
from supervisor.core.limits import BandState
from supervisor.core.setup import LineSetup
from supervisor.core.state import LineState, SupplyState
from supervisor.core.switches import SwitchState
from supervisor.core.work import Work

CORE_VERSION = "8"
"""Raised when the same events would give other actions; a replay names both."""

LATE_WIRE_S = 2.0
"""Wire time for which the service's loop may stand still before a load under current is held: nobody watched it."""


@dataclass(frozen=True, slots=True)
class Step:
    """What one event came to: actions in the order they were decided, and when to wake the line next."""

    actions: tuple[Action, ...]
    wake: Wake


class Line:
    """One line of tanks with its supplies.

    Same configuration, snapshot and events give the same actions. `state` is frozen and may be kept at any time.
    """

    def __init__(self, setup: LineSetup, state: LineState | None = None) -> None:
        self.setup = setup
        self.state = state or LineState(supplies={name: SupplyState() for name in setup.supplies})
        self._routes = routes.routes(setup)
        self._acts_on: dict[str, tuple[str, ...]] = {
            subject: tuple(name for name, over in setup.over_supply.items() if subject in over)
            for over in setup.over_supply.values()
            for subject in over
        }
        self._bears_on = bath.bears_on(setup)
        self._air = air.driven(setup)
        self._wakes: dict[str, Wake] = {}

    def step(self, event: Event) -> Step:
        """Take one event in. If anything in it fails the state stays as it was and the exception comes out."""
        work = Work(self.setup, self.state, event.at)
        touched = self._take(work, event)
        wakes = dict(self._wakes)
        for name in sorted(touched):
            self._judge(work, name, wakes)
        turned = telling.settle(work) if event.at.process_s >= self._alarms_due_s else set()
        for name in sorted({supply for one in touched | turned for supply in self._acts_on.get(one, ())}):
            _settle(work, name)
            wakes[f"supply {name}"] = _wake(work, name)
        for name in sorted({tank for one in touched | turned for tank in self._bears_on.get(one, ())}):
            wakes[f"bath {name}"] = _wake_at(work, *bath.settle(work, name))
        if self._air:
            wakes["air"] = _wake_at(work, *air.settle(work, self._air))
        if work.state.outputs:
            wakes["outputs"] = _settle_outputs(work)
        wakes["alarms"] = Wake(process_s=_after(telling.due_s(work), event.at.process_s))
        self.state, self._wakes = work.state, wakes
        return Step(tuple(work.actions), _earliest(wakes))

    @property
    def _alarms_due_s(self) -> float:
        """Process time at which time alone changes an alarm; at once where nobody has worked it out yet."""
        due_s = self._wakes["alarms"].process_s if "alarms" in self._wakes else 0.0
        return float("inf") if due_s is None else due_s

    def _judge(self, work: Work, name: str, wakes: dict[str, Wake]) -> None:
        """Let the alarms of a device, a contact or a tank follow it, and see when it must be looked at again."""
        due_s: dict[str, float] = {}
        if name in self.setup.heartbeats:
            heartbeat.judge(work, name)
            due_s["heartbeat"] = heartbeat.due_s(work, name)
        if name in self.setup.watches:
            communication.judge(work, name)
            due_s["device"] = communication.due_s(work, name)
        if name in self.setup.contacts:
            judge = buttons.judge if self.setup.contacts[name].role == "button" else contacts.judge
            judge(work, name)
            due_s["contact"] = contacts.told_s(self.setup, work.state, name)
        if name in self.setup.tanks:
            causes.judge_tank(work, name)
            bath.judge(work, name)
            due_s["tank"] = causes.temperature_due_s(work, name)
        for kind, moment_s in due_s.items():
            wakes[f"{kind} {name}"] = Wake(process_s=_after(moment_s, work.at.process_s))

    def _take(self, work: Work, event: Event) -> set[str]:
        """Let the event do its own; return the tanks, supplies, contacts and devices to look at."""
        if isinstance(event, Scanned):
            return readings.take(work, event, self._routes)
        if isinstance(event, Written):
            if event.supply not in self.setup.supplies:
                return set()
            _written(work, event)
            return {event.supply}
        if isinstance(event, Switched):
            switches.switched(work, event)
            return {event.output} if event.output in self.setup.outputs else set()
        if isinstance(event, Recorded):
            found = energise.recorded(work, event)
            return {found} if found else set()
        if isinstance(event, Delayed):
            _delayed(work, event)
        elif isinstance(event, Request):
            requests.take(work, event)
        elif isinstance(event, Started):
            self._wakes = {}
            _started(work, event)
        elif isinstance(event, Ending):
            _ending(work)
        setup = self.setup
        return {*setup.heartbeats, *setup.watches, *setup.contacts, *setup.tanks, *setup.supplies}


def _delayed(work: Work, event: Delayed) -> None:
    """Nobody watched while the loop stood still: what runs is held.

    That no reading came meanwhile says nothing of any device: each is given its time to be heard anew, with the load
    held and off on its way. Shorter standstills give no such time, or many of them would hide a silent supply.
    """
    if event.by_wire_s < LATE_WIRE_S:
        return
    work.state = replace(work.state, heard_from_s=work.at.process_s)
    for name, supply in work.state.supplies.items():
        if supply.operation is not None and supply.operation.energised:
            work.fault(name, "loop-late")


def _written(work: Work, event: Written) -> None:
    if event.ok and event.command in {"on", "off"}:
        work.switched(event.supply)
    if event.command == "time-out":
        work.put(event.supply, replace(work.supply(event.supply), armed=event.ok))
    elif event.command == "off" and event.ok:
        supply = work.supply(event.supply)
        changed_s = (event.t_sent_s + event.t_received_s) / 2
        operation = supply.operation
        if operation is not None and not operation.over and supply.output.confirmed_s is None:
            operation = replace(operation, dose=dose.stepped(operation.dose, changed_s))
        work.put(
            event.supply,
            replace(supply, output=output.confirmed(supply.output, event.t_received_s), operation=operation),
        )
    else:
        energise.written(work, event)


def _started(work: Work, event: Started) -> None:
    """R3: the first command to every output is its safe state, whatever was known before."""
    known = work.state.supplies
    work.state = replace(
        work.state,
        started_s=event.at.process_s,
        heard_from_s=event.at.process_s,
        watch_only=event.watch_only,
        ending=False,
        channels={},
        bands={name: BandState(band.beyond) for name, band in work.state.bands.items() if name in work.setup.tanks},
        supplies={
            name: replace(
                known.get(name, SupplyState()),
                output=output.Output(),
                pending=None,
                closing=None,
            )
            for name in work.setup.supplies
        },
        outputs={
            name: SwitchState(of.safe_on) for name, of in work.setup.outputs.items() if of.role != "supply output"
        },
        exercise=None,
        restarted=frozenset(),
        contacts={name: replace(seen, closed=None) for name, seen in work.state.contacts.items()},
        attended_s=None,
        lowered_wire_s=None,
        heating={},
        cooling={},
        air={},
        forecasts=forecast.restarted(work.setup, work.state),
        believed={},
        switched={},
    )
    shift_s = 0.0 if event.same_boot or event.journal_s is None else event.at.process_s - event.journal_s
    telling.carried_over(work, shift_s)
    calibrating.begin(work)
    annunciator.begin(work)
    for name in work.setup.supplies:
        if not event.same_boot:
            work.put(name, replace(work.supply(name), coat=work.supply(name).coat.shifted(shift_s)))
        operation = work.supply(name).operation
        if operation is not None and not operation.over:
            work.put_operation(name, _carried_over(work, name, operation, event))
        _interrupt(work, name)
        if event.watch_only:
            work.put(name, replace(work.supply(name), armed=False))
        elif work.supply_setup(name).control == "remote":
            work.arm(name)
    for name, state in work.state.outputs.items():
        if state.number == 0:  # a supply with knobs has had its contactor opened already
            switches.make_safe(work, name)


def _ending(work: Work) -> None:
    """R3: the last command to every output is its safe state; an operation under current is held for the next start.

    A supervisor that only watches gave one command in all, off at its start: a run made by hand since goes on.
    """
    work.state = replace(work.state, ending=True)
    exercise.end(work)
    for name in () if work.state.watch_only else work.setup.supplies:
        _interrupt(work, name)
    for name in () if work.state.watch_only else work.state.outputs:
        if _may_rest(work, name):
            switches.make_safe(work, name)


def _may_rest(work: Work, name: str) -> bool:
    """Whether an output may go to its safe state now: a supply's contactor waits for the proof of off.

    Of one with knobs it was the off.
    """
    supply = next((s for s, of in work.setup.supplies.items() if of.contactor == name), None)
    return supply is None or work.supply(supply).output.proven_off


def _interrupt(work: Work, name: str) -> None:
    """Off in any case; what ran is held and says why."""
    operation = work.supply(name).operation
    if operation is not None and operation.energised:
        work.fault(name, "interrupted")
        work.move(name, Trigger.HOLD, "interrupted")
    else:
        work.switch_off(name)


def _carried_over(work: Work, name: str, operation: Operation, event: Started) -> Operation:
    """Bring an operation's process times into this boot; what flowed meanwhile is a gap."""
    if event.same_boot or event.journal_s is None:
        return operation
    shift_s = event.at.process_s - event.journal_s
    setup = work.supply_setup(name)
    # Only a time-out that the device confirmed bounds how long current can have flowed: it began with the last traffic
    # at the latest, and that may be later than the newest good reading.
    longest_s = None
    if work.supply(name).armed and setup.device_time_out_s is not None:
        seen_s = event.journal_s if operation.dose.last_s is None else operation.dose.last_s
        longest_s = max(0.0, event.journal_s - seen_s) + setup.device_time_out_s
    behind_s = setup.meter.behind_s.high
    counted = dose.lost_track(operation.dose, event.at.process_s, setup.rated_current_a, longest_s, behind_s)
    return replace(
        operation, dose=counted, began_s=operation.began_s + shift_s, counted_s=operation.counted_s + shift_s
    )


def _settle(work: Work, name: str) -> None:
    """After an event: count, judge, act, and see whether the target, a set point or a proof is due."""
    supply = work.supply(name)
    if supply.operation is not None and not supply.operation.over:
        counted = count_commanded(supply.operation, work.at.process_s, off_proven=supply.output.proven_off)
        work.put_operation(name, counted)
    in_acid.follow(work, name)
    energise.expire(work, name)
    energise.follow_contactor(work, name)
    contactor.settle(work, name)
    causes.judge_supply(work, name)
    causes.act(work, name)
    _target(work, name)
    energise.climb(work, name)
    _resend_off(work, name)
    _proof(work, name)
    causes.clear_faults(work, name)


def _settle_outputs(work: Work) -> Wake:
    """After an event: end a trial that is over, see that every safe state is confirmed, and let lamps and horn follow.

    These come last: what they show is what the event came to.
    """
    exercise.settle(work)
    for name in work.state.outputs:
        switches.settle(work, name)
    moments = annunciator.settle(work)
    for name in work.state.outputs:
        moments += switches.wakes(work, name)
    if work.state.exercise is not None:
        moments.append(work.state.exercise.until_wire_s)
    return Wake(wire_s=_soonest(moments, work.at.wire_s))


def _target(work: Work, name: str) -> None:
    """R8: end at the target, a little early by the time an off command takes to work."""
    operation = work.supply(name).operation
    if operation is None or operation.over:
        return
    supply = work.supply(name)
    at_target = dose.reached(operation.dose, coat.target_c(operation, supply.coat), operation.plan.stops_on)
    if at_target or work.at.process_s >= _stop_s(supply, operation):
        work.move(name, Trigger.TARGET)


def _stop_s(supply: SupplyState, operation: Operation) -> float:
    """Process time at which to decide off so that the target is met; infinite while nothing can be predicted."""
    if not operation.energised or operation.ramp is None or operation.ramp.on_s is None:
        return float("inf")
    plan = operation.plan
    stepped = bool(operation.dose.steps_s) and plan.mode == "current" and plan.commanded_a is None
    current_a = operation.ramp.current_a if stepped else operation.dose.last.best
    crossing_s = dose.crossing_s(operation.dose, coat.target_c(operation, supply.coat), current_a, plan.stops_on)
    return float("inf") if crossing_s is None else crossing_s - supply.lead_s


def _resend_off(work: Work, name: str) -> None:
    """R7: while off is not proven it is sent again. A supervisor that only watches sends it once."""
    at = work.supply(name).output
    due = at.sent_wire_s is not None and work.at.wire_s - at.sent_wire_s >= work.supply_setup(name).resend_s
    if due and not work.state.watch_only:
        work.switch_off(name)


def _proof(work: Work, name: str) -> None:
    supply = work.supply(name)
    operation = supply.operation
    if supply.output.proven_off and operation is not None and operation.state in ENDING:
        work.move(name, proven(operation))


def _wake(work: Work, name: str) -> Wake:
    """When this supply must be looked at again even if nothing comes."""
    supply, setup = work.supply(name), work.supply_setup(name)
    process = [causes.current_due_s(work, setup)]
    wire: list[float] = []
    operation = supply.operation
    if operation is not None and not operation.over:
        process += [operation.began_s + operation.plan.longest_s, _stop_s(supply, operation)]
        if operation.ramp is not None and operation.ramp.next_s is not None:
            process.append(operation.ramp.next_s)
        if knobs.waits_for_hands(setup, operation):
            process.append(knobs.late_s(operation))
    if supply.closing is not None:
        wire.append(supply.closing.since_wire_s + contactor.CLOSES_WITHIN_S)
    if supply.pending is not None:
        wire.append(supply.pending.deadline_wire_s)
    if supply.output.asked_wire_s is not None:
        wire.append(supply.output.asked_wire_s + setup.proof_deadline_s)
    if supply.output.sent_wire_s is not None and not work.state.watch_only:
        wire.append(supply.output.sent_wire_s + setup.resend_s)
    return _wake_at(work, process, wire)


def _wake_at(work: Work, process_s: list[float], wire_s: list[float]) -> Wake:
    return Wake(_soonest(process_s, work.at.process_s), _soonest(wire_s, work.at.wire_s))


def _after(moment_s: float, now_s: float) -> float | None:
    """A moment that has passed has been dealt with in this step; it does not wake anybody again."""
    return moment_s if now_s < moment_s < float("inf") else None


def _soonest(moments_s: list[float], now_s: float) -> float | None:
    return min((moment for moment in moments_s if _after(moment, now_s) is not None), default=None)


def _earliest(wakes: dict[str, Wake]) -> Wake:
    process = [wake.process_s for wake in wakes.values() if wake.process_s is not None]
    wire = [wake.wire_s for wake in wakes.values() if wake.wire_s is not None]
    return Wake(min(process, default=None), min(wire, default=None))
