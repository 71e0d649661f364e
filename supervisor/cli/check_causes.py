"""What `check` tells of causes and their effects, of heaters, and of the time from a limit crossed to off."""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import wrap
from typing import Any

from supervisor.config.causes import causes_of_line, fitted_also
from supervisor.config.latency import trip_latencies
from supervisor.config.load import LineFile
from supervisor.config.model_tanks import HeatingTable
from supervisor.config.setup import line_setup
from supervisor.config.setup_tanks import attended_s
from supervisor.core.interlocks import CAUSES
from supervisor.core.setup import LineSetup
from supervisor.units import show

WIDTH = 120
HEAD = ("cause", "effect", "also", "after", "of")

WARN_LIMITS = frozenset({"bath-low", "bath-high"})

_Row = tuple[str, str, str, str, str]


def cause_table(line: LineFile) -> Iterator[str]:
    """The cause x effect table of a line, only what it can have, at most 120 columns wide."""
    setup = line_setup(line)
    rows = [_row(setup, cause, subjects) for cause, subjects in causes_of_line(setup).items()]
    widths = [max(len(row[column]) for row in (HEAD, *rows)) for column in range(4)]
    yield "What each cause does here (docs/interlocks.md tells them in full):"
    for row in (HEAD, *rows):
        start = "  " + "  ".join(cell.ljust(width) for cell, width in zip(row[:4], widths, strict=True)) + "  "
        first, *more = wrap(row[4], WIDTH - len(start), break_on_hyphens=False)
        yield (start + first).rstrip()
        yield from (" " * len(start) + text for text in more)
    yield "  * counts only with current; ! as this file has it. Shelving an alarm takes away none of this."


def _row(setup: LineSetup, cause: str, subjects: tuple[str, ...]) -> _Row:
    row, interlock = CAUSES[cause], setup.interlocks[cause]
    marks = ("*" if row.when == "with current" else "") + ("!" if interlock != row.standard else "")
    also = ", ".join(sorted(interlock.also & fitted_also(setup, subjects)))
    # A tank's own delay is before the table's: it is its limits that wait.
    waits = [setup.tanks[tank].band.delay_s for tank in subjects] if cause in WARN_LIMITS else [0.0]
    after = sorted({interlock.on_delay_s + wait_s for wait_s in waits})
    told = ", ".join(show(delay_s, "time", "metric") if delay_s else "at once" for delay_s in after)
    return f"{cause} {marks}".strip(), interlock.effect.name.lower(), also or "-", told, ", ".join(subjects)


def causes_told(line: LineFile) -> list[dict[str, Any]]:
    """The same for programs."""
    setup = line_setup(line)
    return [
        {
            "cause": cause,
            "effect": setup.interlocks[cause].effect.name.lower(),
            "also": sorted(setup.interlocks[cause].also & fitted_also(setup, subjects)),
            "delay_s": setup.interlocks[cause].on_delay_s,
            "when": CAUSES[cause].when,
            "subjects": list(subjects),
        }
        for cause, subjects in causes_of_line(setup).items()
    ]


def heaters(line: LineFile) -> Iterator[str]:
    """Every heater that is controlled, how, and what must be fitted beside it."""
    for name, tank in line.document.tanks.items():
        if tank.heating is not None:
            yield _heater(name, tank.heating, line)
            yield "  The software's cut is additional to an independent cut-out in hardware, which must be fitted."


def _heater(tank: str, heating: HeatingTable, line: LineFile) -> str:
    ends = (show(heating.hold + half * heating.band / 2, "temperature", line.system) for half in (-1, 1))
    level = f"level {heating.level}" if heating.level else f"NO LEVEL CONTACT ({heating.without_level})"
    rests_s = attended_s(heating)
    resting = (
        "heats UNATTENDED too"
        if rests_s is None
        else f"rests {show(rests_s, 'time', 'metric')} after a person's last request"
    )
    return f"Heater {heating.output} keeps tank {tank} from {' to '.join(ends)}; {level}; {resting}."


def latency_told(line: LineFile) -> Iterator[str]:
    """The time from a bath beyond its trip limit to off, with its parts."""
    yield "Longest time from a bath beyond its trip limit to off on the wire, while every device answers:"
    for tank, latency in trip_latencies(line).items():
        total, period, off = (
            show(time_s, "time", "metric") for time_s in (latency.total_s, latency.period_s, latency.off_s)
        )
        waits = show(latency.filter_s, "time", "metric") if latency.filter_s else "0"
        yield f"  {tank}: {total} = {period} between readings + {waits} filter + {off} off delay"
