"""Checks of outputs and contacts: what switches them, their safe state, and what belongs to what."""

from __future__ import annotations

from supervisor.config.mistakes import Told, nearest
from supervisor.config.model import OutputTable
from supervisor.config.profile import OPEN_AND_CLOSED
from supervisor.config.shape import known
from supervisor.config.wire import View

SAFE_STATES: dict[str, tuple[str, ...]] = {"supply output": ("off",), "contactor": ("open",), "heater": ("off",)}
"""What is safe of what can do harm; of all else the line file decides between off and on."""


def outputs_and_contacts(view: View, told: Told) -> None:
    """Run every check of outputs and contacts."""
    _supply_outputs(view, told)
    for name, output in view.document.outputs.items():
        _safe(name, output, view, told)
        _switched(name, output, view, told)
    _contactors(view, told)
    _contacts(view, told)
    _one_place_each(view, told)


def _supply_outputs(view: View, told: Told) -> None:
    used = {supply.output for supply in view.document.supplies.values() if supply.output is not None}
    unknown = any(supply.control is None for supply in view.document.supplies.values())
    for name, output in view.document.outputs.items():
        if output.role == "supply output" and name not in used and not unknown:
            told(("outputs", name), "no supply has this output", "name it as the output of a supply, or remove it")
    for name, supply in view.document.supplies.items():
        named = view.document.outputs.get(supply.output or "")
        if supply.control == "remote" and named is not None and named.role not in {"supply output", None}:
            told(("supplies", name, "output"), f"{supply.output!r} is a {named.role}", "name its supply output")


def _safe(name: str, output: OutputTable, view: View, told: Told) -> None:
    if not known(output.role, output.safe):
        return
    fumes = output.role == "fan" and _over_current(output, view)
    right = ("on",) if fumes else SAFE_STATES.get(output.role, ("off", "on"))
    if output.safe not in right:
        words = " or ".join(f'safe = "{word}"' for word in right)
        problem = f"{output.safe!r} is no safe state of a {output.role}"
        if fumes:
            problem += (
                " over a tank with a supply: acid mist and hydrogen must be drawn off also when nobody supervises"
            )
        told(("outputs", name, "safe"), problem, f"write {words}")


def _over_current(output: OutputTable, view: View) -> bool:
    """Whether it belongs to a tank that current can flow in; one that names no tank belongs to all."""
    return output.tank is None or any(supply.tank == output.tank for supply in view.document.supplies.values())


def _switched(name: str, output: OutputTable, view: View, told: Told) -> None:
    """A supply output is its driver's own business; everything else is switched by a point of a module."""
    where = ("outputs", name, "point")
    if output.role == "supply output":
        if output.point is not None:
            told(where, "a supply's driver knows its own point", "remove it")
        return
    if output.point is None:
        told(where, "this key is missing", "name the point of its device that switches it")
        return
    profile = view.profiles.get(output.device)
    if profile is None or profile.role != "module" or output.point in profile.broken:
        return
    switches = profile.switches()
    if output.point not in switches:
        kind = "is no switch" if output.point in profile.points else "is not there"
        right = nearest(output.point, switches, 'give the point states { 0 = "off", 1 = "on" }')
        told(where, f"point {output.point!r} of device {output.device!r} {kind}", right)


def _contactors(view: View, told: Told) -> None:
    wanted = {supply.contactor for supply in view.document.supplies.values() if supply.contactor is not None}
    for name, output in view.document.outputs.items():
        if output.role == "contactor" and name not in wanted:
            told(("outputs", name), "no supply has this contactor", "name it as the contactor of a supply")
        if output.role not in {"contactor", None} and output.auxiliary is not None:
            told(("outputs", name, "auxiliary"), f"a {output.role} has none", "remove it, or correct its role")
    named = {output.auxiliary for output in view.document.outputs.values()}
    for name, contact in view.document.contacts.items():
        if contact.role == "auxiliary contact" and name not in named:
            told(("contacts", name), "no contactor has this auxiliary contact", "name it as auxiliary of a contactor")


def _contacts(view: View, told: Told) -> None:
    for name, contact in view.document.contacts.items():
        profile = view.profiles.get(contact.device)
        if profile is None or not known(contact.point) or contact.point in profile.broken:
            continue
        point = profile.points.get(contact.point)
        if point is None or point.states != OPEN_AND_CLOSED:
            kind = "is not there" if point is None else "is no contact"
            contacts = (named for named, one in profile.points.items() if one.states == OPEN_AND_CLOSED)
            right = nearest(contact.point, contacts, 'give the point states { 0 = "open", 1 = "closed" }')
            told(("contacts", name, "point"), f"point {contact.point!r} of device {contact.device!r} {kind}", right)


def _one_place_each(view: View, told: Told) -> None:
    for kind, tables in (("outputs", view.document.outputs), ("contacts", view.document.contacts)):
        seen: dict[tuple[str, str], str] = {}
        for name, table in tables.items():
            if table.point is None or not known(table.device):
                continue
            place = (table.device, table.point)
            if place in seen:
                told((kind, name, "point"), f"{kind}.{seen[place]} has this point already", "give each its own")
            seen.setdefault(place, name)
