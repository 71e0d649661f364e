"""What was seen when outputs were exercised: kept beside the journal, so that `check` can tell what never was."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Literal, get_args

Seen = Literal["as named", "something else", "nothing"]
"""What a person saw: the output that was named did what it should; another did, or the wrong way round; nothing did."""

VERSION = 1


@dataclass(frozen=True, slots=True)
class Exercised:
    """One output's newest trial.

    Attributes:
        seen: what was seen. wired: how it was wired then; a trial says nothing of another wiring.
        who: user. wall_s: when, UTC s.
    """

    seen: Seen
    wired: str
    who: str
    wall_s: float


def exercised_path(records: Path, line: str) -> Path:
    """Where a line's trials are kept."""
    return records / f"{line}.exercised.json"


def read_exercised(path: Path) -> dict[str, Exercised]:
    """Return the newest trial of each output; none where nothing is kept or what is there cannot be read."""
    try:
        found: Any = json.loads(path.read_text(encoding="utf-8"))
        outputs = found["outputs"] if found["version"] == VERSION else {}
        return {name: _trial(entry) for name, entry in outputs.items()}
    except (OSError, ValueError, TypeError, KeyError, AttributeError):
        return {}


def keep_exercised(path: Path, output: str, trial: Exercised) -> None:
    """Keep one more trial. The file is replaced whole, so that it is never half written. Raises OSError."""
    kept = {**read_exercised(path), output: trial}
    text = json.dumps({"version": VERSION, "outputs": {name: asdict(each) for name, each in kept.items()}}, indent=2)
    path.parent.mkdir(parents=True, exist_ok=True)
    written = path.with_suffix(".new")
    with written.open("w", encoding="utf-8") as file:
        file.write(text + "\n")
        file.flush()
        os.fsync(file.fileno())
    written.replace(path)


def never_exercised(trials: Mapping[str, Exercised], wired: Mapping[str, str]) -> dict[str, str]:
    """Return every output that no trial vouches for, with why, for people. `wired` maps outputs to their wiring now."""
    why: dict[str, str] = {}
    for name, now in wired.items():
        trial = trials.get(name)
        if trial is None:
            why[name] = "never exercised"
        elif trial.wired != now:
            why[name] = "wired otherwise since it was exercised"
        elif trial.seen != "as named":
            why[name] = f"exercised, and what was seen was {trial.seen}"
    return why


def _trial(entry: Any) -> Exercised:
    if entry["seen"] not in get_args(Seen):
        raise ValueError(entry["seen"])
    return Exercised(entry["seen"], str(entry["wired"]), str(entry["who"]), float(entry["wall_s"]))
