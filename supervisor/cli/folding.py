"""Alarms as a person wants them: each cause with its consequences under it, what acts now before all else."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from supervisor.core.alarms import HIDDEN, UNANSWERED

Status = dict[str, Any]

_URGENCY = ("high", "medium", "low")


@dataclass(frozen=True, slots=True)
class Head:
    """An alarm that stands by itself, as the service tells it, and those that it brought along."""

    alarm: Status
    consequences: tuple[Status, ...] = ()

    @property
    def hidden(self) -> bool:
        """Whether it is shelved, out of service or suppressed by design."""
        return self.alarm["state"] in HIDDEN

    @property
    def acts(self) -> bool:
        """Whether its cause, or that of a consequence, is there now."""
        return any(one["active"] for one in (self.alarm, *self.consequences))

    @property
    def unanswered(self) -> bool:
        """Whether nobody has acknowledged it, or one of its consequences."""
        return any(one["state"] in UNANSWERED for one in (self.alarm, *self.consequences))

    @property
    def brought(self) -> str:
        """How many consequences it has, in words; "" where it has none."""
        count = len(self.consequences)
        return f"+{count} consequence{'s' * (count > 1)}" if count else ""


def fold(alarms: Iterable[Status]) -> list[Head]:
    """Put consequences under their heads, the most urgent and newest head first.

    What is hidden stands by itself, whoever brought it: it must be found by whoever looks for it. So does one whose
    head is not there any more.
    """
    known = {alarm["name"]: alarm for alarm in alarms}
    folded = {
        name for name, alarm in known.items() if alarm["under"] in known and alarm["state"] not in HIDDEN
    }  # fmt: skip
    heads = (
        Head(alarm, tuple(known[one] for one in sorted(folded) if known[one]["under"] == name))
        for name, alarm in known.items()
        if name not in folded
    )
    return sorted(heads, key=_urgency)


def _urgency(head: Head) -> tuple[bool, int, bool, float]:
    alarm = head.alarm
    return not head.acts, _URGENCY.index(alarm["priority"]), not head.unanswered, -alarm["since_wall_s"]


def hidden_text(heads: Sequence[Head]) -> str:
    """Tell how many alarms a person has hidden; "" where none is. What is suppressed by design is nobody's doing."""
    counts = {
        state: sum(head.alarm["state"] == state for head in heads) for state in ("shelved", "out of service")
    }  # fmt: skip
    return ", ".join(f"{count} {state}" for state, count in counts.items() if count)


def told(heads: Iterable[Head]) -> Iterator[Head]:
    """The heads that are told: all that are not hidden."""
    return (head for head in heads if not head.hidden)


def local_time(wall_s: float, *, dated: bool) -> str:
    """Show wall time, UTC s, as clocks on the wall do here."""
    moment = datetime.fromtimestamp(wall_s, UTC).astimezone()
    return f"{moment:%Y-%m-%d %H:%M:%S}" if dated else f"{moment:%H:%M:%S}"


def moment_text(wall_s: float, now_wall_s: float) -> str:
    """Show a moment, with its date where that is a day away or more."""
    return local_time(wall_s, dated=abs(now_wall_s - wall_s) >= 86400.0)
