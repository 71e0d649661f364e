"""From what the line file says of contacts, interlocks and alarms to what the core takes."""

from __future__ import annotations

from supervisor.config.model import ContactTable, LineDocument
from supervisor.config.model_alarms import InterlockTable
from supervisor.core.effects import Effect, Interlock
from supervisor.core.interlocks import CAUSES
from supervisor.core.setup import AlarmSetup, ContactSetup, Proof, VentilationSetup

PROVES: dict[str, Proof] = {"air flow": "ventilation", "air pressure": "agitation"}
"""What moving air proves where the file says nothing: a fan's duct has a flow, a blower's hose a pressure."""


def interlocks_of(document: LineDocument) -> dict[str, Interlock]:
    """What every cause does on this line: the standard table, and over it what the file says."""
    nothing = InterlockTable()
    return {cause: _merged(cause, document.interlocks.get(cause, nothing)) for cause in CAUSES}


def _merged(cause: str, table: InterlockTable) -> Interlock:
    """What a file adds is beside what the table says, never in its place."""
    standard = CAUSES[cause].standard
    return Interlock(
        effect=standard.effect if table.effect is None else Effect[table.effect.upper()],
        also=standard.also | frozenset(table.also),
        on_delay_s=standard.on_delay_s if table.delay is None else table.delay,
        off_delay_s=standard.off_delay_s,
    )


def contact_of(name: str, table: ContactTable) -> ContactSetup:
    """One contact, read on the channel of its own name."""
    proves = table.proves or PROVES.get(table.role, "")
    return ContactSetup(name, table.role, name, table.tank or "", proves, table.does or "")


def alarms_of(document: LineDocument) -> AlarmSetup:
    """How alarms are told."""
    table = document.alarms
    return AlarmSetup(table.longest_shelving, table.again_high, table.again_medium)


def ventilation_of(document: LineDocument) -> VentilationSetup:
    """How long fumes are drawn off before current and after it."""
    return VentilationSetup(document.ventilation.before, document.ventilation.after)
