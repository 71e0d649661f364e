"""The anodize operation: one load under one supply, as the procedural states of IEC 61512 and a frozen value.

Source: IEC 61512-1 states and commands; hold, stop and abort act from every running-like state, abort also from
stopping, reset returns to idle (from memory). Pause is left out: a bath has no safe pause but held.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

from supervisor.core.dose import Dose
from supervisor.core.electrical import Watch
from supervisor.core.plan import Plan, floor_to_step
from supervisor.core.setup import SupplySetup


class State(StrEnum):
    """Where an operation stands. On may be commanded in running and restarting alone (R1)."""

    IDLE = "idle"
    RUNNING = "running"
    HOLDING = "holding"
    HELD = "held"
    RESTARTING = "restarting"
    STOPPING = "stopping"
    STOPPED = "stopped"
    ABORTING = "aborting"
    ABORTED = "aborted"
    COMPLETE = "complete"


class Trigger(StrEnum):
    """What can move an operation. The last four come from the process, the rest from a person or a trip."""

    START = "start"
    HOLD = "hold"
    RESTART = "restart"
    STOP = "stop"
    ABORT = "abort"
    RESET = "reset"
    TARGET = "target reached"
    RAMPED = "soft start done"
    OFF_PROVEN = "off proven"
    OFF_PROVEN_AT_TARGET = "off proven, target reached"


_S, _T = State, Trigger


def _row(**moves: State) -> dict[Trigger, State | None]:
    """Fill a row: what is not named does nothing in that state, and a request for it is refused."""
    return {trigger: moves.get(trigger.name) for trigger in Trigger}


# Every state has a row and every row every trigger; None means it does nothing there.
TABLE: dict[State, dict[Trigger, State | None]] = {
    _S.IDLE: _row(START=_S.RUNNING),
    _S.RUNNING: _row(HOLD=_S.HOLDING, STOP=_S.STOPPING, ABORT=_S.ABORTING, TARGET=_S.STOPPING),
    # The target can still be crossed between the command and the proof: then nothing is left to hold for.
    _S.HOLDING: _row(STOP=_S.STOPPING, ABORT=_S.ABORTING, TARGET=_S.STOPPING, OFF_PROVEN=_S.HELD),
    _S.HELD: _row(RESTART=_S.RESTARTING, STOP=_S.STOPPING, ABORT=_S.ABORTING, TARGET=_S.STOPPING),
    _S.RESTARTING: _row(HOLD=_S.HOLDING, STOP=_S.STOPPING, ABORT=_S.ABORTING, TARGET=_S.STOPPING, RAMPED=_S.RUNNING),
    _S.STOPPING: _row(ABORT=_S.ABORTING, OFF_PROVEN=_S.STOPPED, OFF_PROVEN_AT_TARGET=_S.COMPLETE),
    _S.STOPPED: _row(RESET=_S.IDLE),
    _S.ABORTING: _row(OFF_PROVEN=_S.ABORTED, OFF_PROVEN_AT_TARGET=_S.ABORTED),
    _S.ABORTED: _row(RESET=_S.IDLE),
    _S.COMPLETE: _row(RESET=_S.IDLE),
}

ENERGISED = frozenset({_S.RUNNING, _S.RESTARTING})
"""States in which on may be commanded."""

ENDING = frozenset({_S.HOLDING, _S.STOPPING, _S.ABORTING})
"""States that end when off is proven."""

OVER = frozenset({_S.STOPPED, _S.ABORTED, _S.COMPLETE})
"""States in which nothing more comes of it."""


@dataclass(frozen=True, slots=True)
class Ramp:
    """Where the soft start stands.

    Attributes:
        began_s: process time of its begin. next_s: of the next set point; None when the final one is confirmed.
        current_a, voltage_v: the set points last sent. number: of the first action that sent them.
        sent_s: process time at which they were decided.
        set_s: process time at which the device confirmed them; None until then.
        on_s: process time at which the device confirmed being on; None until then.
    """

    began_s: float
    next_s: float | None
    current_a: float
    voltage_v: float
    number: int
    sent_s: float
    set_s: float | None = None
    on_s: float | None = None


@dataclass(frozen=True, slots=True)
class Operation:
    """One load under one supply.

    Attributes:
        id: such as `demo-7`. load: id of its load. plan: fixed at start.
        state: where it stands. why: the cause that ended or held it, "" while none.
        at_target: the target was reached first.
        dose: metered charge. commanded_c: set current x time, C. counted_s: process time up to which that is counted.
        began_s: process time of its start. ramp: the soft start; None while not energised.
        low_since_s: process time of the first reading under the lost-current share; None while above.
        electrical: what the electrical watch remembers; None while it has seen nothing since on.
    """

    id: str
    load: str
    plan: Plan
    state: State
    dose: Dose
    began_s: float
    counted_s: float
    why: str = ""
    at_target: bool = False
    commanded_c: float = 0.0
    ramp: Ramp | None = None
    low_since_s: float | None = None
    electrical: Watch | None = None

    @property
    def energised(self) -> bool:
        """Whether on may be commanded."""
        return self.state in ENERGISED

    @property
    def over(self) -> bool:
        """Whether it has ended."""
        return self.state in OVER


def move(operation: Operation, trigger: Trigger, why: str = "") -> Operation | None:
    """Walk the table; None where the trigger does nothing in this state. The first reason to leave running is kept."""
    after = TABLE[operation.state][trigger]
    if after is None:
        return None
    at_target = operation.at_target or trigger is Trigger.TARGET
    if after in ENERGISED:
        return replace(operation, state=after, why="")
    return replace(
        operation,
        state=after,
        why=why or operation.why,
        at_target=at_target,
        ramp=None,
        low_since_s=None,
        electrical=None,
    )


def proven(operation: Operation) -> Trigger:
    """Which of the two proofs ends this operation: complete only if the target and nothing else ended it."""
    return Trigger.OFF_PROVEN_AT_TARGET if operation.at_target else Trigger.OFF_PROVEN


def count_commanded(operation: Operation, at_s: float, *, off_proven: bool) -> Operation:
    """Count commanded charge up to process time `at_s` (R8).

    While the output is not proven off the set current counts, the highest of the plan once it is no longer ramped, and
    the supply's rating where nothing is set.
    """
    elapsed_s = max(0.0, at_s - operation.counted_s)
    set_a = operation.ramp.current_a if operation.ramp else operation.plan.current_a
    set_a = set_a if operation.plan.commanded_a is None else operation.plan.commanded_a
    commanded_a = 0.0 if off_proven else set_a
    return replace(
        operation, commanded_c=operation.commanded_c + commanded_a * elapsed_s, counted_s=max(at_s, operation.counted_s)
    )


def set_points(plan: Plan, supply: SupplySetup, into_ramp_s: float, step_s: float) -> tuple[float, float]:
    """Current, A, and voltage, V, to set `into_ramp_s` after the soft start began.

    The ramped quantity is set one step ahead, so that the first command is not zero and the last comes on time;
    the other stands at its final value from the first (R6 holds for both all the time).
    """
    if into_ramp_s + step_s >= plan.ramp_s:
        return plan.current_a, plan.voltage_v
    share = (into_ramp_s + step_s) / plan.ramp_s
    if plan.mode == "current":
        return max(supply.current_step_a, floor_to_step(plan.current_a * share, supply.current_step_a)), plan.voltage_v
    return plan.current_a, max(supply.voltage_step_v, floor_to_step(plan.voltage_v * share, supply.voltage_step_v))
