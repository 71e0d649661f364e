"""How many mutants of the core its tests find out, and which of the others are equivalent to the original.

`python -m tests.campaigns.mutation [MODULE ...]` tells the survivors of some modules alone.
"""

from __future__ import annotations

import json
import random
import subprocess
import sys
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from time import monotonic

from tests.campaigns.figures import Figure, tell
from tests.campaigns.mutant_runs import Project
from tests.campaigns.mutants import Mutant, mutants

MODULES = (
    "alarms",
    "limits",
    "effects",
    "interlocks",
    "rows_of_line",
    "rows_of_supply",
    "rows_of_tank",
    "anodize",
    "line",
)

ROOT = Path(__file__).parents[2]
CORE = Project(
    ROOT,
    ("supervisor", "drivers", "simulators", "config", "tests", "pyproject.toml"),
    # Not the long random histories of tests/exploration, which take longer than all these together: what only they
    # would find is a rule that no test states.
    ("tests/core", "tests/records/test_replay_core.py"),
    ("tests.core.run_ups:STOOD",),
)

EQUIVALENT = Path(__file__).with_name("equivalent_mutants.toml")

SAMPLED = ("alarms: ", "limits: ")
SAMPLED_BY = ("tests/core/test_limits.py", "tests/core/test_tables.py", "tests/core/test_alarm_counts.py")
"""What a quick run takes its mutants from, and the tests that judge them: the whole suite takes minutes to look on."""

SAMPLE = 25
SEED = 11


@dataclass(frozen=True, slots=True)
class Score:
    """What a suite made of mutants.

    Attributes:
        found: by mutant the test that found it out. survived: mutants that none did and nobody gave a reason for.
        equivalent: those of them with a reason. mistakes: what is wrong with the list of reasons, for people.
    """

    found: Mapping[str, str]
    survived: tuple[str, ...]
    equivalent: Mapping[str, str]
    mistakes: tuple[str, ...]

    @property
    def percent(self) -> float:
        """Share of mutants found out, of all but the equivalent ones."""
        return 100 * len(self.found) / max(1, len(self.found) + len(self.survived))


def mutation_figures(quick: bool) -> Iterator[Figure]:
    """Measure the score: of every mutant, or in a quick run of a few, by chance with a fixed seed."""
    began_s = monotonic()
    every = [mutant for module in MODULES for mutant in mutants(ROOT, f"supervisor/core/{module}.py")]
    few = [mutant for mutant in every if mutant.id.startswith(SAMPLED)]
    chosen = sorted(random.Random(SEED).sample(few, SAMPLE), key=every.index) if quick else every
    result = score(replace(CORE, suite=SAMPLED_BY) if quick else CORE, every, chosen, EQUIVALENT)
    for line in told(result):
        tell(line)
    target, seed = ("report", SEED) if quick else (">= 90", None)
    n = len(result.found) + len(result.survived)
    yield Figure("mutation_score_percent", result.percent, target, n, seed, "core", timing=False)
    listed = len(read_reasons(EQUIVALENT))
    yield Figure("mutation_list_mistakes", len(result.mistakes), "<= 0", listed, None, "core", timing=False)
    yield Figure("mutation_s", monotonic() - began_s, "<= 1200", len(chosen), seed, "real")


def score(project: Project, every: Sequence[Mutant], chosen: Sequence[Mutant], reasons: Path) -> Score:
    """Run the suite over the chosen mutants and hold the result against the list of equivalent ones."""
    given = read_reasons(reasons)
    ids = {mutant.id for mutant in every}
    found, survived = {}, []
    for nth, (name, test) in enumerate(_judged(project, chosen), start=1):
        if test is None:
            survived.append(name)
        else:
            found[name] = test
        if nth % 50 == 0:
            tell(f"  {nth} of {len(chosen)} mutants, {len(survived)} not found out")
    gone = [f"There is no such mutant any more: {name}" for name in given if name not in ids]
    wrong = [f"It is not equivalent, {found[name]} finds it out: {name}" for name in given if name in found]
    empty = [f"It has no reason: {name}" for name, reason in given.items() if not reason.strip()]
    return Score(
        found,
        tuple(name for name in survived if name not in given),
        {name: given[name] for name in survived if name in given},
        (*gone, *wrong, *empty),
    )


def read_reasons(path: Path) -> dict[str, str]:
    """Read why mutants are equivalent, by mutant. Raises ValueError for one that is listed twice."""
    entries = tomllib.loads(path.read_text(encoding="utf-8")).get("equivalent", [])
    reasons = {entry["mutant"]: entry["reason"] for entry in entries}
    if len(reasons) < len(entries):
        raise ValueError(f"{path.name} lists a mutant twice.")
    return reasons


def told(result: Score) -> Iterator[str]:
    """Tell people what is wrong with the list, what survived, and why the rest may."""
    yield from result.mistakes
    yield from (f"survived: {name}" for name in result.survived)
    yield from (f"equivalent: {name}\n    {reason}" for name, reason in result.equivalent.items())


def _judged(project: Project, chosen: Sequence[Mutant]) -> Iterator[tuple[str, str | None]]:
    """Have the mutants judged by a process of its own; yield each with the test that found it out."""
    asked = asdict(project) | {"root": str(project.root), "mutants": [asdict(mutant) for mutant in chosen]}
    command = [sys.executable, "-m", "tests.campaigns.mutant_judge"]
    with subprocess.Popen(command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as judge:
        assert judge.stdin is not None
        assert judge.stdout is not None
        with judge.stdin:
            json.dump(asked, judge.stdin)
        for line in judge.stdout:
            answer = json.loads(line)
            yield answer["id"], answer["found"]
    if judge.returncode != 0:
        raise RuntimeError("The mutants could not be judged; see above.")


def main(modules: Sequence[str]) -> int:
    """Tell the score of some modules, or of all, and their survivors."""
    every = [mutant for module in MODULES for mutant in mutants(ROOT, f"supervisor/core/{module}.py")]
    chosen = [mutant for mutant in every if Path(mutant.path).stem in (modules or MODULES)]
    result = score(CORE, every, chosen, EQUIVALENT)
    for line in told(result):
        print(line)
    print(f"{result.percent:.1f} % of {len(result.found) + len(result.survived)}")
    return 1 if result.mistakes else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
