"""Checks across the tables of a line file: names, devices, channels and what supplies are made of."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping

from drivers.points import Point
from drivers.registers import RegisterMap, groups_of
from supervisor.config.channels import automatic_channels, has_heartbeat
from supervisor.config.checks_alarms import alarms
from supervisor.config.checks_outputs import outputs_and_contacts
from supervisor.config.checks_tanks import tanks
from supervisor.config.checks_trade import trade
from supervisor.config.checks_wire import wires
from supervisor.config.mistakes import Told, nearest
from supervisor.config.model import ChannelTable
from supervisor.config.points import UNIT_KINDS, parse_range
from supervisor.config.setting import channel_unit
from supervisor.config.shape import known
from supervisor.config.wire import View
from supervisor.units import System, UnitMistake, parse_accuracy, show


def across(view: View, told: Told) -> None:
    """Run every check; mistakes go to `told`, and a check that lacks what it needs is silent."""
    for check in (
        _not_empty,
        wires,
        _names,
        _supplies,
        outputs_and_contacts,
        alarms,
        _channels,
        _subjects,
        tanks,
        trade,
    ):
        check(view, told)


def _not_empty(view: View, told: Told) -> None:
    for kind in ("links", "devices", "tanks", "supplies"):
        if kind in view.given and view.given[kind] == {}:
            told((kind,), f"there are no {kind}", f"add a table [{kind}.NAME]")


def _names(view: View, told: Told) -> None:
    """Every name used must be a name given."""
    document = view.document
    uses: list[tuple[Mapping[str, object], str, str, Collection[str], str]] = [
        (document.devices, "devices", "link", document.links, "link"),
        (document.channels, "channels", "device", document.devices, "device"),
        (document.tanks, "tanks", "temperature", document.channels, "channel"),
        (document.supplies, "supplies", "tank", document.tanks, "tank"),
        (document.supplies, "supplies", "output", document.outputs, "output"),
        (document.supplies, "supplies", "contactor", _with_role("contactor", view), "contactor"),
        (document.outputs, "outputs", "tank", document.tanks, "tank"),
        (document.outputs, "outputs", "auxiliary", _auxiliaries(view), "auxiliary contact"),
        (document.contacts, "contacts", "device", _with("module", view), "module"),
        (document.contacts, "contacts", "tank", document.tanks, "tank"),
    ]
    for entries, tables, key, names, kind in uses:
        for entry, used in _uses(entries, key):
            _named(used, names, (tables, entry, key), kind, told)
    for name, supply in document.supplies.items():
        if known(supply.device, supply.control):
            role = "supply" if supply.control == "remote" else "module"
            _named(supply.device, _with(role, view), ("supplies", name, "device"), f"{role} device", told)
    for name, output in document.outputs.items():
        if known(output.device, output.role):
            role = "supply" if output.role == "supply output" else "module"
            _named(output.device, _with(role, view), ("outputs", name, "device"), f"{role} device", told)


def _named(used: str, names: Collection[str], where: tuple[str, ...], kind: str, told: Told) -> None:
    if used not in names:
        told(where, f"there is no {kind} {used!r}", nearest(used, names, f"add a {kind} of this name"))


def _uses(tables: Mapping[str, object], key: str) -> Iterable[tuple[str, str]]:
    return [(name, getattr(table, key)) for name, table in tables.items() if known(getattr(table, key))]


def _with(role: str, view: View) -> set[str]:
    """Devices whose driver has this role, and those of which it is not known."""
    return {name for name in view.document.devices if name not in view.profiles or view.profiles[name].role == role}


def _with_role(role: str, view: View) -> set[str]:
    return {name for name, output in view.document.outputs.items() if output.role in {role, None}}


def _auxiliaries(view: View) -> set[str]:
    return {name for name, contact in view.document.contacts.items() if contact.role in {"auxiliary contact", None}}


def _supplies(view: View, told: Told) -> None:
    """One supply, one device, one output, one contactor, one tank; and each has what its control needs."""
    supplies, outputs = view.document.supplies, view.document.outputs
    for key in ("device", "tank", "output", "contactor"):
        seen: dict[str, str] = {}
        for name, used in _uses(supplies, key):
            if used in seen:
                problem = f"supply {seen[used]} has the {key} {used!r} already"
                told(("supplies", name, key), problem, f"give each supply its own {key}")
            seen.setdefault(used, name)
    for name, supply in supplies.items():
        _controlled(name, view, told)
        output = outputs.get(supply.output) if supply.output is not None else None
        remote = supply.control == "remote"
        if output and remote and known(output.device, supply.device) and output.device != supply.device:
            problem = f"output {supply.output!r} belongs to device {output.device!r}"
            told(("supplies", name, "output"), problem, f"name the output of {supply.device!r}")


def _controlled(name: str, view: View, told: Told) -> None:
    supply = view.document.supplies[name]
    if supply.control == "remote":
        if supply.output is None:
            told(("supplies", name, "output"), "this key is missing", "add output, or control if it has knobs only")
        return
    if supply.output is not None:
        problem = f"nothing switches its output over a wire where control is {supply.control!r}"
        told(("supplies", name, "output"), problem, "remove it")
    if supply.device_time_out is not None:
        told(("supplies", name, "device_time_out"), "a supply with knobs has none", "remove it")
    if supply.control == "contactor" and supply.contactor is None:
        told(("supplies", name, "contactor"), "this key is missing", 'name its contactor, or write control = "none"')
    if supply.control == "none" and supply.contactor is not None:
        told(("supplies", name, "contactor"), "with a contactor, control is not none", 'write control = "contactor"')
    _metered(name, view, told)


def _metered(name: str, view: View, told: Told) -> None:
    """What meters a supply with knobs has its current and its voltage, and says how well."""
    device = view.document.supplies[name].device
    profile = view.profiles.get(device)
    if profile is None or profile.role != "module":
        return
    wanted = {point: unit for point, unit in (("current", "A"), ("voltage", "V")) if point not in profile.broken}
    missing = [p for p, unit in wanted.items() if p not in profile.points or profile.points[p].unit != unit]
    if missing:
        points = " and no ".join(f"point {point!r} in {wanted[point]}" for point in missing)
        problem = f"device {device!r} has no {points}, by which the supply is metered"
        told(("supplies", name, "device"), problem, "give it such points in its profile, or name what meters it")
        return
    vague = [point for point in wanted if point not in profile.accuracies]
    if vague:
        told(
            ("supplies", name, "device"),
            f"{' and '.join(vague)} of its meter have no accuracy",
            "add it to its profile",
        )


def _channels(view: View, told: Told) -> None:
    taken = automatic_channels(view.document, view.profiles)
    for name, table in view.document.channels.items():
        if name in taken:
            told(("channels", name), f"{taken[name].of} makes a channel of this name", "remove it or rename it")
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
            _thermocouple(name, table, point, view, told)
            _measured(name, table, point, table.point in profile.accuracies, view.system, told)


def _thermocouple(name: str, table: ChannelTable, point: Point, view: View, told: Told) -> None:
    """A thermocouple's voltage and the temperature of its cold junction must come in one reading."""
    where = ("channels", name)
    if table.thermocouple is None:
        if table.cold_junction is not None:
            told((*where, "cold_junction"), "there is no thermocouple", 'add thermocouple = "K", or remove it')
        return
    if point.unit != "V":
        told((*where, "point"), f"point {table.point!r} is no voltage", "name one in uV, or remove thermocouple")
    if table.cold_junction is None:
        told((*where, "cold_junction"), "this key is missing", "name the point of the cold junction's temperature")
        return
    device = view.profiles[table.device]
    junction = device.points.get(table.cold_junction)
    if junction is None or junction.unit != "degC":
        problem = f"device {table.device!r} has no temperature {table.cold_junction!r}"
        right = nearest(table.cold_junction, (n for n, p in device.points.items() if p.unit == "degC"), "add it")
        told((*where, "cold_junction"), problem, right)
        return
    device_map = device.device_map(table.device, 0)
    if isinstance(device_map, RegisterMap):
        wanted = {table.point, table.cold_junction}
        if not any(wanted <= {one.name for one in group} for group in groups_of(device_map)):
            problem = "it is read in another request than the voltage, so the two would not belong together"
            told((*where, "cold_junction"), problem, "set widest_hole in the profile's [reading]")


def _subjects(view: View, told: Told) -> None:
    """Alarms are named by what they are about: a name stands for one thing."""
    document, seen = view.document, dict[str, str]()
    of_supplies = {supply.device for supply in document.supplies.values() if supply.control is not None}
    watched = [name for name, profile in view.profiles.items() if name not in of_supplies or has_heartbeat(profile)]
    telling = [name for name, contact in document.contacts.items() if contact.role != "auxiliary contact"]
    named: dict[str, Iterable[str]] = {"tanks": document.tanks, "supplies": document.supplies}
    named |= {"outputs": document.outputs, "contacts": telling, "devices": watched}
    for kind, names in named.items():
        for name in names:
            if name in seen:
                told((kind, name), f"{seen[name]} has this name already", "give each thing a name of its own")
            seen.setdefault(name, f"{kind}.{name}")


def _measured(name: str, table: ChannelTable, point: Point, has_accuracy: bool, system: System, told: Told) -> None:
    kind = UNIT_KINDS[channel_unit(table, point)]
    where = ("channels", name)
    if table.range is not None:
        span = parse_range(table.range, kind, (*where, "range"), told)
        if span and table.thermocouple is None and (span[0] < point.low or span[1] > point.high):
            limits = f"{show(point.low, kind, system)} to {show(point.high, kind, system)}"
            told((*where, "range"), "it is wider than the device's own range", f"stay within {limits}")
    if table.accuracy is not None:
        try:
            parse_accuracy(table.accuracy, kind, (point.low, point.high))
        except UnitMistake as mistake:
            told((*where, "accuracy"), mistake.problem, mistake.right)
    elif not has_accuracy:
        told((*where, "accuracy"), "neither channel nor profile says how accurate it is", 'add one like "1 degC"')
