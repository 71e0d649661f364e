"""The harness of mutants on a project of a few lines: what is found out, what survives, and a list that cannot rot."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.campaigns.mutant_runs import Project
from tests.campaigns.mutants import mutants
from tests.campaigns.mutation import EQUIVALENT, Score, read_reasons, score, told

GATE = """
import os

LIMITS = {"low": 1.0, "high": 2.0}


def opens(level: float, limit: float) -> bool:
    return level >= limit


def climb(level: float, limit: float) -> float:
    while level < limit:
        level += 1.0
    return level


def guarded(level: float) -> bool:
    if level > 100.0:
        os._exit(1)
    return True


def unseen(level: float) -> float:
    return level * 2.0
"""

CHECKS = """
import pytest

from thing.gate import LIMITS, climb, guarded, opens

KEPT = {}


def once():
    if not KEPT:
        KEPT["open"] = opens(2.0, 1.0)
    return KEPT["open"]


def test_something_else():
    assert once() in {True, False}


def test_a_gate_opens():
    assert once()


def test_a_gate_stays_shut():
    assert not opens(0.0, 1.0)


def test_it_climbs():
    assert climb(0.5, 2.0) == 2.5


def test_it_guards():
    assert guarded(0.0)


@pytest.mark.parametrize("limit", list(LIMITS))
def test_every_limit_is_low(limit):
    assert limit == "low" or LIMITS[limit] > 0.0
"""

ABOVE = "gate: opens: return level >= limit -> return level > limit"
BELOW = "gate: opens: return level >= limit -> return level < limit"
ENDLESS = "gate: climb: level += 1.0 -> level -= 1.0"
GONE = "gate: opens: return level >= limit -> return level == limit"
HIGH = "gate: LIMITS['high']: 2.0 -> 3.0"
UNSEEN = "gate: unseen: return level * 2.0 -> return level / 2.0"
DEADLY = "gate: guarded: level > 100.0 -> level <= 100.0"
CHOSEN = {ABOVE, BELOW, ENDLESS, HIGH, UNSEEN, DEADLY}


def project(root: Path, checks: str = CHECKS) -> Project:
    for folder, name, text in (("thing", "gate.py", GATE), ("checks", "test_gate.py", checks)):
        (root / folder).mkdir()
        (root / folder / "__init__.py").write_text("", encoding="utf-8")
        (root / folder / name).write_text(text, encoding="utf-8")
    (root / "pyproject.toml").write_text("[tool.pytest.ini_options]\naddopts = '--import-mode=importlib'\n", "utf-8")
    return Project(root, ("thing", "checks", "pyproject.toml"), ("checks",), ("checks.test_gate:KEPT",), 1.0)


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> Score:
    root = tmp_path_factory.mktemp("gate")
    reasons = root / "reasons.toml"
    entries = [(ABOVE, "No level is ever exactly at a limit."), (BELOW, "None."), (GONE, "It was."), (HIGH, " ")]
    lines = [f'[[equivalent]]\nmutant = "{mutant}"\nreason = "{reason}"\n' for mutant, reason in entries]
    reasons.write_text("\n".join(lines), encoding="utf-8")
    small = project(root)
    every = mutants(root, "thing/gate.py")
    return score(small, every, [mutant for mutant in every if mutant.id in CHOSEN], reasons)


def test_a_mutant_that_a_test_notices_is_found_out(result: Score) -> None:
    assert result.found[BELOW] in {
        "checks/test_gate.py::test_a_gate_opens",
        "checks/test_gate.py::test_a_gate_stays_shut",
    }


def test_a_mutant_that_nothing_notices_survives(result: Score) -> None:
    assert set(result.equivalent) == {HIGH, ABOVE}
    assert result.survived == (UNSEEN,)


def test_a_mutant_that_never_ends_is_found_out_and_so_is_one_that_ends_its_process(result: Score) -> None:
    assert result.found[ENDLESS] == "it never ended"
    assert result.found[DEADLY] == "its process died"


def test_the_score_counts_all_but_the_equivalent(result: Score) -> None:
    assert set(result.found) == {BELOW, ENDLESS, DEADLY}
    assert result.percent == 75.0


def test_an_entry_without_its_mutant_or_found_out_or_without_a_reason_is_a_mistake(result: Score) -> None:
    assert [mistake.rpartition("gate: ")[2] for mistake in result.mistakes] == [
        name.removeprefix("gate: ") for name in (GONE, BELOW, HIGH)
    ]
    assert [line for line in told(result) if "no such mutant" in line] == [f"There is no such mutant any more: {GONE}"]


def test_a_suite_that_fails_by_itself_judges_nothing(tmp_path: Path) -> None:
    broken = project(tmp_path, CHECKS + "\n\ndef test_never():\n    assert False\n")
    every = mutants(tmp_path, "thing/gate.py")
    with pytest.raises(RuntimeError, match="could not be judged"):
        score(broken, every, every[:1], EQUIVALENT)


def test_a_mutant_listed_twice_is_refused(tmp_path: Path) -> None:
    twice = tmp_path / "twice.toml"
    twice.write_text('[[equivalent]]\nmutant = "a"\nreason = "b"\n' * 2, encoding="utf-8")
    with pytest.raises(ValueError, match="twice"):
        read_reasons(twice)
