"""Checks of what contacts mean, what lamps show, and what the line file changes in the table of causes."""

from __future__ import annotations

from supervisor.config.mistakes import Told, nearest
from supervisor.config.model import ContactTable
from supervisor.config.model_alarms import InterlockTable
from supervisor.config.setup_alarms import PROVES
from supervisor.config.shape import known
from supervisor.config.wire import View
from supervisor.core.effects import Effect, Row
from supervisor.core.interlocks import CAUSES
from supervisor.units import show

OF_A_TANK = {
    "lid": "an acid tank's must be open over current, a hot tank's shut",
    "level": "it is some tank's liquid that it shows",
}


def alarms(view: View, told: Told) -> None:
    """Run every check of contacts' meaning, lamps, contactors and interlocks."""
    for name, contact in view.document.contacts.items():
        _meaning(name, contact, told)
    _shown(view, told)
    for cause, table in view.document.interlocks.items():
        if cause in CAUSES:
            _changed(cause, table, CAUSES[cause], view, told)
        else:
            told(("interlocks", cause), f"there is no cause {cause!r}", nearest(cause, CAUSES, ""))


def _meaning(name: str, contact: ContactTable, told: Told) -> None:
    where = ("contacts", name)
    if not known(contact.role):
        return
    if contact.role == "button" and contact.does is None:
        told((*where, "does"), "this key is missing", 'add does = "silence" or "acknowledge" or "test"')
    if contact.role != "button" and contact.does is not None:
        told((*where, "does"), f"a contact of {contact.role} asks for nothing", "remove it, or correct its role")
    if contact.role not in PROVES and contact.proves is not None:
        told((*where, "proves"), f"a contact of {contact.role} proves no moving air", "remove it, or correct its role")
    if contact.role in OF_A_TANK and contact.tank is None:
        told((*where, "tank"), f"this key is missing: {OF_A_TANK[contact.role]}", "name the tank it belongs to")


def _shown(view: View, told: Told) -> None:
    """Each colour is one lamp, so that what a lamp shows is one thing."""
    seen: dict[str, str] = {}
    for name, output in view.document.outputs.items():
        if output.colour is not None and known(output.role) and output.role != "lamp":
            told(("outputs", name, "colour"), f"a {output.role} has none", "remove it, or correct its role")
        elif output.colour is not None:
            if output.colour in seen:
                problem = f"lamp {seen[output.colour]} is {output.colour} already"
                told(("outputs", name, "colour"), problem, "give each lamp a colour of its own")
            seen.setdefault(output.colour, name)
        if output.breaks is not None and known(output.role) and output.role != "contactor":
            told(("outputs", name, "breaks"), f"a {output.role} breaks nothing", "remove it, or correct its role")


def _changed(cause: str, table: InterlockTable, row: Row, view: View, told: Told) -> None:
    """A file may make a cause act more and sooner, within what its row allows."""
    where = ("interlocks", cause)
    if table.effect is not None and Effect[table.effect.upper()] < row.least:
        least = row.least.name.lower()
        told((*where, "effect"), f"{table.effect!r} is too weak for {cause}", f"{least} or stronger")
    if row.about == "channel" and (table.effect not in {None, "warn"} or table.also):
        told(where, f"{cause} hangs on a date, and clocks can be set: it switches nothing", "remove effect and also")
    if table.delay is not None and table.delay > row.longest_s:
        longest = show(row.longest_s, "time", view.system)
        right = f"at most {longest}" if row.longest_s else "remove it: this cause counts at once"
        told((*where, "delay"), f"{show(table.delay, 'time', view.system)} is too long for {cause}", right)
