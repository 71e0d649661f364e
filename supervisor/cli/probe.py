"""The command `probe`: read every device of a line once, and tell all that is wrong together. It never writes."""

from __future__ import annotations

import asyncio
import json
import math
from collections.abc import Collection, Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Literal

from drivers.catalog import build_device, build_link
from drivers.modbus_frames import REQUEST_LENGTH, wire_time_s
from drivers.modbus_times import read_answer_bytes
from drivers.points import DeviceMap, LinkSettings, Point, SerialSettings
from drivers.ports import BadAnswer, Link, LinkDown, NoAnswer, Refused, Scan
from drivers.registers import Register
from supervisor.config.load import load_line
from supervisor.config.mistakes import LineMistakes
from supervisor.config.setup import device_maps, link_settings

VERSION = 1
TIMER_MS = 16.0
"""What common USB adapters wait for more bytes before they hand on those they have."""
TIMER_NEAR_MS = 1.5
TIMER_TRIPS = 3
"""So many trips near multiples of the timer are no chance: three strangers would all be so 7 times in 1000."""

Kind = Literal["link down", "wrong address", "no answer", "bad answer", "refused"]


@dataclass(frozen=True, slots=True)
class Row:
    """One point as it was read.

    Attributes:
        value: in `unit`; None where the device says it has none. word: of a state.
        round_trip_ms: of the request it came with. registers: as on the wire.
    """

    device: str
    name: str
    value: float | None
    word: str | None
    shown: str
    unit: str
    round_trip_ms: float
    registers: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Failure:
    """One thing that did not work: on which link, with which device (empty: the whole link), what, and what to do."""

    link: str
    device: str
    kind: Kind
    text: str


@dataclass(slots=True)
class Found:
    """All that a probe found."""

    rows: list[Row] = field(default_factory=list)
    failures: list[Failure] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def probe(path: Path, as_json: bool) -> int:
    """Read every point of every device of a line file once, and print it.

    Returns the exit code: 0 when all is well, 1 when anything failed, 2 when the line file has mistakes.
    """
    try:
        line = load_line(path)
    except LineMistakes as wrong:
        mistakes = [asdict(mistake) for mistake in wrong.mistakes]
        print(json.dumps({"version": VERSION, "mistakes": mistakes}) if as_json else wrong)
        return 2
    maps = device_maps(line)
    links = {
        name: (settings, [maps[device] for device, entry in line.document.devices.items() if entry.link == name])
        for name, settings in link_settings(line).items()
    }
    found = asyncio.run(survey(links))
    print(as_object(found) if as_json else as_text(found))
    return 1 if found.failures else 0


async def survey(links: Mapping[str, tuple[LinkSettings, Collection[DeviceMap]]]) -> Found:
    """Read all devices of all links, one after another."""
    found = Found()
    for settings, devices in links.values():
        link = build_link(settings, asyncio.get_running_loop().time)
        try:
            await _LinkProbe(link, list(devices), found).run()
        except LinkDown as exc:
            found.failures.append(Failure(settings.name, "", "link down", str(exc)))
        finally:
            await link.close()
    return found


class _LinkProbe:
    """One link's part of a probe: what answered, what did not, and how long beyond the wire's own time it took."""

    def __init__(self, link: Link, devices: list[DeviceMap], found: Found) -> None:
        self._link = link
        self._devices = devices
        self._found = found
        self._alive: set[str] = set()
        self._silent: list[DeviceMap] = []
        self._excess_ms: list[float] = []

    async def run(self) -> None:
        """Read every device; raises LinkDown when the port cannot be used."""
        for device in self._devices:
            await self._read(device)
        self._tell_silent()
        if looks_like_latency_timer(self._excess_ms):
            self._found.notes.append(
                f"{self._link.settings.name}: answers come in steps of {TIMER_MS:.0f} ms, as from a USB adapter's "
                "latency timer, and every request is slowed; set it to 1 ms in "
                "/sys/bus/usb-serial/devices/*/latency_timer"
            )

    async def _read(self, device_map: DeviceMap) -> None:
        device = build_device(self._link, device_map)
        for names in device.groups:
            group = tuple(device_map.points[name] for name in sorted(names))
            try:
                scan = await device.read(names)
            except NoAnswer as exc:
                self._fell_silent(device_map, exc)
                return
            except BadAnswer as exc:
                advice = "compare speed, parity, stop bits and the register table with its manual"
                self._fail(device_map, "bad answer", f"{exc}; {advice}")
            except Refused as exc:
                self._alive.add(device_map.name)
                self._fail(device_map, "refused", f"{exc} (asked was for {', '.join(sorted(names))})")
            else:
                self._alive.add(device_map.name)
                self._keep(device_map.name, group, scan)

    def _keep(self, device: str, group: tuple[Point, ...], scan: Scan) -> None:
        trip_ms = (scan.t_received_s - scan.t_sent_s) * 1000
        registers, settings = [point for point in group if isinstance(point, Register)], self._link.settings
        if registers and isinstance(settings, SerialSettings):
            on_wire_s = wire_time_s(settings.baud, REQUEST_LENGTH + read_answer_bytes(registers))
            self._excess_ms.append(trip_ms - on_wire_s * 1000)
        for point in group:
            value = scan.values[point.name]
            word = point.states.get(int(value)) if value is not None else None
            shown = _shown(point, value)
            row = Row(device, point.name, value, word, shown, point.unit, trip_ms, scan.raw[point.name])
            self._found.rows.append(row)

    def _fell_silent(self, device_map: DeviceMap, exc: NoAnswer) -> None:
        if device_map.name in self._alive:
            self._fail(device_map, "no answer", f"{exc}, after it had answered; check its wiring and response_time_out")
        else:
            self._silent.append(device_map)

    def _tell_silent(self) -> None:
        """Silence beside a device that answers is a wrong address; silence of all is power, wires or speed."""
        settings, answering = self._link.settings, sorted(self._alive)
        if not answering and self._silent:
            asked = ", ".join(f"{device.name} at unit {device.unit}" for device in self._silent)
            text = f"no answer at all on {settings.place} from {asked}; check first that they have power"
            text += " and that wires A and B are not swapped, then speed and parity"
            self._found.failures.append(Failure(settings.name, "", "no answer", text))
            return
        for device in self._silent:
            text = f"no answer at unit {device.unit}, while {' and '.join(answering)} on the same wires does answer;"
            text += f" set the device itself to unit {device.unit} first, or correct devices.{device.name}.unit"
            self._fail(device, "wrong address", text)

    def _fail(self, device_map: DeviceMap, kind: Kind, text: str) -> None:
        self._found.failures.append(Failure(self._link.settings.name, device_map.name, kind, text))


def looks_like_latency_timer(excess_ms: Collection[float]) -> bool:
    """Tell whether what trips took beyond their time on the wire, ms, lies near multiples of 16 ms in most of them."""
    near = [ms for ms in excess_ms if ms > TIMER_MS / 2 and abs(ms - TIMER_MS * round(ms / TIMER_MS)) <= TIMER_NEAR_MS]
    return len(near) >= TIMER_TRIPS and len(near) * 4 >= len(excess_ms) * 3


def as_text(found: Found) -> str:
    """All that was found, as columns and sentences for a person."""
    cells = [("device", "name", "value", "unit", "round trip", "registers")]
    cells += [
        (row.device, row.name, row.shown, row.unit, f"{row.round_trip_ms:.1f} ms", _hex(row.registers))
        for row in found.rows
    ]
    widths = [max(map(len, column)) for column in zip(*cells, strict=True)]
    right_aligned = {2, 4}
    lines = [
        "  ".join(
            cell.rjust(width) if place in right_aligned else cell.ljust(width)
            for place, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in (cells if found.rows else [])
    ]
    if found.failures:
        lines.append(f"{len(found.failures)} went wrong:")
        lines += [f"  {failure.device or failure.link}: {failure.text}" for failure in found.failures]
    lines += [f"Note: {note}" for note in found.notes]
    return "\n".join(lines)


def as_object(found: Found) -> str:
    """All that was found, as one JSON object for a program."""
    rows = [{key: value for key, value in asdict(row).items() if key != "shown"} for row in found.rows]
    failures = [asdict(failure) for failure in found.failures]
    return json.dumps({"version": VERSION, "points": rows, "failures": failures, "notes": found.notes})


def _shown(point: Point, value: float | None) -> str:
    if value is None:
        return "no value"
    if point.states:
        return point.states[int(value)]
    return f"{value:.{max(0, -math.floor(math.log10(point.scale)))}f}"


def _hex(registers: tuple[int, ...]) -> str:
    return " ".join(f"0x{register:04X}" for register in registers)
