"""What people and programs see of a probe."""

from __future__ import annotations

import json
from collections.abc import Collection, Sequence
from dataclasses import asdict

from supervisor.cli.probe_survey import Found

VERSION = 1


def columns(rows: Sequence[Sequence[str]], right_aligned: Collection[int] = ()) -> list[str]:
    """Rows of cells as lines whose columns stand under each other."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return [
        "  ".join(
            cell.rjust(width) if place in right_aligned else cell.ljust(width)
            for place, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]


def as_text(found: Found) -> str:
    """All that was found, as columns and sentences for a person."""
    cells = [("device", "name", "value", "unit", "round trip", "registers")]
    cells += [
        (row.device, row.name, row.shown, row.unit, _trip(row.round_trip_ms), hexadecimal(row.registers))
        for row in found.rows
    ]
    lines = columns(cells, {2, 4}) if found.rows else []
    if found.failures:
        lines.append(f"{len(found.failures)} went wrong:")
        lines += [f"  {failure.device or failure.link}: {failure.text}" for failure in found.failures]
    lines += [f"Note: {note}" for note in found.notes]
    return "\n".join(lines)


def as_object(found: Found) -> str:
    """All that was found, as one JSON object for a program."""
    rows = [{key: value for key, value in asdict(row).items() if key != "shown"} for row in found.rows]
    failures = [asdict(failure) for failure in found.failures]
    return json.dumps({"version": VERSION, "points": rows, "failures": failures, "notes": found.notes})


def hexadecimal(registers: Collection[int]) -> str:
    """Registers as a manual writes them."""
    return " ".join(f"0x{register:04X}" for register in registers)


def _trip(milliseconds: float | None) -> str:
    return "unasked" if milliseconds is None else f"{milliseconds:.1f} ms"
