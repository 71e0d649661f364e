"""A suite run over mutants: a program that reads them from standard input and tells what each came to, line by line.

It is a process of its own because each mutant runs in a fork of it, warm with pytest and what the tests stand on, but
with nothing of the project: that the fork imports from a copy in which one module is changed. A test is run on a mutant
only if it executes a line of the changed statement. The tests that found out its neighbours come first, the first
failure ends the run, and a mutant that never ends is found out too.
"""

from __future__ import annotations

import gc
import json
import os
import shutil
import signal
import sys
import tempfile
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing import connection, get_context
from multiprocessing.connection import Connection
from multiprocessing.context import ForkProcess
from pathlib import Path
from time import monotonic

import pytest

from tests.campaigns.mutant_runs import Known, Project, run_mutant, run_once
from tests.campaigns.mutants import Mutant

AT_ONCE = 2
"""Mutants under test at the same time; each has a copy of the project to itself."""

IDLE_S = 100.0
IDLE = 20.0
"""A run that takes longer by the clock than this and than so many times what its tests take has stopped for good."""

NEVER_ENDS = "it never ended"
CRASHED = "its process died"

_FORK = get_context("fork")

# Imported by pytest itself, which may want to rewrite some of it. A failing example need not be made smaller.
_WARM = """
import asyncio, sqlite3
import pytest_asyncio
from hypothesis import Phase, settings, stateful
settings.register_profile("mutants", phases=[Phase.explicit, Phase.generate], database=None)
settings.load_profile("mutants")
def test_nothing():
    pass
"""


@dataclass(slots=True)
class _Copy:
    """A copy of the project; `kept` is the file that is changed in it now, as it was: content and time."""

    folder: Path
    kept: tuple[Path, bytes, int] | None = None

    def change(self, mutant: Mutant) -> None:
        """Put the mutant in, at a time for which nothing was ever compiled."""
        file = self.folder / mutant.path
        self.kept = file, file.read_bytes(), file.stat().st_mtime_ns
        file.write_text(mutant.source, encoding="utf-8")
        os.utime(file, (0, 0))

    def restore(self) -> None:
        """Put the original back, at the time for which it was compiled."""
        assert self.kept is not None
        file, content, time_ns = self.kept
        file.write_bytes(content)
        os.utime(file, ns=(time_ns, time_ns))


@dataclass(frozen=True, slots=True)
class _Run:
    """One fork at work on a mutant, until `until_s` of the monotonic clock at the latest."""

    mutant: Mutant
    copy: _Copy
    process: ForkProcess
    until_s: float

    def end(self) -> None:
        """End the fork and what it started; its copy is as before."""
        assert self.process.pid is not None
        with suppress(ProcessLookupError):
            os.killpg(self.process.pid, signal.SIGKILL)
        self.process.join()
        self.copy.restore()


class _Order:
    """Which tests to run on a mutant, the likeliest to fail first."""

    def __init__(self, known: Known) -> None:
        self._known = known
        self._found: defaultdict[str, Counter[str]] = defaultdict(Counter)

    def of(self, mutant: Mutant) -> list[str]:
        """Those that found its nearest neighbours out, then those that found its module's, then the quickest."""
        near, home, took_s = self._found[mutant.group], self._found[mutant.path], self._known.took_s
        return sorted(self._known.concerned(mutant), key=lambda test: (-near[test], -home[test], took_s[test]))

    def note(self, mutant: Mutant, test: str) -> None:
        """Learn what found a mutant out."""
        self._found[mutant.group][test] += 1
        self._found[mutant.path][test] += 1


class _Runs:
    """As many mutants at work as there are copies."""

    def __init__(self, project: Project, copies: list[_Copy], known: Known) -> None:
        self._project = project
        self._free = copies
        self._known = known
        self._order = _Order(known)
        self._running: dict[Connection, _Run] = {}

    def of(self, asked: Sequence[Mutant]) -> Iterator[tuple[Mutant, str | None]]:
        """Yield each mutant, as it is done, with the test that found it out; None where none did."""
        waiting = list(reversed(asked))
        try:
            while waiting or self._running:
                while waiting and self._free:
                    self._begin(waiting.pop())
                for told, run in self._over():
                    yield run.mutant, self._end(told, run)
        finally:
            for told, run in list(self._running.items()):
                self._end(told, run)

    def _begin(self, mutant: Mutant) -> None:
        copy, tests = self._free.pop(), self._order.of(mutant)
        copy.change(mutant)
        took_s = self._known.took_s
        process, told = _forked(run_mutant, copy.folder, self._project, tests, took_s)
        until_s = monotonic() + IDLE_S + IDLE * sum(took_s[test] for test in tests)
        self._running[told] = _Run(mutant, copy, process, until_s)

    def _over(self) -> list[tuple[Connection, _Run]]:
        left_s = min(run.until_s for run in self._running.values()) - monotonic()
        done = connection.wait(list(self._running), max(0.0, left_s))
        return [(told, run) for told, run in self._running.items() if told in done or monotonic() >= run.until_s]

    def _end(self, told: Connection, run: _Run) -> str | None:
        """End a run; return what found its mutant out."""
        del self._running[told]
        with told:
            found = _told(told) if told.poll() else NEVER_ENDS
        run.end()
        if run.process.exitcode == -signal.SIGXCPU:
            found = NEVER_ENDS
        self._free.append(run.copy)
        if found is not None:
            self._order.note(run.mutant, found)
        return found


def judge(project: Project, asked: Sequence[Mutant]) -> Iterator[tuple[Mutant, str | None]]:
    """Yield each mutant, as it is done, with the test that found it out; None where none did.

    Raises RuntimeError where a test fails without a mutant, in the suite's order or in another.
    """
    with tempfile.TemporaryDirectory(prefix="ampm-") as name:
        folder = Path(name).resolve()
        _warm_up(folder / "warm")
        first = folder / "copy-0"
        _copied(project, first)
        paths = sorted({mutant.path for mutant in asked})
        known = _known(project, first, paths)
        copies = [_Copy(folder / f"copy-{nth}") for nth in range(AT_ONCE)]
        for copy in copies[1:]:
            shutil.copytree(first, copy.folder)
        runs = _Runs(project, copies, known)
        original = Mutant("original", paths[0], (first / paths[0]).read_text(encoding="utf-8"), "", None)
        for mutant, test in runs.of([original, *asked]):
            if mutant is not original:
                yield mutant, test
            elif test is not None:
                raise RuntimeError(f"In another order a test fails without a mutant: {test}")


def _warm_up(folder: Path) -> None:
    folder.mkdir()
    warm = folder / "test_warm.py"
    warm.write_text(_WARM, encoding="utf-8")
    quiet = ["-p", "no:terminal", "-o", "asyncio_default_fixture_loop_scope=function"]
    pytest.main([*quiet, "-p", "no:cacheprovider", f"--rootdir={folder}", str(warm)])
    gc.freeze()  # no fork looks through again what all share


def _copied(project: Project, to: Path) -> None:
    for part in project.parts:
        whence = project.root / part
        (to / part).parent.mkdir(parents=True, exist_ok=True)
        if whence.is_dir():
            shutil.copytree(whence, to / part, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy2(whence, to / part)


def _known(project: Project, copy: Path, paths: Sequence[str]) -> Known:
    process, told = _forked(run_once, copy, project, paths)
    with told:
        shown = told.recv()
    process.join()
    if isinstance(shown, int):
        raise RuntimeError(f"The suite fails without a mutant: pytest ended with {shown}.")  # noqa: TRY004
    return Known(*shown)


def _forked(run: Callable[..., None], *given: object) -> tuple[ForkProcess, Connection]:
    told, tell = _FORK.Pipe(duplex=False)
    process = _FORK.Process(target=run, args=(tell, *given))
    process.start()
    tell.close()
    return process, told


def _told(told: Connection) -> str | None:
    try:
        found: str | None = told.recv()
    except EOFError:
        return CRASHED
    return found


def main() -> None:
    """Judge what standard input names; every answer is one JSON line, and pytest's own words go to standard error."""
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))  # so that no fork is left behind
    asked = json.load(sys.stdin)
    parts, suite, memories = (tuple(asked[of]) for of in ("parts", "suite", "memories"))
    project = Project(Path(asked["root"]), parts, suite, memories, asked["patience_s"])
    each = [Mutant(**of | {"lines": of["lines"] and tuple(of["lines"])}) for of in asked["mutants"]]
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    with answers:
        for mutant, found in judge(project, each):
            print(json.dumps({"id": mutant.id, "found": found}), file=answers, flush=True)


if __name__ == "__main__":
    main()
