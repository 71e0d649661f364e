"""A run with all that watches a line through journal and replay: contacts, a standstill, shelving, counters, a dip."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from pathlib import Path

from supervisor.core.alarms import AlarmState
from supervisor.core.events import Delayed
from supervisor.core.line import Line
from supervisor.core.state import LineState
from supervisor.records import codec
from supervisor.records.journal import Journal
from supervisor.records.replay import replay
from tests.core.guarded import Guarded, guarded_setup
from tests.records.kit import begin
from tests.records.test_replay_core import Kept


def make_line(_text: str, _profiles: Mapping[str, str], _speed: float, state: str | None, /) -> Line:
    return Line(guarded_setup(), codec.decode_state(LineState, state) if state is not None else None)


async def record(path: Path) -> tuple[int, LineState]:
    """Let most of what can be watched happen once; return the number of steps and the state it ended in."""
    journal = await Journal.open(path)
    await begin(journal)
    bench = Guarded()
    bench.line = line = Kept(bench.setup, journal)
    bench.under_way()
    bench.opens("seal-level")
    bench.run(5.0)
    assert bench.ask("alarm acknowledge", alarm="seal-level/level-low").ok
    assert bench.ask("alarm shelve", alarm="seal-level/level-low", for_s=600.0, why="being filled").ok
    bench.ask("alarm out of service", alarm="seal-lid/lid-open", why="its wire is being mended")
    bench.opens("acid-lid")
    bench.run(10.0)
    bench.ask("alarm silence")
    bench.tell(main_uptime=0.4, main_restarted=1.0)
    bench.later(3.0)
    bench.give(Delayed(bench.at, 2.4))
    bench.open = set()
    bench.run(30.0)
    assert await journal.close(5.0)
    return line.count, line.state


def test_a_watched_run_decides_the_same_again(tmp_path: Path) -> None:
    steps, state = asyncio.run(record(tmp_path / "j"))
    assert state.alarms["seal-level/level-low"].state is AlarmState.SHELVED
    assert {"acid-lid/lid-shut", "seal-level/level-low"} <= {happening.alarm for happening in state.alarm_log}
    assert len(state.contacts) >= 8
    result = replay(tmp_path / "j", make_line)
    assert (result.steps, result.differences) == (steps, ())
    assert sum(run.snapshots for run in result.runs) > 3
    assert codec.decode_state(LineState, codec.encode_state(state)) == state
