"""One run of a suite in a fork: without a mutant, to learn what each test does, or on one, until a test fails."""

from __future__ import annotations

import math
import os
import resource
import sys
from collections.abc import Generator, Iterable, Mapping, Sequence
from dataclasses import dataclass
from importlib import import_module
from multiprocessing.connection import Connection
from pathlib import Path
from time import process_time

import coverage
import pytest

from tests.campaigns.mutants import Mutant

PATIENCE = 5.0
"""A test may use so many times the processor time on a mutant that it takes without one."""

FIRST = 6
"""So many tests are tried before the whole suite is collected."""

MEMORY_BYTES = 4 << 30
"""A mutant that asks for more memory fails."""


@dataclass(frozen=True, slots=True)
class Project:
    """What is run.

    Attributes:
        root: of the project. parts: the folders and files of it that are needed. suite: those with the tests.
        memories: `module:name` of dictionaries in which tests keep what others take up. They are emptied before each
            test whose lines are measured, or what it stands on would be counted for the first one alone.
        patience_s: seconds of a processor that a test may use on a mutant beyond a few times what it needs.
    """

    root: Path
    parts: tuple[str, ...]
    suite: tuple[str, ...]
    memories: tuple[str, ...] = ()
    patience_s: float = 5.0


@dataclass(frozen=True, slots=True)
class Known:
    """What a run without a mutant showed: processor time of each test, s, and by module and line its tests."""

    took_s: dict[str, float]
    tests: dict[str, dict[int, list[str]]]

    def concerned(self, mutant: Mutant) -> list[str]:
        """The tests that can tell a mutant from the original: all, where its statement runs at an import."""
        if mutant.lines is None:
            return list(self.took_s)
        at = self.tests[mutant.path]
        found = {test for line in range(mutant.lines[0], mutant.lines[1] + 1) for test in at.get(line, ())}
        return list(self.took_s) if "" in found else [test for test in self.took_s if test in found]


class _Chosen:
    """Runs the chosen tests in their order, then those that only the mutant has; notes what fails first.

    A test that never ends is ended, with the fork it runs in, by the system's SIGXCPU: processor time does not run
    while a busy machine has others to serve.
    """

    def __init__(self, order: Sequence[str], took_s: Mapping[str, float], patience_s: float) -> None:
        self._rank = {test: nth for nth, test in enumerate(order)}
        self._others = set(took_s) - set(order)
        self._took_s = took_s
        self._patience_s = patience_s
        self.failed: str | None = None

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        items[:] = [item for item in items if item.nodeid not in self._others]
        items.sort(key=lambda item: self._rank.get(item.nodeid, len(self._rank)))

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtest_setup(self, item: pytest.Item) -> None:
        longest_s = process_time() + self._patience_s + PATIENCE * self._took_s.get(item.nodeid, 0.0)
        resource.setrlimit(resource.RLIMIT_CPU, (math.ceil(longest_s), resource.RLIM_INFINITY))

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        self._note(report)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        self._note(report)

    def _note(self, report: pytest.CollectReport | pytest.TestReport) -> None:
        if report.failed and self.failed is None:
            self.failed = report.nodeid


class _Watched:
    """Notes how long each test takes, and tells the measurement of lines which test it is."""

    def __init__(self, measured: coverage.Coverage, memories: Iterable[str]) -> None:
        self._measured = measured
        self._memories = [memory.partition(":") for memory in memories]
        self.took_s: dict[str, float] = {}

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Generator[None, object, object]:
        for module, _, name in self._memories:
            getattr(import_module(module), name).clear()
        self._measured.switch_context(item.nodeid)
        began_s = process_time()
        done = yield
        self.took_s[item.nodeid] = process_time() - began_s
        self._measured.switch_context("")
        return done


def run_once(tell: Connection, copy: Path, project: Project, paths: Sequence[str]) -> None:
    """Run the whole suite without a mutant; tell the fields of `Known`, or where a test fails pytest's exit code.

    What it compiles is kept in the copy, whatever the person's own setting: every later run takes it from there.
    """
    _enter(copy, project)
    sys.dont_write_bytecode = False
    measured = coverage.Coverage(data_file=None, config_file=False, include=[str(copy / path) for path in paths])
    watched = _Watched(measured, project.memories)
    measured.start()
    code = _pytest(project.suite, watched)
    measured.stop()
    data = measured.get_data()
    lines = {path: data.contexts_by_lineno(str(copy / path)) for path in paths}
    tell.send((watched.took_s, lines) if code == 0 else code)


def run_mutant(
    tell: Connection, copy: Path, project: Project, order: Sequence[str], took_s: Mapping[str, float]
) -> None:
    """Run tests in this order until one fails, and tell which; None where none does."""
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    _enter(copy, project)
    sys.dont_write_bytecode = True
    os.environ["PYTHONDONTWRITEBYTECODE"] = "1"
    silence = os.open(os.devnull, os.O_WRONLY)
    os.dup2(silence, 1)
    os.dup2(silence, 2)
    files = dict.fromkeys(test.partition("::")[0] for test in order[:FIRST])
    for targets, tests in ((tuple(files), order[:FIRST]), (project.suite, order[FIRST:])):
        if not tests:  # with nothing named, pytest would look for tests everywhere
            break
        chosen = _Chosen(tests, took_s, project.patience_s)
        code = _pytest(targets, chosen)
        if code not in {pytest.ExitCode.OK, pytest.ExitCode.NO_TESTS_COLLECTED}:
            tell.send(chosen.failed or f"pytest ended with {code}")
            return
    tell.send(None)


def _enter(copy: Path, project: Project) -> None:
    """Make this fork the copy's own: neither it nor what it starts loads the project from elsewhere."""
    os.setpgid(0, 0)
    elsewhere = {"", str(Path.cwd()), str(project.root)}
    sys.path[:] = [str(copy), *(entry for entry in sys.path if entry not in elsewhere)]
    own = {part.partition("/")[0] for part in project.parts}
    for name in [name for name in sys.modules if name.partition(".")[0] in own]:
        del sys.modules[name]
    os.chdir(copy)
    os.environ["PYTHONPATH"] = str(copy)


def _pytest(targets: Iterable[str], plugin: object) -> int:
    options = ["-x", "-q", "--rootdir=.", "-p", "no:cacheprovider"]
    return int(pytest.main([*options, *targets], plugins=[plugin]))
