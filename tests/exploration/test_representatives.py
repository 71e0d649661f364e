"""Every cause of the table does what a cause that is explored does: one for each thing a cause can do.

A cause is made to stand, alone, by its alarm's own way in; how each comes about is tested beside its condition.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from typing import Literal
from unittest.mock import patch

import pytest

from supervisor.core import causes
from supervisor.core.actions import Answer, SwitchOff
from supervisor.core.alarms import AlarmState
from supervisor.core.anodize import OVER, State
from supervisor.core.effects import Effect
from supervisor.core.interlocks import CAUSES
from supervisor.core.work import Work
from tests.core.kit import Bench, of_kind
from tests.core.plain import fitted_setup
from tests.exploration.parts import undelayed

Kind = tuple[Effect, bool, bool]
Situation = Literal["idle", "running", "held"]

REPRESENTATIVES: dict[Kind, str] = {
    (Effect.WARN, False, False): "bath-high",
    (Effect.WARN, True, False): "current-without-operation",
    (Effect.HOLD, True, False): "contactor-failed",
    (Effect.HOLD, True, True): "output-dropped",
    (Effect.STOP, True, False): "bath-high-high",
    (Effect.ABORT, True, False): "over-current",
    (Effect.ABORT, True, True): "over-voltage",
}
"""By effect, whether it waits for a reset, and whether it opens the contactor; all happen in the parts explored."""

WITHOUT_CURRENT: dict[Kind, str] = {
    (Effect.WARN, False, False): "agitation-lost",
    (Effect.HOLD, True, False): "guard-open",
    (Effect.STOP, True, False): "lid-shut",
}
"""What stands, while no current flows, for those that count only with current."""

SUBJECTS = {
    "supply": "main", "tank": "main-acid", "contact": "shut", "device": "board", "output": "contactor",
    "channel": "main-current",
}  # fmt: skip


def kind_of(cause: str) -> Kind:
    row = CAUSES[cause]
    return row.effect, row.latches(row.standard), "contactor open" in row.also


@dataclass
class Injected:
    """A cause that stands as long as a test says so, and otherwise does what it does."""

    cause: str
    present: bool = False

    @property
    def subject(self) -> str:
        return SUBJECTS[CAUSES[self.cause].about]

    @property
    def alarm(self) -> str:
        return f"{self.subject}/{self.cause}"


@contextmanager
def injected(cause: str) -> Iterator[Injected]:
    one, alarm, judge = Injected(cause), Work.alarm, causes.judge_supply

    def told(work: Work, subject: str, named: str, present: bool) -> None:
        mine = (subject, named) == (one.subject, one.cause)
        alarm(work, subject, named, one.present if mine else present)

    def judged(work: Work, name: str) -> None:
        judge(work, name)
        work.alarm(one.subject, one.cause, one.present)

    with patch.object(Work, "alarm", told), patch.object(causes, "judge_supply", judged):
        yield one


def bench_that_is(situation: Situation, cause: str) -> Bench:
    bench = Bench(undelayed(fitted_setup(), cause))
    if situation == "idle":
        bench.start_service()
        return bench
    bench.running(target_um=20.0)
    if situation == "held":
        assert bench.ask("hold").ok
        bench.run(2.0)
        assert bench.stands() is State.HELD
    return bench


@cache
def trace(cause: str, situation: Situation) -> tuple[object, ...]:
    """What is seen of a line on which a cause comes, stands, goes and is reset."""
    with injected(cause) as one:
        bench = bench_that_is(situation, cause)
        seen: list[object] = []
        one.present = True
        bench.later(0.1)
        step = bench.wake_up()
        seen += [bool(of_kind(step, SwitchOff)), *_stands(bench, one)]
        bench.run(3.0)
        seen += [*_stands(bench, one), *_energises(bench, one), _resets(bench, one)]
        one.present = False
        bench.later(0.1)
        bench.wake_up()
        seen += [*_stands(bench, one), *_energises(bench, one), _resets(bench, one), *_energises(bench, one)]
        bench.run(12.0)
        return (*seen, *_stands(bench, one))


def _stands(bench: Bench, one: Injected) -> tuple[object, ...]:
    alarm = bench.line.state.alarms.get(one.alarm)
    told = (alarm.state, alarm.active, alarm.latched) if alarm is not None else (AlarmState.NORMAL, False, False)
    return bench.stands(), bench.line.state.outputs["contactor"].on, told


def _energises(bench: Bench, one: Injected) -> tuple[bool, bool]:
    """Ask for current, after whatever must come before; whether it was refused because of the cause."""
    if bench.stands() in OVER:
        assert bench.ask("reset").ok
    answer: Answer = bench.ask("restart") if bench.stands() is State.HELD else bench.start(target_um=20.0)
    return answer.ok, any(one.alarm in reason for reason in answer.reasons)


def _resets(bench: Bench, one: Injected) -> bool:
    return bench.ask("alarm reset", alarm=one.alarm).ok


SITUATIONS: tuple[Situation, ...] = ("idle", "running", "held")


@pytest.mark.parametrize("situation", SITUATIONS)
@pytest.mark.parametrize("cause", CAUSES)
def test_a_cause_does_what_the_one_that_is_explored_does(cause: str, situation: Situation) -> None:
    suppressed = CAUSES[cause].when == "with current" and situation != "running"
    representative = (WITHOUT_CURRENT if suppressed else REPRESENTATIVES)[kind_of(cause)]
    assert trace(cause, situation) == trace(representative, situation)


@pytest.mark.parametrize(("situation", "kinds"), [("idle", 2), ("running", len(REPRESENTATIVES)), ("held", 4)])
def test_representatives_of_different_kinds_differ(situation: Situation, kinds: int) -> None:
    """Else one of them would stand for nothing.

    Where nothing runs only what waits for a reset makes a difference; what is held can still be stopped or aborted.
    """
    assert len({str(trace(cause, situation)) for cause in REPRESENTATIVES.values()}) == kinds


def test_every_kind_of_cause_has_a_representative_and_every_representative_is_of_its_kind() -> None:
    assert {kind_of(cause) for cause in CAUSES} == set(REPRESENTATIVES)
    assert all(kind_of(cause) == kind for kind, cause in REPRESENTATIVES.items())
    assert all(CAUSES[cause].when == "always" for cause in REPRESENTATIVES.values())
