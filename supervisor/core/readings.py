"""What a transaction's readings mean: a bath's limits, the proof of off, the dose, and what a supply says of itself."""

from __future__ import annotations

import math
from dataclasses import replace

from supervisor.core import (
    bath_readings,
    buttons,
    calibrated,
    calibrating,
    contacts,
    dose,
    gaps,
    heartbeat,
    knobs,
    limits,
    meters,
    output,
    watching,
)
from supervisor.core.actions import Note
from supervisor.core.anodize import Operation, Ramp
from supervisor.core.events import Quality, Reading, Scanned
from supervisor.core.gaps import OVER_SHARE
from supervisor.core.limits import BandState
from supervisor.core.routes import Route
from supervisor.core.setup import Accuracy, SupplySetup
from supervisor.core.state import Latest
from supervisor.core.work import Work
from supervisor.trade.charge import with_accuracy

ANSWERED = frozenset({Quality.GOOD, Quality.ABSENT, Quality.OUT_OF_RANGE, Quality.DOUBTED})
"""What a device that is there says of a channel: its value, or that it has none, as of a broken thermocouple."""


def take(work: Work, event: Scanned, table: dict[str, tuple[Route, ...]]) -> set[str]:
    """Take in one transaction; return the tanks, supplies, contacts and devices it touched."""
    sampled_s = (event.t_sent_s + event.t_received_s) / 2
    touched: set[str] = set()
    # One copy for the whole transaction: it belongs to this draft alone until the step is taken over.
    work.state = replace(work.state, channels=dict(work.state.channels))
    for given in event.readings:
        as_shown = _trusted(given)
        if as_shown.channel not in table or not _newer(work, as_shown.channel, sampled_s):
            continue
        reading = calibrated.put_right(work.state.calibrations, as_shown)
        before = work.state.channels.get(reading.channel)
        routes_of = table[reading.channel]
        shown_c, doubt = reading.value, _doubt(work, routes_of, reading, sampled_s)
        if doubt:
            reading = replace(reading, quality=Quality.DOUBTED, value=None)
        _remember(work, reading, sampled_s, doubt, as_shown.value)
        calibrating.judge_due(work, reading.channel)
        for route in routes_of:
            touched.add(route.name)
            if route.tank and shown_c is not None:
                _temperature(work, route.tank, shown_c, sampled_s, believed=not doubt and not route.what)
            else:
                _hand_over(work, route, reading, before, event.t_sent_s, sampled_s)
    for name in sorted(touched & work.state.supplies.keys()):
        watching.follow(work, name)
    return touched


def _hand_over(
    work: Work, route: Route, reading: Reading, before: Latest | None, sent_s: float, sampled_s: float
) -> None:
    """Give a reading to whom it concerns; `before` is what its channel showed until now."""
    if route.contact and reading.value is not None:
        before_s = before.good_s if before else None
        if work.setup.contacts[route.contact].role == "button":
            buttons.read(work, route.contact, reading.value >= 1, sampled_s, before_s)
        contacts.read(work, route.contact, reading.value >= 1, sampled_s, before_s)
    elif route.what == "heartbeat" and reading.value is not None:
        known_s = before.good_value if before is not None and before.good_s is not None else None
        heartbeat.beat(work, route.device, known_s, reading.value)
    elif route.what == "uptime" and reading.value is not None:
        known_s = before.good_value if before is not None and before.good_s is not None else None
        _uptime(work, route.supply, known_s, reading.value)
    elif route.supply and route.what != "auxiliary":
        _of_supply(work, route, reading, sent_s, sampled_s)


def _trusted(reading: Reading) -> Reading:
    """Take the value from a reading that is not good or no number, whoever left one in it (R9)."""
    if reading.quality is not Quality.GOOD:
        return replace(reading, value=None)
    if reading.value is None or not math.isfinite(reading.value):
        return replace(reading, quality=Quality.MALFORMED, value=None)
    return reading


def _newer(work: Work, channel: str, sampled_s: float) -> bool:
    """Whether this says anything new: the same sample twice is one piece of evidence, and an older one is history."""
    latest = work.state.channels.get(channel)
    return latest is None or sampled_s > latest.at_s


def _doubt(work: Work, routes_of: tuple[Route, ...], reading: Reading, sampled_s: float) -> str:
    """Why a reading is not believed, "" where it is: known only of a tank's own sensor."""
    own = (route for route in routes_of if route.tank and not route.what)
    doubts = [bath_readings.judge(work, work.setup.tanks[route.tank], reading, sampled_s) for route in own]
    return next((doubt for doubt in doubts if doubt), "")


def _remember(work: Work, reading: Reading, sampled_s: float, doubt: str, shown: float | None) -> None:
    """Keep a reading as its channel's newest, in the copy that `take` made."""
    before = work.state.channels.get(reading.channel)
    good_s, good_value = (before.good_s, before.good_value) if before else (None, 0.0)
    answered_s = before.answered_s if before else None
    if reading.value is not None:
        good_s, good_value = sampled_s, reading.value
    if reading.quality in ANSWERED:
        answered_s = sampled_s
    work.state.channels[reading.channel] = Latest(reading, sampled_s, good_s, good_value, answered_s, doubt, shown)


def _temperature(work: Work, tank: str, shown_c: float, sampled_s: float, *, believed: bool) -> None:
    """Hold a temperature against its limits; one that is not believed, or a second sensor's, only raises alarms."""
    before = work.state.bands.get(tank, BandState())
    judge = limits.step if believed else limits.raised
    after = judge(before, shown_c, sampled_s, work.setup.tanks[tank].band)
    if after != before:
        work.state = replace(work.state, bands={**work.state.bands, tank: after})


def _of_supply(work: Work, route: Route, reading: Reading, sent_s: float, sampled_s: float) -> None:
    setup = work.setup.supplies[route.supply]
    if route.what == "current":
        _current(work, setup, reading, sent_s, sampled_s)
    elif reading.value is not None:
        _narrow(work, setup, route.what, reading.value, sent_s, sampled_s)
        _says(work, setup, route.what, reading.value, sent_s)


def _narrow(work: Work, setup: SupplySetup, what: str, value: float, sent_s: float, sampled_s: float) -> None:
    """Let what the supply says of itself bound the charge where its meter was not heard (R5)."""
    operation = work.supply(setup.name).operation
    if operation is None or operation.over:
        return
    if what == "set_current":
        counted = gaps.set_read_back(operation.dose, value, sampled_s, setup.current_step_a)
    elif what == "counter" and setup.counts is not None and setup.current not in work.state.calibrations:
        # A counter adds up what the supply's own meter shows: where that had to be put right, so would this.
        counter = gaps.Counter(setup.counts, setup.rated_current_a, sampled_s - sent_s)
        counted = gaps.counter_read(operation.dose, value, sampled_s, counter)
    else:
        return
    work.put_operation(setup.name, replace(operation, dose=counted))


def _current(work: Work, setup: SupplySetup, reading: Reading, sent_s: float, sampled_s: float) -> None:
    """Dose, proof of off and the two faults that a current shows."""
    supply, channel = work.supply(setup.name), work.setup.channels[setup.current]
    before = supply.output
    flows_a = calibrated.larger(work.state.channels[setup.current], reading.value)
    after = output.read(before, flows_a, sent_s, setup.off_threshold_a)
    operation = supply.operation
    if operation is not None and not operation.over and reading.value is not None:
        unseen_a = _unseen_a(operation, before)
        metering = dose.Metering(
            channel.accuracy, channel.period_s, setup.rated_current_a, unseen_a, setup.meter, sampled_s - sent_s
        )
        counted = dose.read(operation.dose, reading.value, sampled_s, metering, off_proven=before.proven_off)
        operation = _lost_current(work, setup, replace(operation, dose=counted), reading.value, sent_s, sampled_s)
    work.put(setup.name, replace(supply, output=after, operation=operation))
    if reading.value is None or flows_a is None:
        return
    if before.proven_off and abs(flows_a) >= setup.off_threshold_a:
        _flows_unasked(work, setup.name, sent_s)
    if (
        operation is not None
        and operation.energised
        and _surely_over(operation, reading.value, channel.accuracy, setup)
    ):
        work.fault(setup.name, "over-current")


def _unseen_a(operation: Operation, before: output.Output) -> float:
    """What can have flowed since the newest reading, A, though no reading shows it.

    On may have taken effect after that reading, and off before this one: the set current bounds what flowed between.
    """
    if operation.energised or before.proven_off:
        return 0.0
    seen_s, off_s = operation.dose.last_s, before.confirmed_s
    if seen_s is not None and off_s is not None and seen_s >= off_s:
        return 0.0
    set_a = operation.plan.commanded_a
    return operation.plan.current_a * OVER_SHARE if set_a is None else set_a


def _surely_over(operation: Operation, current_a: float, accuracy: Accuracy, setup: SupplySetup) -> bool:
    least_a = with_accuracy(current_a, accuracy.of_reading, accuracy.absolute, setup.meter.share).low
    return least_a > operation.plan.current_a * OVER_SHARE


def _lost_current(
    work: Work, setup: SupplySetup, operation: Operation, current_a: float, sent_s: float, sampled_s: float
) -> Operation:
    """Watch for a current far under what is set while commanded on; remember since when."""
    waits = knobs.waits_for_hands(setup, operation) or work.supply(setup.name).coat.awaited_v is not None
    reference_a = None if waits else _reference_a(operation, sent_s)
    if reference_a is None or current_a >= work.setup.anodize.reached_fraction * reference_a:
        return replace(operation, low_since_s=None)
    since_s = sampled_s if operation.low_since_s is None else operation.low_since_s
    return replace(operation, low_since_s=since_s)


def _reference_a(operation: Operation, sent_s: float) -> float | None:
    """What should flow at a reading sent at `sent_s`, A; None while that cannot be said.

    In voltage mode a set current is only a bound, so the plan's current serves, once the ramp is done. While the next
    set current of a soft start is on its way it serves already: a step is far less than tenfold.
    """
    ramp = operation.ramp
    if not operation.energised or ramp is None or not _after(ramp.on_s, sent_s):
        return None
    if operation.plan.mode == "current":
        return ramp.current_a
    return operation.plan.expected_a if ramp.next_s is None else None


def _after(moment_s: float | None, sent_s: float) -> bool:
    return moment_s is not None and sent_s >= moment_s


def _says(work: Work, setup: SupplySetup, what: str, value: float, sent_s: float) -> None:
    """What the supply says of itself: output, regulation mode, volts, counter, set points, a new beginning."""
    operation = work.supply(setup.name).operation
    ramp = operation.ramp if operation is not None and operation.energised else None
    if what == "mode":
        _mode(work, setup, value >= 1, energised=ramp is not None)
    elif what == "counter":
        meters.counter_read(work, setup.name, value)
    elif what == "output_state":
        _output_state(work, setup, ramp, value, sent_s)
    elif what == "voltage":
        if operation is not None and ramp is not None and _volts_over(work, setup, operation, value):
            work.fault(setup.name, "over-voltage")
    elif what == "restarted":
        if value >= 1:
            _restarted(work, setup.name, energised=ramp is not None and _after(ramp.on_s, sent_s))
    elif ramp is not None and _after(ramp.set_s, sent_s):
        given, step = (
            (ramp.current_a, setup.current_step_a) if what == "set_current" else (ramp.voltage_v, setup.voltage_step_v)
        )
        if abs(value - given) > 1.5 * step:
            work.fault(setup.name, "settings-differ")


def _output_state(work: Work, setup: SupplySetup, ramp: Ramp | None, value: float, sent_s: float) -> None:
    if ramp is not None and _after(ramp.on_s, sent_s) and value < 1:
        work.fault(setup.name, "output-dropped")
    elif work.supply(setup.name).output.proven_off and value >= 1:
        _flows_unasked(work, setup.name, sent_s)


def _volts_over(work: Work, setup: SupplySetup, operation: Operation, voltage_v: float) -> bool:
    accuracy = work.setup.channels[setup.voltage].accuracy
    least_v = with_accuracy(voltage_v, accuracy.of_reading, accuracy.absolute).low
    return least_v > operation.plan.voltage_v * OVER_SHARE


def _uptime(work: Work, name: str, before_s: float | None, now_s: float) -> None:
    """Seconds since the supply's power came on, fewer than before: it began anew."""
    if before_s is not None and now_s < before_s:
        operation = work.supply(name).operation
        _restarted(work, name, energised=operation is not None and operation.energised)


def _restarted(work: Work, name: str, *, energised: bool) -> None:
    """A supply began anew: its own time-out is not armed any more, and what it was to give is over."""
    work.put(name, replace(work.supply(name), armed=False))
    if energised:
        work.fault(name, "supply-restarted")


def _flows_unasked(work: Work, name: str, sent_s: float) -> None:
    """Current where off was proven: command off again. A supervisor that only watches tells it and keeps still."""
    work.fault(name, "current-without-operation")
    if work.state.watch_only:
        work.put(name, replace(work.supply(name), output=output.doubted(sent_s)))
    else:
        work.switch_off(name)


def _mode(work: Work, setup: SupplySetup, held: bool, *, energised: bool) -> None:
    supply = work.supply(setup.name)
    if supply.voltage_held is held:
        return
    if energised and supply.voltage_held is not None:
        what = "holds its voltage now" if held else "holds its current now"
        data = {"mode": "voltage held" if held else "current held"}
        work.actions.append(Note("crossover", setup.name, f"{setup.name} {what}.", data))
    work.put(setup.name, replace(supply, voltage_held=held))


def low_for_s(operation: Operation) -> float:
    """How long, s of process time, the current has been too low: between the first and the newest good reading."""
    if operation.low_since_s is None or operation.dose.last_s is None:
        return 0.0
    return operation.dose.last_s - operation.low_since_s
