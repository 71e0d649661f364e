"""Registers of a device without a profile: each in every way it may be meant, and which of them can be read."""

from __future__ import annotations

import json
import math
import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol, cast, get_args

from drivers.ports import BadAnswer, Link, NoAnswer, Refused
from drivers.registers import BIT_TABLES, MOST_IN_ONE_READ, Table, WordOrder
from supervisor.cli.probe_table import VERSION, columns

HALVED = frozenset({2, 3, 4})
"""Refusals that a part of the same range may not meet: no such address, too many, failed while doing it."""

WIDE = {"uint32": ">I", "int32": ">i", "float32": ">f"}
"""What two registers may be together, as `struct` unpacks it once the bytes are in the order A B C D."""

ORDERS: tuple[WordOrder, ...] = get_args(WordOrder)


@dataclass(frozen=True, slots=True)
class Wanted:
    """What to read; with `find`, a range that is refused is halved until only what is refused is left out."""

    unit: int
    table: Table
    address: int
    count: int
    find: bool = False


@dataclass(slots=True)
class Read:
    """What came: registers or bits by address, what was refused (address, count, text), how it cost and how it ended.

    Attributes:
        longest: of the reads that were answered. failure: what ended it early; empty where nothing did.
    """

    raw: dict[int, int] = field(default_factory=dict)
    refused: list[tuple[int, int, str]] = field(default_factory=list)
    requests: int = 0
    longest: int = 0
    failure: str = ""

    @property
    def too_long(self) -> int:
        """The shortest read that was refused though every address in it can be read by itself; 0 where none was."""
        whole = [count for at, count, _ in self.refused if all(a in self.raw for a in range(at, at + count))]
        return min(whole, default=0)


class _Answer(Protocol):
    raw: tuple[int, ...]


class _Readable(Protocol):
    """A link on which registers are read, over whatever wire."""

    async def read(self, unit: int, table: Table, address: int, count: int) -> _Answer:
        """Read adjacent registers or bits. Raises WireError."""


async def read_registers(link: Link, wanted: Wanted, *, as_json: bool) -> tuple[int, str]:
    """Read and tell; the exit code is 0 where anything came. Raises LinkDown."""
    read = Read()
    await _read(cast("_Readable", link), wanted, read)
    return 0 if read.raw else 1, _as_object(wanted, read) if as_json else _as_text(wanted, read)


async def _read(link: _Readable, wanted: Wanted, read: Read) -> None:
    """Read the range in parts that one request may ask for, halving what is refused where that is wanted."""
    most, end = MOST_IN_ONE_READ[wanted.table], wanted.address + wanted.count
    parts = [(at, min(most, end - at)) for at in range(wanted.address, end, most)]
    while parts:
        at, count = parts.pop(0)
        read.requests += 1
        try:
            answer = await link.read(wanted.unit, wanted.table, at, count)
        except Refused as problem:
            read.refused.append((at, count, str(problem)))
            if wanted.find and count > 1 and problem.code in HALVED:
                parts[:0] = [(at, count // 2), (at + count // 2, count - count // 2)]
            elif problem.code not in HALVED:
                return
        except (NoAnswer, BadAnswer) as problem:
            read.failure = str(problem)
            return
        else:
            read.raw.update(enumerate(answer.raw, at))
            read.longest = max(read.longest, count)


def wide(pair: tuple[int, int], kind: str, order: WordOrder) -> float:
    """What two registers are together.

    Args:
        pair: 0 to 65535 each, in the order of their addresses.
        kind: a key of WIDE.
        order: of the bytes as they pass, A the most significant.
    """
    passing = struct.pack(">HH", *pair)
    by_weight = bytes(byte for _, byte in sorted(zip(order, passing, strict=True)))
    (value,) = struct.unpack(WIDE[kind], by_weight)
    return cast("float", value)


def _int16(register: int) -> int:
    return register - 0x10000 if register >= 0x8000 else register


def _pairs(read: Read) -> Iterator[tuple[int, tuple[int, int]]]:
    """Every register with its neighbour, where both came."""
    for address in sorted(read.raw):
        if address + 1 in read.raw:
            yield address, (read.raw[address], read.raw[address + 1])


# -- for people


def _as_text(wanted: Wanted, read: Read) -> str:
    lines = [f"unit {wanted.unit}, {wanted.table}s from {wanted.address} to {wanted.address + wanted.count - 1}"]
    if read.raw and wanted.table in BIT_TABLES:
        cells = [(f"{at}", f"0x{at:04X}", str(bit)) for at, bit in sorted(read.raw.items())]
        lines += columns([("address", "as hex", "bit"), *cells], {0, 1, 2})
    elif read.raw:
        lines += _singles(read)
        lines += _doubles(read)
    lines += _ends(wanted, read)
    return "\n".join(lines)


def _singles(read: Read) -> list[str]:
    cells = [
        (f"{at}", f"0x{at:04X}", f"0x{register:04X}", str(register), str(_int16(register)))
        for at, register in sorted(read.raw.items())
    ]
    return columns([("address", "as hex", "raw", "uint16", "int16"), *cells], {0, 1, 2, 3, 4})


def _doubles(read: Read) -> list[str]:
    cells: list[Sequence[str]] = [
        (f"{at}, {at + 1}", kind, *(_figure(wide(pair, kind, order)) for order in ORDERS))
        for at, pair in _pairs(read)
        for kind in WIDE
    ]
    heads = ("two together", "as", *ORDERS)
    return ["", *columns([heads, *cells], {0, 2, 3, 4, 5})] if cells else []


def _figure(value: float) -> str:
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def _ends(wanted: Wanted, read: Read) -> Iterator[str]:
    """Tell what cannot be read, what it cost, and what follows for a profile."""
    if wanted.find:
        yield f"readable: {_ranges(read.raw)}"
        if read.too_long:
            yield f"It refuses to give {read.too_long} at once: longest_read = {read.longest}"
    elif read.refused:
        yield read.refused[0][2]
        if wanted.count > 1:
            yield "A part of them may be readable: add --find"
    if wanted.find and not read.raw and read.refused:
        yield read.refused[-1][2]
    if read.failure:
        yield f"It ended early: {read.failure}" if read.raw else f"{read.failure}; check unit, power, wires and speed"
    yield f"{read.requests} request{'' if read.requests == 1 else 's'}, all of them reads; nothing was written."


def _ranges(addresses: Sequence[int] | dict[int, int]) -> str:
    """Addresses as ranges, such as 0 to 9, 16."""
    told: list[list[int]] = []
    for address in sorted(addresses):
        if told and address == told[-1][1] + 1:
            told[-1][1] = address
        else:
            told.append([address, address])
    return ", ".join(f"{first}" if first == last else f"{first} to {last}" for first, last in told) or "none"


# -- for programs


def _as_object(wanted: Wanted, read: Read) -> str:
    bits = wanted.table in BIT_TABLES
    pairs = dict(() if bits else _pairs(read))
    registers: list[dict[str, Any]] = []
    for at, raw in sorted(read.raw.items()):
        row: dict[str, Any] = {"address": at, "raw": raw}
        if not bits:
            row["int16"] = _int16(raw)
            row["with_next"] = {
                kind: {order: _finite(wide(pairs[at], kind, order)) for order in ORDERS} for kind in WIDE if at in pairs
            }
        registers.append(row)
    refused = [{"address": at, "count": count, "text": text} for at, count, text in read.refused]
    return json.dumps({
        "version": VERSION, "unit": wanted.unit, "table": wanted.table, "registers": registers, "refused": refused,
        "requests": read.requests, "longest_answered": read.longest, "failure": read.failure,
    })  # fmt: skip


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
