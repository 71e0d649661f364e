"""Checks across the tables of a line file: names, links, devices, channels and outputs."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping

from drivers.modbus_frames import frame_gap_s
from drivers.points import Point
from supervisor.config.checks_trade import trade
from supervisor.config.mistakes import nearest
from supervisor.config.model import ChannelTable
from supervisor.config.off_delay import SLOW_OFF_S, longest_exchange_s
from supervisor.config.profile import UNIT_KINDS, Told, parse_range
from supervisor.config.shape import known
from supervisor.config.wire import View, links_of, off_delays_of, port_path
from supervisor.units import System, UnitMistake, parse_accuracy, show

AUTOMATIC_CHANNELS = {
    "current": "current",
    "voltage": "voltage",
    "output-state": "output",
    "mode": "mode",
    "set-current": "set_current",
    "set-voltage": "set_voltage",
}
"""End of a supply channel's name (after the supply's own and a hyphen), by the point it is read from."""


def across(view: View, told: Told) -> None:
    """Run every check; mistakes go to `told`, and a check that lacks what it needs is silent."""
    for check in (_not_empty, _links, _addresses, _names, _outputs, _channels, _wire_times, _off_delays, trade):
        check(view, told)


def _not_empty(view: View, told: Told) -> None:
    for kind in ("links", "devices", "tanks", "supplies", "outputs"):
        if kind in view.given and view.given[kind] == {}:
            told((kind,), f"there are no {kind}", f"add a table [{kind}.NAME]")


def _links(view: View, told: Told) -> None:
    seen: dict[str, str] = {}
    for name, table in view.document.links.items():
        if not known(table.port):
            continue
        port = port_path(view.folder, table.port)
        if port in seen:
            told(("links", name, "port"), f"links.{seen[port]} has the same port", "put both on one link, or mend one")
        seen.setdefault(port, name)


def _addresses(view: View, told: Told) -> None:
    seen: dict[tuple[str, int], str] = {}
    for name, table in view.document.devices.items():
        if not known(table.link, table.unit):
            continue
        place = (table.link, table.unit)
        if place in seen:
            problem = f"{seen[place]} has unit {table.unit} on link {table.link} already"
            told(("devices", name, "unit"), problem, "give each device of a link its own unit, 1 to 247")
        seen.setdefault(place, name)


def _names(view: View, told: Told) -> None:
    """Every name used must be a name given."""
    document = view.document
    supply_devices = _driven_by("modbus supply", view)
    uses: list[tuple[Iterable[tuple[str, str]], str, str, Collection[str], str]] = [
        (_uses(document.devices, "link"), "devices", "link", document.links, "link"),
        (_uses(document.channels, "device"), "channels", "device", document.devices, "device"),
        (_uses(document.tanks, "temperature"), "tanks", "temperature", document.channels, "channel"),
        (_uses(document.supplies, "device"), "supplies", "device", supply_devices, "supply device"),
        (_uses(document.supplies, "tank"), "supplies", "tank", document.tanks, "tank"),
        (_uses(document.supplies, "output"), "supplies", "output", document.outputs, "output"),
        (_uses(document.outputs, "device"), "outputs", "device", supply_devices, "supply device"),
    ]
    for entries, tables, key, names, kind in uses:
        for entry, used in entries:
            if used not in names:
                right = nearest(used, names, f"add a {kind} of this name")
                told((tables, entry, key), f"there is no {kind} {used!r}", right)


def _uses(tables: Mapping[str, object], key: str) -> list[tuple[str, str]]:
    return [(name, getattr(table, key)) for name, table in tables.items() if known(getattr(table, key))]


def _driven_by(driver: str, view: View) -> set[str]:
    """Devices with this driver, and those of which it is not known."""
    return {name for name in view.document.devices if name not in view.profiles or view.profiles[name].driver == driver}


def _outputs(view: View, told: Told) -> None:
    """One supply, one device, one output, one tank."""
    supplies, outputs = view.document.supplies, view.document.outputs
    for key in ("device", "tank", "output"):
        seen: dict[str, str] = {}
        for name, used in _uses(supplies, key):
            if used in seen:
                problem = f"supply {seen[used]} has the {key} {used!r} already"
                told(("supplies", name, key), problem, f"give each supply its own {key}")
            seen.setdefault(used, name)
    for name, supply in supplies.items():
        output = outputs.get(supply.output)
        if output and known(output.device, supply.device) and output.device != supply.device:
            problem = f"output {supply.output!r} belongs to device {output.device!r}"
            told(("supplies", name, "output"), problem, f"name the output of {supply.device!r}")
    used_outputs = {supply.output for supply in supplies.values()}
    for name in outputs.keys() - used_outputs if None not in used_outputs else ():
        told(("outputs", name), "no supply has this output", "name it as the output of a supply, or remove it")


def _channels(view: View, told: Told) -> None:
    for supply in view.document.supplies:
        for end in AUTOMATIC_CHANNELS:
            if (name := f"{supply}-{end}") in view.document.channels:
                told(("channels", name), f"supply {supply} makes a channel of this name", "remove it or rename it")
    for name, table in view.document.channels.items():
        profile = view.profiles.get(table.device)
        if profile is None or not known(table.point) or table.point in profile.broken:
            continue
        point = profile.points.get(table.point)
        if point is None:
            right = nearest(table.point, profile.points, "mend the device's register map")
            told(("channels", name, "point"), f"device {table.device!r} has no point {table.point!r}", right)
        elif not point.unit:
            problem = f"point {table.point!r} is a state, not a measured value"
            told(("channels", name, "point"), problem, "name a point with a scale")
        else:
            _measured(name, table, point, table.point in profile.accuracies, view.system, told)


def _measured(name: str, table: ChannelTable, point: Point, has_accuracy: bool, system: System, told: Told) -> None:
    kind = UNIT_KINDS[point.unit]
    where = ("channels", name)
    if table.range is not None:
        span = parse_range(table.range, kind, (*where, "range"), told)
        if span and (span[0] < point.low or span[1] > point.high):
            limits = f"{show(point.low, kind, system)} to {show(point.high, kind, system)}"
            told((*where, "range"), "it is wider than the device's own range", f"stay within {limits}")
    if table.accuracy is not None:
        try:
            parse_accuracy(table.accuracy, kind)
        except UnitMistake as mistake:
            told((*where, "accuracy"), mistake.problem, mistake.right)
    elif not has_accuracy:
        told((*where, "accuracy"), "neither channel nor profile says how accurate it is", 'add one like "1 degC"')


def _wire_times(view: View, told: Told) -> None:
    """A response time-out shorter than a good answer may take would make silence of good answers."""
    for name, (settings, devices) in links_of(view).items():
        for device in devices:
            needed_s = longest_exchange_s(settings, device) - frame_gap_s(settings.baud)
            if needed_s > settings.response_time_out_s:
                problem = f"a good answer of {device.name} may take {needed_s * 1000:.0f} ms"
                right = f'write "{needed_s * 1000 + 5:.0f} ms" or more, or mend worst_answer'
                told(("links", name, "response_time_out"), problem, right)


def _off_delays(view: View, told: Told) -> None:
    delays = off_delays_of(view)
    for name, delay in delays.items():
        if delay.total_s > SLOW_OFF_S and not view.document.outputs[name].allow_slow_off:
            problem = f"in the worst case its off command takes {delay.total_s * 1000:.0f} ms, above 500 ms"
            right = "a faster link, a shorter response_time_out, its own link, or allow_slow_off = true"
            told(("outputs", name), problem, right)
    for name, supply in view.document.supplies.items():
        worst = delays.get(supply.output)
        if worst and known(supply.proof_deadline) and supply.proof_deadline <= worst.total_s:
            right = f"it must be above the worst off delay, {worst.total_s * 1000:.0f} ms"
            told(("supplies", name, "proof_deadline"), "off could not be proven within it", right)
