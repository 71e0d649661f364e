"""What a demo came to: asked, estimated, true, and where the record is; as figures and as sentences."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from supervisor.cli.folding import fold
from supervisor.cli.words import duration
from supervisor.demo.judge import Evidence
from supervisor.units import show

VERSION = 1


PUBLISHED = ("published", "states_missed", "events_lost")
"""Messages that a broker confirmed; states that were overtaken by newer ones while it was away; events dropped."""


def no_account(fault: str | None, problem: str) -> dict[str, Any]:
    """Return the object of `--json` for a demo that came to nothing: the same keys, null but for the problem."""
    nothing = {
        "target": ("thickness_um", "charge_c"),
        "estimate": ("thickness_um", "low_um", "high_um", "charge_c", "charge_low_c", "charge_high_c"),
        "truth": ("thickness_um", "charge_c"),
        "stop": ("overshoot_percent", "off_latency_ms"),
        "published": PUBLISHED,
    }
    return {
        "version": VERSION, "fault": fault, "ok": False, "problems": [problem], "outcome": None,
        **{name: dict.fromkeys(keys) for name, keys in nothing.items()},
        "alarms": [], "speed": None, "process_s": None, "wall_s": None, "record": None,
    }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Account:
    """A demo that has ended.

    Attributes:
        fault: its name; None where nothing went wrong on purpose. problems: what should have happened and did not.
        speed: process seconds per wire second. wall_s: how long the whole demo took. folder: where the record is.
    """

    fault: str | None
    evidence: Evidence
    problems: Sequence[str]
    speed: float
    wall_s: float
    folder: Path

    def figures(self) -> dict[str, Any]:
        """Return the object of `--json`; every figure in the unit its name says, null where it does not apply."""
        operation, true = self.evidence.operation, self.evidence.true
        charge, grown = operation["charge_c"], operation["thickness_um"]
        return {
            "version": VERSION,
            "fault": self.fault,
            "ok": not self.problems,
            "problems": list(self.problems),
            "outcome": self.evidence.supply["state"],
            "target": operation["target"],
            "estimate": {
                "thickness_um": grown["best"], "low_um": grown["low"], "high_um": grown["high"],
                "charge_c": charge["best"], "charge_low_c": charge["low"], "charge_high_c": charge["high"],
            },
            "truth": {"thickness_um": true["thickness_um"], "charge_c": true["charge_c"]},
            "stop": {
                "overshoot_percent": self._overshoot_percent(), "off_latency_ms": self.evidence.off_latency_ms(),
            },
            "published": {key: self._mqtt().get(key) for key in PUBLISHED},
            "alarms": [
                {"name": name, "priority": alarm["priority"], "under": alarm["under"]}
                for name, alarm in self.evidence.alarms().items()
            ],
            "speed": self.speed,
            "process_s": self._process_s(),
            "wall_s": self.wall_s,
            "record": str(self.folder),
        }  # fmt: skip

    def _overshoot_percent(self) -> float | None:
        """How far the true charge went past the target, signed; None where something else ended the operation."""
        if self.evidence.supply["state"] != "complete":
            return None
        target_c = self.evidence.operation["target"]["charge_c"]
        return float((self.evidence.true["charge_c"] / target_c - 1) * 100)

    def _mqtt(self) -> dict[str, Any]:
        """How publishing went; empty where nothing was published."""
        told: dict[str, Any] = self.evidence.last.get("mqtt") or {}
        return told

    def _process_s(self) -> float:
        """Process time from the start of the load to the end of the demo, s."""
        return float(self.evidence.operation["elapsed_s"])

    def sentences(self) -> Iterator[str]:
        """Tell it to a person."""
        status, operation, true = self.evidence.last, self.evidence.operation, self.evidence.true
        units, target, charge = status["units"], operation["target"], operation["charge_c"]
        grown, wanted = operation["thickness_um"], show(target["thickness_um"], "thickness", units)
        yield f"Asked:      {wanted}, {show(target['charge_c'], 'charge', units)}"
        yield (
            f"Estimated:  {show(grown['best'], 'thickness', units)}"
            f" ({show(grown['low'], 'thickness', units)} to {show(grown['high'], 'thickness', units)}),"
            f" {show(charge['best'], 'charge', units)}"
            f" ({show(charge['low'], 'charge', units)} to {show(charge['high'], 'charge', units)})"
        )
        yield (
            f"True:       {show(true['thickness_um'], 'thickness', units)}, {show(true['charge_c'], 'charge', units)},"
            " as the simulators say"
        )
        yield f"Outcome:    {self._outcome()}"
        yield from self._alarms()
        latency_ms = self.evidence.off_latency_ms()
        if latency_ms is not None:
            yield f"Off:        the command reached the supply {latency_ms:,.1f} ms after the decision"
        if self._mqtt():
            sent, missed, lost = (self._mqtt()[key] for key in PUBLISHED)
            yield (
                f"Published:  {sent} messages; while the broker was away {missed} states were overtaken by newer ones"
                f" and {lost} events were lost"
            )
        yield (
            f"Time:       {duration(self._process_s())} of the line's time in {duration(self.wall_s)},"
            f" at {self.speed:g} times its pace"
        )
        yield f"The record: {self.folder}"
        if self.problems:
            yield "This is not what should have happened:"
            yield from (f"  - {problem}" for problem in self.problems)

    def _alarms(self) -> Iterator[str]:
        """Name each alarm that came up by itself, the first one first, with what it brought along."""
        name = "Alarms:"
        for head in sorted(fold(self.evidence.alarms().values()), key=lambda head: head.alarm["since_wall_s"]):
            brought = f", and in consequence {', '.join(one['name'] for one in head.consequences)}"
            yield f"{name:<12}{head.alarm['name']}{brought if head.consequences else ''}"
            name = ""

    def _outcome(self) -> str:
        text = str(self.evidence.supply["state"])
        if self.evidence.operation["why"]:
            text += f" ({self.evidence.operation['why']})"
        text += ", off proven" if self.evidence.supply["off_proven"] else ", off NOT proven"
        overshoot = self._overshoot_percent()
        if overshoot is not None:
            text += f", {overshoot:+.2f} % of the charge from the target"
        return text
