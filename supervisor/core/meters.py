"""Whether a supply's set point, its meter and its own counter tell the same story, within 5 %.

Source: 5 % is common practice for a shunt against a panel meter, no source. What the meter may err (its accuracy is a
limit of error) and what the counter's step hides are allowed for on top, so that a good supply is never blamed.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from supervisor.core.anodize import Operation
from supervisor.core.setup import SupplySetup
from supervisor.trade.charge import with_accuracy

if TYPE_CHECKING:
    from supervisor.core.work import Work

APART_SHARE = 0.05

COUNTED_STEPS = 40.0
"""The counter must have moved by so many of its own steps before it is compared: 5 % are two of them then."""


def differ(work: Work, name: str) -> bool:
    """Whether meter and set point, or meter and counter, of a supply under current are surely apart."""
    operation = work.supply(name).operation
    if operation is None or not operation.energised or operation.ramp is None:
        return False
    setup = work.supply_setup(name)
    return _off_set_point(work, setup, operation) or _off_counter(work, setup, operation)


def _off_set_point(work: Work, setup: SupplySetup, operation: Operation) -> bool:
    """Only where the supply itself says that it holds its current, at the end of the soft start."""
    ramp = operation.ramp
    holds_current = operation.plan.mode == "current" and work.supply(setup.name).voltage_held is False
    if ramp is None or ramp.next_s is not None or ramp.set_s is None or not holds_current or setup.control != "remote":
        return False
    latest = work.state.channels.get(setup.current)
    # A reading that is not good says nothing: it must not begin the delay anew (R9).
    if latest is None or latest.good_s is None or latest.good_s < ramp.set_s:
        return False
    current_a, accuracy = latest.good_value, work.setup.channels[setup.current].accuracy
    shown = with_accuracy(current_a, accuracy.of_reading, accuracy.absolute, setup.meter.share)
    least_a, most_a = (1 - APART_SHARE) * ramp.current_a, (1 + APART_SHARE) * ramp.current_a
    return shown.high < least_a or shown.low > most_a


def _off_counter(work: Work, setup: SupplySetup, operation: Operation) -> bool:
    counted_from, latest = work.supply(setup.name).counted_from, work.state.channels.get(setup.counter)
    if counted_from is None or latest is None or latest.good_s is None:
        return False
    step_c = work.setup.channels[setup.counter].accuracy.absolute
    counted_c, metered_c = latest.good_value - counted_from[0], operation.dose.charge.best - counted_from[1]
    # What has flowed since the counter was read last, and what the metered charge does not know for sure.
    unseen_c = abs(operation.dose.last.best) * max(0.0, work.at.process_s - latest.good_s)
    doubt_c = (operation.dose.charge.high - operation.dose.charge.low) / 2
    if max(counted_c, metered_c) < COUNTED_STEPS * step_c:
        return False
    return abs(counted_c - metered_c) > APART_SHARE * max(counted_c, metered_c) + unseen_c + doubt_c + step_c


def counter_read(work: Work, name: str, counted_c: float) -> None:
    """Take a supply's own counter, C: the first reading of an operation is what the others are compared with."""
    supply = work.supply(name)
    operation = supply.operation
    if operation is None or operation.over or supply.counted_from is not None:
        return
    work.put(name, replace(supply, counted_from=(counted_c, operation.dose.charge.best)))
