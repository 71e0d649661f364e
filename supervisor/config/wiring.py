"""How each switched output is wired, in one line: a trial of it says nothing once that has changed."""

from __future__ import annotations

from drivers.points import Field, Point
from drivers.registers import Register
from supervisor.config.load import LineFile
from supervisor.config.setup import link_settings


def wiring(line: LineFile) -> dict[str, str]:
    """Every output that is no supply's, by name: where its link is, unit and point as on the wire, its safe state."""
    places = {name: settings.place for name, settings in link_settings(line).items()}
    wired = {}
    for name, output in line.document.outputs.items():
        if output.point is not None:
            device = line.document.devices[output.device]
            unit = "" if device.unit is None else f", unit {device.unit}"
            point = line.profiles[output.device].points[output.point]
            wired[name] = f"{places[device.link]}{unit}, {_on_the_wire(point)}, safe {output.safe}"
    return wired


def _on_the_wire(point: Point) -> str:
    words = " ".join(f"{raw}={word}" for raw, word in sorted(point.states.items()))
    if isinstance(point, Register):
        return f"{point.table} {point.address} {words}"
    label = point.label or point.name if isinstance(point, Field) else point.name
    return f"{label} {words}"
