"""Reading every device of some links once: what came, and what did not and why. Nothing but questions is sent."""

from __future__ import annotations

import asyncio
import math
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from typing import Literal

from drivers.catalog import build_device, build_link
from drivers.modbus_frames import REQUEST_LENGTH, wire_time_s
from drivers.modbus_times import read_answer_bytes
from drivers.points import DeviceMap, LinkSettings, Point, SerialSettings
from drivers.ports import BadAnswer, Device, Link, LinkDown, NoAnswer, Refused, Scan
from drivers.registers import Register

TIMER_MS = 16.0
"""What common USB adapters wait for more bytes before they hand on those they have."""
TIMER_NEAR_MS = 1.5
TIMER_TRIPS = 3
"""So many trips near multiples of the timer are no chance: three strangers would all be so 7 times in 1000."""

LISTENS_PERIODS = 3.0
"""A device that speaks by itself is listened to for so many of its periods at most."""

Kind = Literal["link down", "wrong address", "no answer", "bad answer", "refused"]


@dataclass(frozen=True, slots=True)
class Asked:
    """One link to survey, and its devices, each with its longest period, s."""

    settings: LinkSettings
    devices: tuple[tuple[DeviceMap, float], ...]


@dataclass(frozen=True, slots=True)
class Row:
    """One point as it was read.

    Attributes:
        value: in `unit`; None where the device says it has none. word: of a state.
        round_trip_ms: of the request it came with; None where it came unasked.
        registers: as on the wire; none where text came that is no whole number.
    """

    device: str
    name: str
    value: float | None
    word: str | None
    shown: str
    unit: str
    round_trip_ms: float | None
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


async def survey(links: Iterable[Asked]) -> Found:
    """Read all devices of all links, one after another."""
    found = Found()
    for asked in links:
        link = build_link(asked.settings, asyncio.get_running_loop().time)
        try:
            await _LinkProbe(link, asked, found).run()
        except LinkDown as exc:
            found.failures.append(Failure(asked.settings.name, "", "link down", str(exc)))
        finally:
            await link.close()
    return found


class _LinkProbe:
    """One link's part of a probe: what answered, what did not, and how long beyond the wire's own time it took."""

    def __init__(self, link: Link, asked: Asked, found: Found) -> None:
        self._link = link
        self._asked = asked
        self._found = found
        self._alive: set[str] = set()
        self._silent: list[DeviceMap] = []
        self._excess_ms: list[float] = []

    async def run(self) -> None:
        """Read every device; raises LinkDown when the link cannot be used."""
        for device_map, period_s in self._asked.devices:
            device = build_device(self._link, device_map)
            for names in device.groups:
                if device.streams:
                    answered = await self._listen(device_map, device, names, LISTENS_PERIODS * period_s)
                else:
                    answered = await self._ask(device_map, device, names)
                if not answered:
                    break
        self._tell_silent()
        if looks_like_latency_timer(self._excess_ms):
            self._found.notes.append(
                f"{self._link.settings.name}: answers come in steps of {TIMER_MS:.0f} ms, as from a USB adapter's "
                "latency timer, and every request is slowed; set it to 1 ms in "
                "/sys/bus/usb-serial/devices/*/latency_timer"
            )

    async def _ask(self, device_map: DeviceMap, device: Device, names: Collection[str]) -> bool:
        """Read one group; say whether there was any answer."""
        try:
            scan = await device.read(names)
        except NoAnswer as exc:
            self._fell_silent(device_map, exc)
            return False
        except BadAnswer as exc:
            self._fail(device_map, "bad answer", f"{exc}; {self._compare()}")
        except Refused as exc:
            self._alive.add(device_map.name)
            self._fail(device_map, "refused", f"{exc} (asked was for {', '.join(sorted(names))})")
        else:
            self._alive.add(device_map.name)
            self._keep(device_map, names, scan, asked=True)
        return True

    async def _listen(self, device_map: DeviceMap, device: Device, names: Collection[str], for_s: float) -> bool:
        """Listen until every point of a group came or the time is over; say whether anything came."""
        missing, spoilt = set(names), ""
        try:
            async with asyncio.timeout(max(for_s, self._link.settings.response_time_out_s)):
                while missing:
                    try:
                        scan = await device.read(missing)
                    except (BadAnswer, NoAnswer) as exc:
                        spoilt = spoilt or (str(exc) if isinstance(exc, BadAnswer) else "")
                        await asyncio.sleep(0)  # a flood must not keep the time from running out
                        continue
                    self._keep(device_map, scan.values, scan, asked=False)
                    missing -= scan.values.keys()
        except TimeoutError:
            self._tell_missing(device_map, names, missing, spoilt)
        else:
            self._alive.add(device_map.name)
        if spoilt:
            self._fail(device_map, "bad answer", f"{spoilt}; {self._compare()}")
        return missing != set(names) or bool(spoilt)

    def _tell_missing(self, device_map: DeviceMap, names: Collection[str], missing: set[str], spoilt: str) -> None:
        if missing == set(names) and not spoilt:
            self._silent.append(device_map)
            return
        self._alive.add(device_map.name)
        if missing != set(names):
            text = f"nothing came of {', '.join(sorted(missing))}; compare the labels in its profile with what it says"
            self._fail(device_map, "no answer", text)

    def _keep(self, device_map: DeviceMap, names: Iterable[str], scan: Scan, *, asked: bool) -> None:
        trip_ms = (scan.t_received_s - scan.t_sent_s) * 1000 if asked else None
        group, settings = [device_map.points[name] for name in sorted(names)], self._link.settings
        registers = [point for point in group if isinstance(point, Register)]
        if trip_ms is not None and registers and isinstance(settings, SerialSettings):
            on_wire_s = wire_time_s(settings.baud, REQUEST_LENGTH + read_answer_bytes(registers))
            self._excess_ms.append(trip_ms - on_wire_s * 1000)
        for point in group:
            value = scan.values[point.name]
            word = word_of(point, value)
            row = Row(
                device_map.name, point.name, value, word, word or _shown(point, value), point.unit, trip_ms,
                scan.raw[point.name],
            )  # fmt: skip
            self._found.rows.append(row)

    def _compare(self) -> str:
        if isinstance(self._link.settings, SerialSettings):
            return "compare speed, parity, stop bits and the points of its profile with its manual"
        return "compare the points of its profile with its manual"

    # -- silence

    def _fell_silent(self, device_map: DeviceMap, exc: NoAnswer) -> None:
        if device_map.name in self._alive:
            self._fail(device_map, "no answer", f"{exc}, after it had answered; check its wiring and response_time_out")
        else:
            self._silent.append(device_map)

    def _tell_silent(self) -> None:
        """Silence beside a device that answers is a wrong address; silence of all is power, wires or speed."""
        answering = sorted(self._alive)
        if not answering and self._silent:
            text = f"no answer at all on {self._link.settings.place} from {', '.join(map(_unit, self._silent))}; "
            self._found.failures.append(Failure(self._link.settings.name, "", "no answer", text + self._check_first()))
            return
        for device in self._silent:
            if device.unit:
                text = f"no answer at unit {device.unit}, while {' and '.join(answering)} on the same wires does answer"
                text += f"; set the device itself to unit {device.unit} first, or correct devices.{device.name}.unit"
                self._fail(device, "wrong address", text)
            else:
                text = f"no answer, while {' and '.join(answering)} on the same link does answer"
                self._fail(device, "no answer", f"{text}; check its power and its wires first")

    def _check_first(self) -> str:
        """What to look at first where a whole link is silent."""
        if self._link.settings.kind == "modbus rtu":
            return "check first that they have power and that wires A and B are not swapped, then speed and parity"
        if self._link.settings.kind == "modbus tcp":
            return "check first that they have power and their network cable, then the link's host, then the units"
        return "check first that it has power and that its cable is the right one, then speed, parity and stop bits"

    def _fail(self, device_map: DeviceMap, kind: Kind, text: str) -> None:
        self._found.failures.append(Failure(self._link.settings.name, device_map.name, kind, text))


def _unit(device: DeviceMap) -> str:
    return f"{device.name} at unit {device.unit}" if device.unit else device.name


def looks_like_latency_timer(excess_ms: Collection[float]) -> bool:
    """Tell whether what trips took beyond their time on the wire, ms, lies near multiples of 16 ms in most of them."""
    near = [ms for ms in excess_ms if ms > TIMER_MS / 2 and abs(ms - TIMER_MS * round(ms / TIMER_MS)) <= TIMER_NEAR_MS]
    return len(near) >= TIMER_TRIPS and len(near) * 4 >= len(excess_ms) * 3


def word_of(point: Point, value: float | None) -> str | None:
    """The plain word of a state or contact; None for a number, for none, and for a state nobody knows."""
    if value is None or not value.is_integer():
        return None
    return point.states.get(int(value))


def _shown(point: Point, value: float | None) -> str:
    """A value with as many decimals as its register can have; of other values what matters."""
    if value is None:
        return "no value"
    if isinstance(point, Register) and point.kind != "float32":
        return f"{value:.{max(0, -math.floor(math.log10(abs(point.scale))))}f}"
    return f"{value:.6g}"
