"""What a line lacks of what watches and tells: contacts, lamps, horn, controls; and what its file asks for in vain."""

from __future__ import annotations

from collections.abc import Iterator

from supervisor.config.causes import causes_of_line, fitted_also
from supervisor.config.load import LineFile
from supervisor.config.model import ContactTable
from supervisor.config.setup import line_setup
from supervisor.config.setup_alarms import contact_of


def around_tank(tank: str, line: LineFile) -> Iterator[str]:
    """What is not seen of a tank under current."""
    over = [contact for contact in line.document.contacts.values() if contact.tank in {None, tank}]
    roles, proofs = {contact.role for contact in over}, {_proves(contact) for contact in over}
    if "lid" not in roles:
        yield (
            f"Tank {tank} has no lid contact: nobody sees a lid shut over current, under which hydrogen gets explosive "
            "within minutes."
        )
    if "level" not in roles:
        yield f"Tank {tank} has no level contact: nobody sees parts, cathodes or the thermometer in the air."
    if "ventilation" not in proofs:
        yield f"Nothing proves the ventilation of tank {tank}: current goes on though no fumes are drawn off."
    if "agitation" not in proofs:
        yield f"Nothing proves the agitation of tank {tank}: in still acid parts burn within minutes."


def _proves(contact: ContactTable) -> str:
    return contact_of("", contact).proves


def of_outputs(line: LineFile) -> Iterator[str]:
    """Contactors nobody sees or knows the kind of, heaters in unknown liquid, and what no control switches."""
    tanks = line.document.tanks
    controlled = {
        table.output for tank in tanks.values() for table in (tank.heating, tank.cooling) if table is not None
    }
    for name, tank in tanks.items():
        if tank.heating is not None and tank.heating.level is None:
            yield f"Heater {tank.heating.output} of tank {name} has no level contact: one in the air sets fire."
    for name, output in line.document.outputs.items():
        if output.role == "contactor" and output.auxiliary is None:
            yield f"Contactor {name} has no auxiliary contact, so nobody sees whether it opened: fit one."
        if output.role == "contactor" and output.breaks is None:
            yield (
                f"Contactor {name}: the file does not say what it breaks. One rated for alternating current does not "
                f'break direct current: look, then write breaks = "mains" or "direct current".'
            )
        if output.role in {"heater", "cooling"} and name not in controlled:
            control = "heating" if output.role == "heater" else "cooling"
            yield f"Output {name} stays {output.safe}: no tank has a table {control} that names it."
        if output.role == "lamp" and output.colour is None:
            yield f"Lamp {name} shows nothing: the file does not say its colour."


def of_signals(line: LineFile) -> Iterator[str]:
    """What would call a person, and what nobody would miss."""
    roles = {output.role for output in line.document.outputs.values()}
    if "horn" not in roles:
        yield "No horn is fitted: an alarm is heard nowhere."
    if "lamp" not in roles:
        yield "No lamp is fitted: an alarm is seen only on a screen."
    document = line.document
    read = {table.device for table in document.channels.values()}
    read |= {table.device for table in document.contacts.values()}
    of_supplies = {supply.device for supply in document.supplies.values()}
    for device in document.devices:
        if device not in read | of_supplies:
            yield f"Nothing is read of device {device}: until it is told something nobody sees that it does not answer."


def of_additions(line: LineFile) -> Iterator[str]:
    """What the file adds to causes for which there is nothing here to act on."""
    setup = line_setup(line)
    subjects = causes_of_line(setup)
    for cause, table in line.document.interlocks.items():
        if cause not in subjects:
            yield f"Cause {cause} is changed by the file and can never be there: what shows it is not fitted."
        for also in sorted(set(table.also) - fitted_also(setup, subjects.get(cause, ()))):
            yield f"Cause {cause} is also to do {also!r}, and nothing it concerns has that."
