"""`ampminder probe --raw`: look at a device that has no profile yet. Only reads and questions are ever sent."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import get_args

from drivers.catalog import build_link
from drivers.points import LinkKind, LinkSettings, SerialSettings, TcpSettings
from drivers.ports import Link, LinkDown
from drivers.registers import BIT_TABLES, MOST_IN_ONE_READ, Table
from supervisor.cli.probe_ports import ports_to_probe
from supervisor.cli.raw_registers import Wanted, read_registers
from supervisor.cli.raw_text import listen, question
from supervisor.config.mistakes import LineMistakes, Mistake
from supervisor.config.wire import PARITY, host_and_port
from supervisor.service.app import port_name
from supervisor.units import Kind, UnitMistake, parse

OPTIONS = {
    "host": "instead of a serial port, a host to be asked over Modbus TCP, such as 192.0.2.10:502",
    "speed": 'of the serial port, such as 19200; default: "19200 baud"',
    "parity": "none, even or odd; default: none",
    "stop-bits": "1 or 2; default: 1",
    "time-out": 'how long an answer may take, such as "500 ms", which is the default',
    "quiet": 'how long the wire stays quiet after each exchange, such as "100 ms"; default: none',
    "settle": 'how long the device is left alone after opening, such as "2 s"; default: none',
    "unit": "the device's Modbus address, 1 to 247; default with a host: 1",
    "table": "one of the manual's tables: " + ", ".join(get_args(Table)),
    "address": "the first register's address as sent on the wire, such as 0 or 0x0010",
    "count": "how many registers or bits; default: 1",
    "text": "a question to a device that speaks in text, such as MEAS:CURR?",
    "listen": "listen for so many seconds to a device that speaks by itself",
}
"""What `--raw` may be told beside its port, with what each means."""

MOST_SEARCHED = 2000
"""Addresses searched at most at once: a refused one costs up to two requests."""

LONGEST_LISTENING_S = 3600.0

_HEADER = re.compile(r"[*:]?[A-Za-z]\w*(:[A-Za-z]\w*)*\?", re.ASCII)
"""A question's header (SCPI-1999, volume 1, 6.2, and IEEE 488.2, 7.6.1; from memory)."""

_ACTS = re.compile(r"\*(CAL|TST)\?|:?(CAL|CALIBRATION|TEST)[?:]", re.ASCII | re.IGNORECASE)
"""Questions that calibrate or test a device, outputs included (IEEE 488.2, 10.2 and 10.38; from memory)."""


@dataclass(frozen=True, slots=True)
class Raw:
    """What is to be looked at: where, and one of registers, a question, or so many seconds of listening."""

    settings: LinkSettings
    wanted: Wanted | None = None
    text: str = ""
    listen_s: float = 0.0


def probe_raw(port: str, given: Mapping[str, str], *, find: bool, as_json: bool) -> int:
    """Look at one device and print what it answers.

    Args:
        port: path of the serial port; "" with a host.
        given: what was typed, by the names of OPTIONS.
        find: whether to search for the addresses that can be read.
        as_json: one object instead of words.

    Returns 0 where an answer came, 1 where none did. Raises LineMistakes with every mistake in what was typed, and
    HolderError where somebody else has the port.
    """
    raw = _Typed(port, given, find).raw()
    with ports_to_probe([port_name(raw.settings)], line="(none)", line_file=Path(port or given["host"])):
        try:
            code, told = asyncio.run(_look(raw, as_json=as_json))
        except KeyboardInterrupt:
            code, told = 1, "Ended. Nothing was written."
    print(told)
    return code


async def _look(raw: Raw, *, as_json: bool) -> tuple[int, str]:
    seen = bytearray()

    def trace(sending: bool, data: bytes) -> None:
        if not sending:
            seen.extend(data)

    link: Link = build_link(raw.settings, asyncio.get_running_loop().time, trace)
    try:
        if raw.wanted is not None:
            return await read_registers(link, raw.wanted, as_json=as_json)
        if raw.text:
            return await question(link, raw.text, seen, as_json=as_json)
        return await listen(link, raw.listen_s, as_json=as_json)
    except LinkDown as problem:
        return 1, str(problem)
    finally:
        await link.close()


class _Typed:
    """One reading of what was typed; collects mistakes instead of stopping at the first."""

    def __init__(self, port: str, given: Mapping[str, str], find: bool) -> None:
        self._port = port
        self._given = {name: text for name, text in given.items() if text}
        self._find = find
        self._mistakes: list[Mistake] = []

    def raw(self) -> Raw:
        """Understand all there is, then tell all that is wrong."""
        what = [name for name in ("table", "text", "listen") if name in self._given]
        if len(what) != 1:
            problem = f"{' and '.join(f'--{name}' for name in what)} were given" if what else "nothing is asked for"
            self._told("raw", problem, "give one of --table, --text and --listen")
        settings = self._settings(what)
        wanted = self._wanted() if "table" in what else None
        text = self._question() if "text" in what else ""
        listen_s = self._seconds() if "listen" in what else 0.0
        self._unused(what)
        if self._mistakes or settings is None:
            raise LineMistakes(tuple(self._mistakes))
        return Raw(settings, wanted, text, listen_s)

    def _told(self, option: str, problem: str, right: str) -> None:
        self._mistakes.append(Mistake(f"--{option}", problem, right))

    # -- where

    def _settings(self, what: Sequence[str]) -> LinkSettings | None:
        time_out_s = self._quantity("time-out", "time", 0.5)
        quiet_s, settle_s = self._quantity("quiet", "time", 0.0), self._quantity("settle", "time", 0.0)
        if not 0.001 <= time_out_s <= 60:
            self._told("time-out", f"{time_out_s:g} s is no time to wait for an answer", 'write "1 ms" to "60 s"')
        text = bool({"text", "listen"} & set(what))
        if "host" in self._given:
            if text:
                self._told("host", "devices that speak in text are asked over a serial port", "give --raw its port")
            return self._over_tcp(time_out_s, quiet_s, settle_s)
        if not self._port:
            self._told("raw", "no port is given", "write --raw /dev/ttyUSB0, or --raw with --host 192.0.2.10:502")
        kind: LinkKind = "serial text" if text else "modbus rtu"
        return SerialSettings(
            "raw", kind, time_out_s, time_out_s, quiet_s=quiet_s, settle_s=settle_s,
            port=str(Path(self._port).absolute()), baud=round(self._speed()),
            parity=PARITY[self._one_of("parity", "none", PARITY)],
            stop_bits=int(self._one_of("stop-bits", "1", ("1", "2"))),
        )  # fmt: skip

    def _over_tcp(self, time_out_s: float, quiet_s: float, settle_s: float) -> LinkSettings | None:
        if self._port:
            self._told("host", f"a port is given as well, {self._port}", "leave one of them out")
        for name in {"speed", "parity", "stop-bits"} & self._given.keys():
            self._told(name, "it belongs to a serial port, and a host is given", "leave it out")
        try:
            host, port = host_and_port(self._given["host"])
        except ValueError:
            host = ""
        if not host:
            self._told("host", f"{self._given['host']!r} is no host", "write one such as 192.0.2.10:502")
            return None
        return TcpSettings(
            "raw", "modbus tcp", time_out_s, time_out_s, quiet_s=quiet_s, settle_s=settle_s, host=host, port=port
        )  # fmt: skip

    def _speed(self) -> float:
        text = self._given.get("speed", "19200")
        baud = self._quantity("speed", "bit rate", 19200.0, f"{text} baud" if text.isdecimal() else text)
        if not 50 <= baud <= 4_000_000:
            self._told("speed", f"{baud:g} baud is no speed of a serial port", "write one such as 19200")
        return baud

    # -- what

    def _wanted(self) -> Wanted:
        table: Table = self._one_of("table", "input register", get_args(Table))  # type: ignore[assignment]
        unit = self._unit()
        address, count = self._whole("address", None, 0, 0xFFFF), self._whole("count", 1, 1, 0x10000)
        if address + count > 0x10000:
            self._told("count", f"{address} and {count} go beyond address 65535", "ask for fewer")
        most = MOST_SEARCHED if self._find else MOST_IN_ONE_READ[table]
        if count > most:
            holds = "bits" if table in BIT_TABLES else "registers"
            one = "a search looks" if self._find else "one request asks"
            right = "ask for fewer" if self._find else f"ask for fewer, or --find to search up to {MOST_SEARCHED}"
            self._told("count", f"{one} for at most {most} {holds}", right)
        return Wanted(unit, table, address, count, find=self._find)

    def _unit(self) -> int:
        """A host that is one device answers at any unit; 1 is what most expect."""
        return self._whole("unit", 1, 0, 255) if "host" in self._given else self._whole("unit", None, 1, 247)

    def _question(self) -> str:
        text = self._given["text"].strip()
        if not text.isascii() or not text.isprintable():
            self._told("text", "it holds what is no plain text", "write one line of plain letters, digits and signs")
        for part in text.split(";"):
            header = part.split(maxsplit=1)[0] if part.strip() else ""
            right = "nothing is ever written by a probe: write a question such as MEAS:CURR?"
            if not _HEADER.fullmatch(header):
                self._told("text", f"`{part.strip()}` is no question: its first word does not end in one `?`", right)
            elif _ACTS.match(header):
                self._told("text", f"`{header}` makes a device test or calibrate itself, its output included", right)
        return text

    def _seconds(self) -> float:
        text = self._given["listen"]
        seconds = self._quantity("listen", "time", 1.0, f"{text} s" if re.fullmatch(r"[\d.]+", text) else text)
        if not 0 < seconds <= LONGEST_LISTENING_S:
            self._told("listen", f"{seconds:g} s is no time to listen for", 'write more than 0 and at most "1 h"')
        return seconds

    def _unused(self, what: Sequence[str]) -> None:
        """Say what was typed for nothing, so that nobody believes it had an effect."""
        if what and "table" not in what:
            for name in ("unit", "address", "count", *(["find"] if self._find else [])):
                if name in self._given or name == "find":
                    self._told(name, "it belongs to --table", "leave it out")

    # -- single words

    def _whole(self, name: str, default: int | None, least: int, most: int) -> int:
        text = self._given.get(name, "" if default is None else str(default))
        right = f"write a whole number from {least} to {most}"
        if not text:
            self._told(name, "it is missing", right)
            return least
        try:
            value = int(text, 16 if text.lower().startswith("0x") else 10)
        except ValueError:
            value = least - 1
        if not least <= value <= most:
            self._told(name, f"{text!r} is none that can be", right)
            return least
        return value

    def _quantity(self, name: str, kind: Kind, default: float, text: str = "") -> float:
        if name not in self._given:
            return default
        try:
            return parse(text or self._given[name], kind)
        except UnitMistake as mistake:
            self._told(name, mistake.problem, mistake.right)
            return default

    def _one_of(self, name: str, default: str, known: Mapping[str, object] | tuple[str, ...]) -> str:
        text = self._given.get(name, default)
        if text not in known:
            self._told(name, f"{text!r} is none", f"write {' or '.join(known)}")
            return default
        return text
