"""The real core through journal and replay: a whole operation, restarted in its middle, decides the same again."""

from __future__ import annotations

import asyncio
import os
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

import pytest

from supervisor.core.actions import SetPoints
from supervisor.core.anodize import State
from supervisor.core.events import Event, GaugeReading
from supervisor.core.line import Line, Step
from supervisor.core.setup import LineSetup
from supervisor.core.state import LineState
from supervisor.records import codec
from supervisor.records.journal import Journal
from supervisor.records.replay import ReplayResult, replay
from tests.core.kit import Bench
from tests.core.plain import line_setup
from tests.records.kit import begin

SNAPSHOT_EVERY = 15


class Kept(Line):
    """A line whose every step goes into a journal, as the service keeps it."""

    def __init__(self, setup: LineSetup, journal: Journal, state: LineState | None = None) -> None:
        super().__init__(setup, state)
        self._journal = journal
        self.count = 0
        journal.note_snapshot(codec.encode_state(self.state))

    def step(self, event: Event) -> Step:
        step = super().step(event)
        self._journal.note_step(event, step.actions)
        self.count += 1
        if self.count % SNAPSHOT_EVERY == 0:
            self._journal.note_snapshot(codec.encode_state(self.state))
        return step


def make_line(line_text: str, profiles: Mapping[str, str], speed: float, state: str | None, /) -> Line:
    assert line_text == "[line]\n"
    return Line(line_setup(2), codec.decode_state(LineState, state) if state is not None else None)


async def bench_on(path: Path, before: Bench | None = None) -> tuple[Bench, Journal]:
    """A bench whose line is kept; `before` is the one a restart goes on from, with the state the journal has."""
    journal = await Journal.open(path)
    await begin(journal)
    bench = Bench(line_setup(2))
    if before is not None:
        last = await journal.last_state()
        assert last is not None
        assert last.snapshot is not None
        line = make_line(last.run.line_text, last.run.profiles, last.run.speed, last.snapshot)
        for event in last.events:
            line.step(codec.decode_event(event))
        assert line.state == before.line.state
        bench.state, bench.now_s, bench.devices = line.state, before.now_s + 30.0, before.devices
        bench.asked = before.asked  # a request that came before is refused
    bench.line = Kept(bench.setup, journal, bench.state)
    return bench, journal


async def record_an_operation(path: Path) -> int:
    """Anodize two loads, the service dying in the middle, and return the number of steps."""
    bench, journal = await bench_on(path)
    bench.start_service()
    assert bench.start(supply="main").ok
    bench.run(20.0)
    assert bench.start(supply="side", target_um=0.5).ok
    bench.run(20.0)
    assert await journal.close(5.0)

    after, journal = await bench_on(path, bench)
    after.start_service()
    assert {name: s.operation.state for name, s in after.line.state.supplies.items() if s.operation} == {
        "main": State.HELD,
        "side": State.HELD,
    }
    after.ask("alarm reset", alarm="no such alarm")
    after.ask("stop", supply="main")
    after.run(20.0)
    after.ask("reset", supply="main")
    assert after.ask("gauge", load="load-1", readings=(GaugeReading(0.6, 0.6, "um"),)).ok
    after.run(20.0)
    assert await journal.close(5.0)
    assert isinstance(bench.line, Kept)
    assert isinstance(after.line, Kept)
    return bench.line.count + after.line.count


def test_a_restarted_operation_decides_the_same_again(tmp_path: Path) -> None:
    steps = asyncio.run(record_an_operation(tmp_path / "j"))
    result = replay(tmp_path / "j", make_line)
    assert (result.steps, result.differences) == (steps, ())
    assert sum(run.snapshots for run in result.runs) > 5
    assert [(run.lost, run.skipped) for run in result.runs] == [(0, 0), (0, 0)]


def test_a_core_that_decides_otherwise_is_found_out_at_its_first_step(tmp_path: Path) -> None:
    asyncio.run(record_an_operation(tmp_path / "j"))

    class Bold(Line):
        def step(self, event: Event) -> Step:
            step = super().step(event)
            more = tuple(
                SetPoints(a.supply, a.number, a.decided_wire_s, a.current_a + 0.001, a.voltage_v)
                if isinstance(a, SetPoints)
                else a
                for a in step.actions
            )
            return Step(more, step.wake)

    result: ReplayResult = replay(tmp_path / "j", lambda *_: Bold(line_setup(2)))
    assert result.differing >= 2
    assert '"set points"' in result.differences[0].expected


@pytest.mark.parametrize("seed", ["1", "2"])
def test_another_process_with_other_hashes_decides_the_same(tmp_path: Path, seed: str) -> None:
    asyncio.run(record_an_operation(tmp_path / "j"))
    replays = (
        "import sys; from pathlib import Path; from supervisor.records.replay import replay\n"
        "from tests.records.test_replay_core import make_line\n"
        "print(replay(Path(sys.argv[1]), make_line).differences)"
    )
    run = subprocess.run(
        [sys.executable, "-c", replays, str(tmp_path / "j")],
        env={**os.environ, "PYTHONHASHSEED": seed},
        cwd=Path(__file__).parents[2],
        capture_output=True,
        text=True,
        check=True,
    )
    assert run.stdout == "()\n"


def test_every_state_of_an_operation_is_read_back_as_it_was() -> None:
    bench = Bench()
    bench.start_service()
    states = [bench.line.state]
    assert bench.start().ok
    for _ in range(100):
        bench.run(0.4)
        states.append(bench.line.state)
    bench.devices["main"].broken_contact = True
    bench.run(3.0)
    states.append(bench.line.state)
    assert len(set(map(repr, states))) == len(states)
    for state in states:
        assert codec.decode_state(LineState, codec.encode_state(state)) == state
