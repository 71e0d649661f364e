"""Replay: the same events give the same actions and states, and where they do not, it says where."""

from __future__ import annotations

import asyncio
import sqlite3
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from supervisor.core.actions import Action, Note
from supervisor.core.events import Event, Instant, Woken
from supervisor.records import codec, schema
from supervisor.records.journal import Journal
from supervisor.records.replay import Difference, MakeLine, copy_journal, replay
from tests.records.kit import begin, durable


@dataclass(frozen=True, slots=True)
class Total:
    sum_s: float = 0.0
    names: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Done:
    actions: tuple[Action, ...]


class Adder:
    """A core of its own kind: adds up process times, `speed` fold, and says the sum."""

    def __init__(self, factor: float, state: Total) -> None:
        self._factor = factor
        self.state = state

    def step(self, event: Event) -> Done:
        if event.at.process_s == 13.0:
            raise ArithmeticError("thirteen")
        sum_s = self.state.sum_s + self._factor * event.at.process_s
        self.state = Total(sum_s, self.state.names | {f"n{event.at.process_s}"})
        return Done((Note("output", "main", f"{sum_s!r}"),))


def make_line(line_text: str, profiles: Mapping[str, str], speed: float, state: str | None, /) -> Adder:
    assert line_text == "[line]\n"
    assert list(profiles) == ["supply.toml"]
    return Adder(speed, codec.decode_state(Total, state) if state is not None else Total())


def woken(process_s: float) -> Woken:
    return Woken(Instant(process_s, 0.0, 0.0))


async def record(
    path: Path, times: list[float], snapshots: set[int], lost: set[int], state: Total | None = None
) -> None:
    """One run: the core as it decides, with snapshots after those steps; lost steps are decided but not kept."""
    journal = await Journal.open(path)
    await begin(journal)
    line = Adder(60.0, state or Total())
    if state is not None:
        journal.note_snapshot(codec.encode_state(state))
    for number, time in enumerate(times, start=1):
        done = line.step(woken(time))
        journal.note_step(woken(float("nan")) if number in lost else woken(time), done.actions)
        if number in snapshots:
            journal.note_snapshot(codec.encode_state(line.state))
    assert await journal.close(5.0)


async def test_the_same_core_decides_the_same(tmp_path: Path) -> None:
    await record(tmp_path / "j", [0.1, 0.2, 0.3], {2}, set())
    await record(tmp_path / "j", [1.0, 2.0], {1}, set(), Total(36.0))
    result = replay(tmp_path / "j", make_line)
    assert (result.steps, result.differing, result.differences) == (5, 0, ())
    assert [(run.run.id, run.steps, run.snapshots, run.skipped, run.lost) for run in result.runs] == [
        (1, 3, 1, 0, 0),
        (2, 2, 1, 0, 0),
    ]


async def test_another_decision_is_shown_with_its_step(tmp_path: Path) -> None:
    await record(tmp_path / "j", [1.0, 2.0, 3.0], set(), set())

    class Later(Adder):
        def step(self, event: Event) -> Done:
            done = super().step(event)
            return done if event.at.process_s != 2.0 else Done(())

    result = replay(tmp_path / "j", lambda _text, _profiles, speed, _state: Later(speed, Total()))
    expected = codec.encode_actions((Note("output", "main", "180.0"),))
    assert result.differences == (Difference(1, 2, codec.encode_event(woken(2.0)), expected, "[]"),)
    assert result.differing == 1
    assert result.steps == 3


async def test_a_state_that_differs_though_the_actions_agree_is_shown(tmp_path: Path) -> None:
    await record(tmp_path / "j", [1.0, 2.0], {2}, set())

    class Forgetful(Adder):
        def step(self, event: Event) -> Done:
            done = super().step(event)
            self.state = replace(self.state, names=frozenset())
            return done

    result = replay(tmp_path / "j", lambda _text, _profiles, speed, _state: Forgetful(speed, Total()))
    assert [(each.step, each.event) for each in result.differences] == [(2, "snapshot")]


async def test_a_difference_in_the_last_bit_is_one(tmp_path: Path) -> None:
    await record(tmp_path / "j", [0.1, 0.2], {2}, set())
    nearly = Total(sum_s=5e-324)
    result = replay(tmp_path / "j", lambda _text, _profiles, speed, _state: Adder(speed * (1 + 2**-52), nearly))
    assert result.differing > 0


async def test_after_lost_steps_replay_goes_on_at_the_next_snapshot(tmp_path: Path) -> None:
    await record(tmp_path / "j", [1.0, 2.0, 3.0, 4.0, 5.0, 6.0], {4}, {2})
    result = replay(tmp_path / "j", make_line)
    assert result.differing == 0
    assert [(run.steps, run.skipped, run.lost) for run in result.runs] == [(3, 2, 1)]


async def test_a_snapshot_taken_after_a_lost_step_restores_the_core_too(tmp_path: Path) -> None:
    await record(tmp_path / "j", [1.0, 2.0, 3.0, 4.0], {2}, {2})
    result = replay(tmp_path / "j", make_line)
    assert result.differing == 0
    assert [(run.steps, run.skipped, run.lost) for run in result.runs] == [(3, 0, 1)]


async def test_a_core_that_fails_on_an_event_is_a_difference_and_no_crash(tmp_path: Path) -> None:
    await record(tmp_path / "j", [1.0, 2.0, 3.0], set(), set())
    path = tmp_path / "j"
    connection = sqlite3.connect(path)
    connection.execute("UPDATE steps SET event = ? WHERE number = 2", (codec.encode_event(woken(13.0)),))
    connection.commit()
    connection.close()
    result = replay(path, make_line)
    assert [each.got for each in result.differences] == ['"ArithmeticError: thirteen"']
    assert [(run.steps, run.skipped) for run in result.runs] == [(2, 1)]


RUNNING = """
import asyncio, sys
from pathlib import Path
from tests.records.test_replay import Adder, Total, begin, durable, woken
from supervisor.records.journal import Journal

async def main():
    journal = await Journal.open(Path(sys.argv[1]))
    await begin(journal)
    line = Adder(60.0, Total())
    for number in range(10):
        journal.note_step(woken(number), line.step(woken(number)).actions)
    await durable(journal)
    print("ready", flush=True)
    number = 10
    while True:
        journal.note_step(woken(number + 100), line.step(woken(number + 100)).actions)
        number += 1
        await durable(journal)

asyncio.run(main())
"""


def test_a_journal_being_written_by_a_running_supervisor_can_be_replayed(tmp_path: Path) -> None:
    path = tmp_path / "j"
    with subprocess.Popen([sys.executable, "-c", RUNNING, str(path)], stdout=subprocess.PIPE, text=True) as writer:
        assert writer.stdout is not None
        writer.stdout.readline()
        counts = []
        for _ in range(5):
            result = replay(path, make_line)
            assert result.differing == 0
            counts.append(result.steps)
        assert writer.poll() is None
        writer.kill()
    assert counts[0] >= 10
    assert counts == sorted(counts)
    assert replay(path, make_line).steps >= counts[-1]


def test_replay_leaves_the_journal_as_it_was(tmp_path: Path) -> None:
    asyncio.run(record(tmp_path / "j", [1.0], set(), set()))
    before = (tmp_path / "j").read_bytes()
    replay(tmp_path / "j", make_line)
    assert (tmp_path / "j").read_bytes() == before
    assert [file.name for file in tmp_path.iterdir()] == ["j"]


@pytest.mark.parametrize(
    ("content", "told"),
    [(None, "No such file"), (b"plain text, no journal at all" * 50, "damaged")],
)
def test_a_file_that_is_no_journal_is_told(tmp_path: Path, content: bytes | None, told: str) -> None:
    if content is not None:
        (tmp_path / "j").write_bytes(content)
    unused: MakeLine = make_line
    with pytest.raises(schema.JournalError, match=told):
        replay(tmp_path / "j", unused)


async def test_a_copy_holds_what_is_only_in_the_log_yet(tmp_path: Path) -> None:
    journal = await Journal.open(tmp_path / "j")
    await begin(journal)
    journal.note_step(woken(1.0), ())
    await durable(journal)
    copy_journal(tmp_path / "j", tmp_path / "copy")
    await journal.close(5.0)
    connection = sqlite3.connect(tmp_path / "copy")
    assert connection.execute("SELECT count(*) FROM steps").fetchone() == (1,)
    connection.close()
