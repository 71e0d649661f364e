"""Checks of the wires: links, addresses, times, and how soon an off command reaches its device."""

from __future__ import annotations

from pathlib import Path

from drivers.catalog import drivers
from drivers.modbus_frames import frame_gap_s
from drivers.points import SerialSettings
from supervisor.config.mistakes import Told, nearest
from supervisor.config.off_delay import SLOW_OFF_S, longest_answer_s
from supervisor.config.shape import known
from supervisor.config.wire import View, fitting_links, host_and_port, off_delays_of, port_path

SERIAL_KEYS = ("port", "speed", "parity", "stop_bits")
MOST_QUIET_S = 0.1
"""The longest rest after each exchange that a link with an output on it may keep."""


def wires(view: View, told: Told) -> None:
    """Run every check of the wires."""
    for check in (_links, _ports, _addresses, _drivers, _periods, _times, _unhindered, _off_delays):
        check(view, told)


def _links(view: View, told: Told) -> None:
    """A serial link has a port and its settings, one over TCP a host."""
    for name, table in view.document.links.items():
        if not known(table.kind):
            continue
        over_tcp = table.kind == "modbus tcp"
        needed, foreign = (("host",), SERIAL_KEYS) if over_tcp else (SERIAL_KEYS, ("host",))
        for key in needed:
            if getattr(table, key) is None:
                told(("links", name, key), "this key is missing", _right(key))
        for key in foreign:
            if getattr(table, key) is not None:
                told(("links", name, key), f"a link of kind {table.kind!r} has none", "remove it")
        if over_tcp and table.host is not None:
            try:
                host_and_port(table.host)
            except ValueError as problem:
                told(("links", name, "host"), str(problem), 'write it like "192.0.2.10" or "192.0.2.10:502"')


def _right(key: str) -> str:
    return {
        "port": "add port",
        "speed": 'add speed = "19200 baud", or what is true of yours',
        "parity": 'add parity = "none" or "even" or "odd"',
        "stop_bits": "add stop_bits",
        "host": 'add host = "192.0.2.10", or what is true of yours',
    }[key]


def _ports(view: View, told: Told) -> None:
    seen: dict[str, str] = {}
    for name, table in view.document.links.items():
        place, key = (table.host, "host") if table.kind == "modbus tcp" else (table.port, "port")
        if not known(place) or place is None:
            continue
        try:
            port = str(host_and_port(place) if key == "host" else Path(port_path(view.folder, place)).resolve())
        except ValueError:  # told of where the host is looked at
            continue
        if port in seen:
            told(("links", name, key), f"links.{seen[port]} has the same {key}", "put both on one link, or mend one")
        seen.setdefault(port, name)


def _addresses(view: View, told: Told) -> None:
    seen: dict[tuple[str, int], str] = {}
    for name, table in view.document.devices.items():
        link = view.document.links.get(table.link)
        if link is None or not known(link.kind):
            continue
        of_modbus = link.kind != "serial text"
        if of_modbus and table.unit is None:
            told(("devices", name, "unit"), "this key is missing", "add unit, as set at the device, 1 to 247")
            continue
        if not of_modbus and table.unit is not None:
            told(("devices", name, "unit"), "a device that speaks in text has no unit", "remove it")
        place = (table.link, table.unit or 0)
        if place in seen and of_modbus:
            problem = f"{seen[place]} has unit {table.unit} on link {table.link} already"
            told(("devices", name, "unit"), problem, "give each device of a link its own unit, 1 to 247")
        elif place in seen:
            problem = f"{seen[place]} is on link {table.link} already, and only one device speaks there"
            told(("devices", name, "link"), problem, "give each device that speaks in text a link of its own")
        seen.setdefault(place, name)


def _drivers(view: View, told: Told) -> None:
    for name, table in view.document.devices.items():
        link = view.document.links.get(table.link)
        if link is None or not known(link.kind) or name not in view.profiles:
            continue
        driver = drivers()[view.profiles[name].driver]
        if link.kind not in driver.links:
            kinds = " or ".join(sorted(driver.links))
            problem = f"its driver {driver.name!r} does not work on a link of kind {link.kind!r}"
            told(("devices", name, "link"), problem, f"name a link of kind {kinds}")


def _periods(view: View, told: Told) -> None:
    for name, table in view.document.devices.items():
        profile = view.profiles.get(name)
        for point in table.periods if profile else ():
            assert profile is not None
            if point not in profile.points and point not in profile.broken:
                right = nearest(point, profile.points, "remove it")
                told(("devices", name, "periods", point), f"device {name!r} has no point {point!r}", right)


def _times(view: View, told: Told) -> None:
    """A response time-out shorter than a good answer may take would make silence of good answers."""
    for name, (settings, devices) in fitting_links(view).items():
        gap_s = frame_gap_s(settings.baud) if isinstance(settings, SerialSettings) else 0.0
        for device in devices:
            needed_s = longest_answer_s(settings, device) - gap_s - settings.quiet_s
            if needed_s > settings.response_time_out_s:
                problem = f"a good answer of {device.name} may take {needed_s * 1000:.0f} ms"
                right = f'write "{needed_s * 1000 + 5:.0f} ms" or more, or mend worst_answer'
                told(("links", name, "response_time_out"), problem, right)


def _unhindered(view: View, told: Told) -> None:
    """An output may not sit where its off would wait for a rest or for a link to be opened."""
    for link, (settings, devices) in fitting_links(view).items():
        on_link = {device.name for device in devices}
        for name, output in view.document.outputs.items():
            if output.device not in on_link:
                continue
            if settings.opens_each_scan:
                problem = f"link {link} is opened anew for each reading, and off would wait for that"
                told(("outputs", name, "device"), problem, "put the output's device on a link of its own")
            if settings.quiet_s > MOST_QUIET_S:
                problem = f"link {link} rests {settings.quiet_s * 1000:.0f} ms after each exchange, and off would wait"
                right = "put it on a link whose devices want a quiet of 100 ms at most"
                told(("outputs", name, "device"), problem, right)


def _off_delays(view: View, told: Told) -> None:
    delays = off_delays_of(view)
    for name, delay in delays.items():
        if delay.total_s > SLOW_OFF_S and not view.document.outputs[name].allow_slow_off:
            problem = f"in the worst case its off command takes {delay.total_s * 1000:.0f} ms, above 500 ms"
            right = "a faster link, a shorter response_time_out, its own link, or allow_slow_off = true"
            told(("outputs", name), problem, right)
    for name, supply in view.document.supplies.items():
        worst = delays.get((supply.output if supply.control == "remote" else supply.contactor) or "")
        if worst and known(supply.proof_deadline) and supply.proof_deadline <= worst.total_s:
            right = f"it must be above the worst off delay, {worst.total_s * 1000:.0f} ms"
            told(("supplies", name, "proof_deadline"), "off could not be proven within it", right)
