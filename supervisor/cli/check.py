"""`ampminder check`: every mistake of a line file at once, or what the line is and what it lacks."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any

from supervisor.config.broker import mqtt_doubts
from supervisor.config.fitted import fitted_time_outs, not_fitted
from supervisor.config.load import LineFile, load_line, records_folder
from supervisor.config.mistakes import LineMistakes, Mistake
from supervisor.config.model import TankTable
from supervisor.config.off_delay import OffDelay
from supervisor.config.setup import link_settings, worst_off_delays
from supervisor.units import show

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
            "parts": {words: _ms(part_s) for words, part_s in _parts(delay)},
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
        "links": {name: {"port": s.port, "baud": s.baud} for name, s in link_settings(line).items()},
        "devices": devices,
        "not_fitted": list(not_fitted(line)),
        "mqtt": _published(line),
        "worst_off_delays": delays,
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
        yield f"Supply {name}: tank {supply.tank}, output {supply.output}, rated {rated}, capped at {cap}."
    yield ""
    yield "Not fitted:"
    yield from (f"  {sentence}" for sentence in not_fitted(line) or ("nothing of what is looked for",))
    for name, time_out in fitted_time_outs(line).items():
        yield f"Fitted: supply {name} switches itself off after {time_out} without traffic."
    yield from _publishing(line)
    yield ""
    yield "Worst delay of each off command, first try, from decision to the wire:"
    for name, delay in worst_off_delays(line).items():
        parts = " + ".join(f"{_ms(part_s):g} {words}" for words, part_s in _parts(delay))
        yield f"  {name}: {_ms(delay.total_s):g} ms = {parts}"


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
        yield f"Link {link}: {settings.port}, {settings.baud} baud, response time-out {time_out}."
        for name, table in line.document.devices.items():
            if table.link == link:
                period = show(table.period, "time", "metric")
                yield f"  unit {table.unit}: {name}, {line.profiles[name].driver}, read every {period}"


def _tank(tank: TankTable, line: LineFile) -> str:
    limits, system = tank.limits, line.system
    warn, trip = (
        " to ".join(show(end, "temperature", system) for end in ends)
        for ends in ((limits.warn_low, limits.warn_high), (limits.trip_low, limits.trip_high))
    )
    acid, volume = show(tank.acid, "concentration", system), show(tank.volume, "volume", system)
    return f"{tank.role}, {volume}, acid {acid}; warns outside {warn}, trips outside {trip} ({tank.temperature})."


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
