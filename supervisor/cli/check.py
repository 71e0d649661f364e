"""`ampminder check`: every mistake of a line file at once, or what the line is and what it lacks."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any

from drivers.points import SerialSettings
from supervisor.cli.check_causes import cause_table, causes_told, heaters, latency_told
from supervisor.config.broker import mqtt_doubts
from supervisor.config.fitted import fitted_time_outs, not_fitted
from supervisor.config.latency import trip_latencies
from supervisor.config.least_loss import least_losses
from supervisor.config.load import LineFile, load_line, records_folder
from supervisor.config.metering_told import metering_told
from supervisor.config.mistakes import LineMistakes, Mistake
from supervisor.config.model import ContactTable
from supervisor.config.model_tanks import TankTable
from supervisor.config.off_delay import OffDelay
from supervisor.config.setup import link_settings, worst_off_delays
from supervisor.config.setup_alarms import contact_of
from supervisor.config.stop_effect import stop_effects
from supervisor.config.wiring import wiring
from supervisor.records.exercised import exercised_path, never_exercised, read_exercised
from supervisor.units import System, parse, show

REPORT_VERSION = 1


def check(path: Path, as_json: bool) -> int:
    """Check a line file and print what is wrong, or what it says. Returns the exit code: 0 right, 2 wrong."""
    try:
        line = load_line(path)
    except LineMistakes as wrong:
        print(json.dumps(_wrong(path, wrong.mistakes), indent=2) if as_json else _told(path, wrong.mistakes))
        return 2
    print(json.dumps(_right(line), indent=2) if as_json else "\n".join(_summary(line)))
    return 0


def _told(path: Path, mistakes: tuple[Mistake, ...]) -> str:
    lines = [f"{path}: {len(mistakes)} mistake{'s' if len(mistakes) > 1 else ''}. Nothing can run with it.", ""]
    for mistake in mistakes:
        lines += [f"  {mistake.key_path}", f"    wrong: {mistake.problem}", f"    right: {mistake.right}"]
    return "\n".join(lines)


def _wrong(path: Path, mistakes: tuple[Mistake, ...]) -> dict[str, Any]:
    return {"version": REPORT_VERSION, "ok": False, "file": str(path), "mistakes": [asdict(m) for m in mistakes]}


def _right(line: LineFile) -> dict[str, Any]:
    devices = {
        name: {"link": table.link, "unit": table.unit, "driver": line.profiles[name].driver, "period_s": table.period}
        for name, table in line.document.devices.items()
    }
    delays = {
        name: {
            "total_ms": _ms(delay.total_s),
            "parts": {part: _ms(part_s) for part, part_s in _parts(delay)},
        }
        for name, delay in worst_off_delays(line).items()
    }
    return {
        "version": REPORT_VERSION,
        "ok": True,
        "file": str(line.path),
        "line": line.name,
        "line_hash": line.line_hash,
        "records": str(records_folder(line)),
        "links": {name: {"kind": s.kind, "place": s.place} for name, s in link_settings(line).items()},
        "devices": devices,
        "not_fitted": list(not_fitted(line)),
        "metering": list(metering_told(line)),
        "never_exercised": _never_exercised(line),
        "mqtt": _published(line),
        "worst_off_delays": delays,
        "trip_latencies": {name: round(latency.total_s, 4) for name, latency in trip_latencies(line).items()},
        "causes": causes_told(line),
        "stop_effects": {name: asdict(effect) for name, effect in stop_effects(line).items()},
        "least_losses": {name: asdict(loss) for name, loss in least_losses(line).items()},
        "mistakes": [],
    }


def _summary(line: LineFile) -> Iterator[str]:
    document = line.document
    altitude = show(document.line.altitude, "altitude", line.system)
    yield f"{line.path}: no mistakes."
    yield ""
    yield f"Line {line.name}{f', {document.line.workshop}' if document.line.workshop else ''}; altitude {altitude}."
    yield from _wires(line)
    yield from (f"Tank {name}: {_tank(tank, line)}" for name, tank in document.tanks.items())
    for name, supply in document.supplies.items():
        rated = f"{show(supply.rated_current, 'current', 'metric')}, {show(supply.rated_voltage, 'voltage', 'metric')}"
        cap = show(supply.cap_current, "current", "metric")
        driven = f"output {supply.output}" if supply.output else "knobs only"
        contactor = f", contactor {supply.contactor}" if supply.contactor else ""
        yield f"Supply {name}: tank {supply.tank}, {driven}{contactor}, rated {rated}, capped at {cap}."
    yield from _outputs_and_contacts(line)
    yield from heaters(line)
    yield ""
    yield from cause_table(line)
    yield ""
    yield "Not fitted:"
    yield from (f"  {sentence}" for sentence in not_fitted(line) or ("nothing of what is looked for",))
    for name, time_out in fitted_time_outs(line).items():
        yield f"Fitted: supply {name} switches itself off after {time_out} without traffic."
    for sentence in metering_told(line):
        yield f"Metered: {sentence}"
    yield from _untried(line)
    yield from _publishing(line)
    yield ""
    yield "Worst delay of each off command, first try, from decision to the wire:"
    for name, delay in worst_off_delays(line).items():
        parts = " + ".join(f"{_ms(part_s):g} {part}" for part, part_s in _parts(delay))
        yield f"  {name}: {_ms(delay.total_s):g} ms = {parts}"
    yield ""
    yield from latency_told(line)
    yield ""
    yield "What the pace of readings means for the stop:"
    for name, effect in stop_effects(line).items():
        grown, late = _at_most(effect.thickness_um, line.system), show(effect.late_s, "time", "metric")
        yield (
            f"  {name}: its current is read every {show(effect.period_s, 'time', 'metric')}; a change is known after "
            f"{late} at the latest, and the stop may be {grown} off by it."
        )
    yield ""
    yield "The smallest sudden loss of contact that is told, as a share of a load's area:"
    for name, loss in least_losses(line).items():
        yield (
            f"  {name}: {loss.of_large:.0%} of a load at its capped current, {loss.of_small:.0%} of one at a tenth of "
            f"it; within {show(loss.within_s, 'time', 'metric')}, once settled."
        )


def _at_most(thickness_um: float, system: System) -> str:
    """Show a thickness that may be far too small to matter."""
    least_um = parse("0.1 um" if system == "metric" else "0.001 mil", "thickness")
    below = "less than " if thickness_um < least_um else ""
    return below + show(max(thickness_um, least_um), "thickness", system)


def _outputs_and_contacts(line: LineFile) -> Iterator[str]:
    for name, output in line.document.outputs.items():
        if output.point is not None:
            shown = f", shown by {output.auxiliary}" if output.auxiliary else ""
            shown += f", breaks {output.breaks}" if output.breaks else ""
            role = f"{output.colour} lamp" if output.colour else output.role
            yield f"Output {name}: {role}, {output.device} {output.point}, safe {output.safe}{shown}."
    for name, contact in line.document.contacts.items():
        tank = f" of {contact.tank}" if contact.tank else ""
        closed = _closed(contact, line)
        yield f"Contact {name}: {contact.role}{tank}, {contact.device} {contact.point}, closed {closed}."


def _closed(contact: ContactTable, line: LineFile) -> str:
    """When a contact is closed, in its own words."""
    if contact.role == "button":
        return f"while pressed ({contact.does})"
    if contact.role == "lid" and contact.tank is not None:
        acid = line.document.tanks[contact.tank].role == "anodize"
        return "while the lid is OPEN" if acid else "while the lid is shut"
    proves = contact_of("", contact).proves
    return f"while air moves (proves {proves})" if proves else "when healthy"


def _untried(line: LineFile) -> Iterator[str]:
    untried = _never_exercised(line)
    if untried:
        yield ""
        yield "Not shown to be wired right (ampminder run --watch-only FILE, and then: ampminder exercise NAME):"
        yield from (f"  {name}: {why}" for name, why in untried.items())


def _never_exercised(line: LineFile) -> dict[str, str]:
    trials = read_exercised(exercised_path(records_folder(line), line.name))
    return never_exercised(trials, wiring(line))


def _published(line: LineFile) -> dict[str, Any] | None:
    mqtt = line.document.mqtt
    if mqtt is None:
        return None
    host, port = mqtt.place
    return {"host": host, "port": port, "tls": mqtt.tls, "doubts": list(mqtt_doubts(mqtt, line.folder))}


def _publishing(line: LineFile) -> Iterator[str]:
    published = _published(line)
    if published is not None:
        yield ""
        encrypted = "encrypted, its host name checked" if published["tls"] else "not encrypted"
        yield f"Publishes at {published['host']}:{published['port']}, {encrypted}: ampminder/{line.name}/#"
        yield from (f"  {sentence}" for sentence in published["doubts"])


def _wires(line: LineFile) -> Iterator[str]:
    for link, settings in link_settings(line).items():
        time_out = show(settings.response_time_out_s, "time", "metric")
        speed = f", {settings.baud} baud" if isinstance(settings, SerialSettings) else ""
        yield f"Link {link}: {settings.kind}, {settings.place}{speed}, response time-out {time_out}."
        for name, table in line.document.devices.items():
            if table.link == link:
                period = show(table.period, "time", "metric")
                unit = "" if table.unit is None else f"unit {table.unit}: "
                own = [f"{point} every {show(each, 'time', 'metric')}" for point, each in table.periods.items()]
                read = ", ".join([f"read every {period}", *own])
                yield f"  {unit}{name}, {line.profiles[name].driver}, {read}"


def _tank(tank: TankTable, line: LineFile) -> str:
    limits, system = tank.limits, line.system
    warn, trip = (
        " to ".join(show(end, "temperature", system) for end in ends)
        for ends in ((limits.warn_low, limits.warn_high), (limits.trip_low, limits.trip_high))
    )
    volume = show(tank.volume, "volume", system)
    acid = "" if tank.acid is None else f", acid {show(tank.acid, 'concentration', system)}"
    return f"{tank.role}, {volume}{acid}; warns outside {warn}, trips outside {trip} ({tank.temperature})."


def _parts(delay: OffDelay) -> tuple[tuple[str, float], ...]:
    return (
        ("on the wire already", delay.blocked_s),
        ("quiet", delay.quiet_s),
        ("offs ahead", delay.ahead_s),
        ("its own", delay.own_s),
        ("own work", delay.work_s),
    )


def _ms(seconds: float) -> float:
    return round(seconds * 1000, 1)
