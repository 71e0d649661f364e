"""`ampminder replay`: a journal through the core once more; the same events must give the same actions."""

from __future__ import annotations

import json
from pathlib import Path

from supervisor.records.replay import Difference, replay
from supervisor.service.restore import make_line

SHOWN = 10


def replay_journal(path: Path, *, as_json: bool) -> int:
    """Replay every run of a journal; 0 when nothing differs, 1 when something does. Raises JournalError."""
    result = replay(path, make_line)
    if as_json:
        differences = [
            {"run": d.run, "step": d.step, "event": json.loads(d.event) if d.event.startswith("{") else d.event,
             "expected": d.expected, "got": d.got}
            for d in result.differences
        ]  # fmt: skip
        told = {"version": 1, "runs": len(result.runs), "steps": result.steps, "differing": result.differing}
        print(json.dumps(told | {"differences": differences}))
        return 1 if result.differing else 0
    for run in result.runs:
        print(
            f"run {run.run.id} of line {run.run.line_name}, core {run.run.core_version}: {run.steps} steps, "
            f"{run.differing} differ, {run.lost} were never recorded, {run.skipped} could not be replayed."
        )
    for difference in result.differences[:SHOWN]:
        _show(difference)
    return 1 if result.differing else 0


def _show(difference: Difference) -> None:
    print(f"run {difference.run}, step {difference.step}, on {difference.event}")
    print(f"  recorded: {difference.expected}\n  now:      {difference.got}")
