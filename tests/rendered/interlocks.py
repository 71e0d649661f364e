"""The table of docs/interlocks.md, from the table of causes itself."""

from __future__ import annotations

from collections.abc import Iterator

from supervisor.core.effects import Row
from supervisor.core.interlocks import CAUSES

HEAD = """\
# Causes and effects

Written by `python -m tests.rendered` from the tables in `supervisor/core/rows_of_*.py`; a test compares it with them.

Everything that can go wrong is a row: what it does to the operation under a supply, what else it switches off, and what
a person is told. `ampminder check FILE` prints the rows that one line can have, with what that file changes.

## Contacts

A contact is closed when all is well, so that a broken wire counts as the worst. What that means differs by its role:

| contact | closed while | open, or its wire broken |
|---|---|---|
| lid of an acid tank | the lid is **open**: under a shut one hydrogen gets explosive within minutes | `lid-shut` |
| lid of any other tank | the lid is shut | `lid-open` |
| air flow, or what `proves = "ventilation"` | air moves in the duct: not the relay, the air | `ventilation-lost` |
| air pressure, or what `proves = "agitation"` | the blower's air comes | `agitation-lost`, `agitation-long-lost` |
| level | liquid covers parts, heater and thermometer | `level-low` |
| guard | it is shut | `guard-open` |
| emergency stop | it is released; the stop itself cuts the mains, this is a copy of it | `emergency-stop` |
| auxiliary contact | its contactor is closed | looked at when that was told: `contactor-dropped`, `contactor-failed` |
| button | it is **pressed** | - |

A contact that names a tank acts on that tank alone; one that names none acts on the whole line. What has not been read
for too long counts as open. No operation starts while one that could hold it is open, whatever the row's delay.

## Effects

- **warn** tells a person and switches no operation off.
- **hold** switches the output off; the load waits for a person, who resets the alarm and restarts.
- **stop** switches it off and ends the load. **abort** does so too, also where a stop is under way, and ends it as a
  fault.
- **heater off** and **contactor open** come beside that: the heater of the tank concerned, the contactor of the supply.

The strongest effect of all causes that stand decides; of equals the first in the table gives its name. Whatever
switches something off stays until its cause is gone and a person has reset it. No operation goes on by itself.

**First-out**: where one cause brings others along, the first is told and the others are folded under it. They act all
the same.

**Shelving an alarm, or taking it out of service, silences it and nothing else**: its cause goes on switching off.

A cause counts after its delay; one that counts **only with current** is suppressed by design while none flows.

## What a line file may change

    [interlocks.agitation-lost]
    effect = "hold"                # never weaker than the row's least
    also = ["contactor open"]      # beside what the row says; nothing is taken away
    delay = "10 s"                 # at most the row's longest

`ampminder check` refuses what is too weak or too slow. The software's cut is additional to independent cut-outs in
hardware (a heater's own, the emergency stop's), which must be fitted.

## The table
"""

COLUMNS = ("cause", "about", "counts", "effect", "at least", "also", "after", "at most")


def interlocks_text() -> str:
    """The whole document."""
    return "\n".join((HEAD, *_table(), "", *_told())) + "\n"


def _table() -> Iterator[str]:
    yield f"| {' | '.join(COLUMNS)} |"
    yield "|" + "---|" * len(COLUMNS)
    for cause, row in CAUSES.items():
        also, least, most = ", ".join(sorted(row.also)), row.least.name.lower(), _time(row.longest_s)
        yield (
            f"| [{cause}](#{cause}) | {row.about} | {row.when} | {row.effect.name.lower()} | {least} | {also or '-'} "
            f"| {_time(row.on_delay_s)} | {most} |"
        )


def _time(delay_s: float) -> str:
    if not delay_s:
        return "at once"
    return f"{delay_s:g} s" if delay_s < 120 else f"{delay_s / 60:g} min"


def _told() -> Iterator[str]:
    yield "## What a person is told"
    yield ""
    yield "SUBJECT is the supply, tank, contact, device, output or channel it is about."
    for cause, row in CAUSES.items():
        yield ""
        yield from _entry(cause, row)


def _entry(cause: str, row: Row) -> Iterator[str]:
    what, follows, first = row.told("SUBJECT", second_means=True)
    yield f"### {cause}"
    yield ""
    yield f"- {what}"
    yield f"- What follows: {follows}"
    yield f"- First: {first}"
    if row.by_hand:
        yield f"- First, where nothing else can break the circuit: {row.by_hand.format(subject='SUBJECT')}"
    yield f"- Time: {row.time}"
    yield f"- Priority {row.priority}; {_stays(row)}."
    if row.brings:
        yield f"- Brings along: {', '.join(row.brings)}."


def _stays(row: Row) -> str:
    stays = "stays until it is gone and reset" if row.latches(row.standard) else "goes with its cause"
    gone = f", which must be gone for {_time(row.off_delay_s)}" if row.off_delay_s else ""
    suspect = "; the load is marked suspect" if row.suspect else ""
    return f"{stays}{gone}{suspect}{'' if row.shelvable else '; never shelved'}"
