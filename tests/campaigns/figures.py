"""Figures: what was measured, against which target, as a table for people and one JSON object for programs."""

from __future__ import annotations

import argparse
import json
import math
import re
import sys
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

Value = float | bool


@dataclass(frozen=True, slots=True)
class Figure:
    """One measured figure.

    Attributes:
        name: with its unit. value: a number, or whether something holds.
        target: `<= 0.1`, `>= 100`, `87..93`, `= true` or `report` (which any value meets).
        n: how many measurements stand behind it. seed: of all chance in them; None where there is none.
        time_base: which clock it was measured on, and at which speed.
        timing: whether it depends on how fast this machine is, or needs a large sample to mean anything; such a figure
            decides nothing in a quick run.
    """

    name: str
    value: Value
    target: str
    n: int
    seed: int | None
    time_base: str
    timing: bool = True

    @property
    def ok(self) -> bool:
        """Whether the target is met."""
        return meets(self.value, self.target)


def meets(value: Value, target: str) -> bool:
    """Tell whether a value meets a target. Raises ValueError for a target that cannot be read."""
    if target == "report":
        return True
    if target == "= true":
        return value is True
    if isinstance(value, bool) or not math.isfinite(value):
        return False
    bound = re.fullmatch(r"(<=|>=) (\S+)", target)
    if bound:
        limit = float(bound[2])
        return value <= limit if bound[1] == "<=" else value >= limit
    low, _, high = target.partition("..")
    return float(low) <= value <= float(high)


def percentile(values: Sequence[float], share: float) -> float:
    """Return the smallest value that at least this share of the values do not exceed."""
    ordered = sorted(values)
    return ordered[max(0, math.ceil(share * len(ordered)) - 1)]


def report(campaign: str, figures: Iterable[Figure], *, quick: bool) -> int:
    """Print the table and, as the last line, the JSON object; return the exit code.

    In a quick run, whose samples are small and whose machine may be busy, timings are told and decide nothing.
    """
    found = []
    for figure in figures:
        tell(f"  {figure.name} = {_rounded(figure.value)} ({'ok' if figure.ok else 'MISSED'}, {figure.target})")
        found.append(figure)
    _table(found)
    told = [
        {"name": f.name, "value": _rounded(f.value), "target": f.target, "ok": f.ok}
        | ({"decides": False} if quick and f.timing else {})
        for f in found
    ]
    print(json.dumps({"campaign": campaign, "figures": told}))
    return 0 if all(f.ok for f in found if not (quick and f.timing)) else 1


def _table(figures: list[Figure]) -> None:
    rows = [("figure", "value", "target", "", "n", "seed", "time base")]
    rows += [
        (f.name, f"{_rounded(f.value)}", f.target, "ok" if f.ok else "MISSED", f"{f.n}",
         "-" if f.seed is None else f"{f.seed}", f.time_base)
        for f in figures
    ]  # fmt: skip
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    for row in rows:
        print("  ".join(text.ljust(width) for text, width in zip(row, widths, strict=True)).rstrip())


def _rounded(value: Value) -> Value:
    return value if isinstance(value, bool) or not math.isfinite(value) else float(f"{value:.4g}")


def main(program: str, campaigns: dict[str, Callable[[bool], Iterable[Figure]]]) -> int:
    """Run what the command line names; a campaign takes whether it is to be quick."""
    parser = argparse.ArgumentParser(prog=program)
    parser.add_argument("name", choices=sorted(campaigns))
    parser.add_argument("--quick", action="store_true", help="a small sample; timings are told and decide nothing")
    asked = parser.parse_args()
    return report(asked.name, campaigns[asked.name](asked.quick), quick=asked.quick)


def tell(text: str) -> None:
    """Tell a waiting person how far it is; figures alone go to standard output."""
    print(text, file=sys.stderr, flush=True)
