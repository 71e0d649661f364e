"""What each driver must make of each fault: written from the protocols and the project's own rules, not from a run."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from tests.campaigns.fault_rows import QUIET_S, ROWS, TIME_OUT_S, Row

Reaction = Literal["good", "as told", "no answer", "bad answer", "refused", "link down"]
"""`good`: the true value, or a command carried out and confirmed. `as told`: a value that no byte shows to be wrong,
handed on for the supervisor to judge (range, rate, frozen)."""

CONNECT_S = 1.0
MARGIN_S = 0.1


@dataclass(frozen=True, slots=True)
class Column:
    """One fault of the common list.

    Attributes:
        name: for people. what: the simulators' name of it. amounts: beside their usual ones.
        lasts_s: how long what it left on the wire may go on after its end, s.
        link: whether it strikes the link rather than the device.
        modbus, scpi, board: what a read or command there may come to; empty where there is no such fault.
    """

    name: str
    what: str
    modbus: frozenset[Reaction]
    scpi: frozenset[Reaction]
    board: frozenset[Reaction]
    amounts: dict[str, float] = field(default_factory=dict)
    lasts_s: float = 0.6
    link: bool = False
    reads: bool = True
    commands: bool = True
    tcp: bool = True
    rtu: bool = True
    own: dict[tuple[str, str], frozenset[Reaction]] = field(default_factory=dict)
    """For a protocol (or a driver) and a kind of row, what counts in place of the above."""


def _of(*reactions: Reaction) -> frozenset[Reaction]:
    return frozenset(reactions)


NONE: frozenset[Reaction] = frozenset()
GOOD, TOLD, NO, BAD, REFUSED, DOWN = (
    _of("good"), _of("as told"), _of("no answer"), _of("bad answer"), _of("refused"), _of("link down"),
)  # fmt: skip

EXCEPTIONS = {
    1: "no such function",
    2: "no such address",
    3: "no such value",
    6: "busy",
    11: "nobody behind the gateway",
}
"""Exception codes besides 4, device failure. Source: Modbus Application Protocol V1.1b3, section 7."""

COLUMNS: tuple[Column, ...] = (
    # A number in text has no check sum: what is lost of it is silence, what is changed in it may be another number.
    Column("answer dropped", "answer dropped", NO, NO, NO),
    Column("request dropped", "request dropped", NO, NO, NO, own={("board", "read"): GOOD}),
    # Later than a bus may answer, and no later than a board.
    Column("answer late", "answer delayed", NO, NO, GOOD, {"delay_ms": 300.0}),
    # Of two equal answers the second is too much where both lie there before the first is taken.
    Column("answer twice", "answer duplicated", GOOD | BAD, GOOD | BAD, GOOD),
    Column("cut short", "answer truncated", BAD, BAD | NO, BAD | NO),
    Column("a bit flipped", "byte corrupted", BAD, BAD | NO | TOLD | GOOD | REFUSED, BAD | NO),
    Column("wrong check sum", "wrong CRC", BAD, NONE, BAD | NO),
    # The check sum fits: no byte shows it. Two contacts that are both closed are the same when swapped.
    Column(
        "values swapped", "values swapped", TOLD, NONE, TOLD, commands=False,
        own={("contacts", "read"): GOOD},
    ),
    Column("wrong unit", "wrong unit", BAD, NONE, NONE),
    Column("another's number", "wrong number", BAD, NONE, BAD | NO | GOOD, rtu=False),
    Column("wrong function", "wrong function", BAD, NONE, BAD | NO),
    Column("wrong byte count", "wrong byte count", BAD, NONE, NONE),
    # A sentence that lacks its last value says nothing of it: what it does say is true.
    Column("wrong count", "wrong register count", BAD, NONE, BAD | NO, own={("board", "read"): GOOD}),
    Column("garbage before", "garbage before the answer", BAD, BAD | NO, BAD | NO | GOOD),
    Column("garbage instead", "garbage instead of the answer", BAD, BAD | NO, BAD | NO),
    # The two bytes that answer whether an output is on are there in time all the same.
    Column(
        "slow drip", "slow drip", BAD | NO, BAD | NO, BAD | NO, {"gap_ms": 60.0}, lasts_s=20.0,
        own={("SCPI", "off"): GOOD | BAD | NO, ("SCPI", "on"): GOOD | BAD | NO},
    ),
    # Bits and coils have no room for a value that none can have.
    Column(
        "out of range", "value out of range", TOLD, TOLD, TOLD, {"value": 99999.0}, commands=False,
        own={("contacts", "read"): GOOD},
    ),
    Column("old values", "values stuck", TOLD, TOLD, TOLD, commands=False),
    Column("refused", "device refuses", REFUSED, REFUSED | BAD, REFUSED, {"code": 4.0, "writes_only": 0.0},
        own={("scpi supply", "read"): NONE, ("board", "read"): NONE, ("board", "keep"): NONE}),
    *(
        Column(f"exception {code}: {word}", "device refuses", REFUSED, NONE, NONE, {"code": code, "writes_only": 0.0})
        for code, word in EXCEPTIONS.items()
    ),
    Column("device silent", "device silent", NO, NO, NO),
    # An answer that is whole between two bursts is one.
    Column(
        "babble", "babble", BAD | NO | GOOD, BAD | NO | TOLD | GOOD | REFUSED, BAD | NO | GOOD, {"every_ms": 1.0},
        link=True,
    ),
    Column("unplugged", "port gone", DOWN, DOWN, DOWN, link=True),
    Column("half closed", "server half-closed", DOWN | NO, NONE, NONE, link=True, rtu=False),
)  # fmt: skip


def expected(row: Row, column: Column) -> frozenset[Reaction]:
    """What this cell may come to; empty where there is no such cell."""
    if (row.kind == "read" and not column.reads) or (row.kind != "read" and not column.commands):
        return NONE
    if (row.protocol == "TCP" and not column.tcp) or (row.protocol == "RTU" and not column.rtu):
        return NONE
    for key in (row.what, row.driver, row.protocol):
        if (key, row.kind) in column.own:
            return column.own[key, row.kind]
    by_protocol = {"SCPI": column.scpi, "board": column.board}
    found = by_protocol.get(row.protocol, column.modbus)
    return found if row.kind == "read" else found - TOLD  # a command tells no value


def deadline_s(row: Row, column: Column) -> float:
    """Wire time in which this cell must have come to something, s."""
    each_s = TIME_OUT_S[row.protocol] + QUIET_S
    connects_s = CONNECT_S if column.link and row.protocol == "TCP" else 0.0
    return row.transactions * each_s + connects_s + MARGIN_S


def cells() -> list[tuple[Row, Column]]:
    """Every cell of the matrix."""
    return [(row, column) for row in ROWS for column in COLUMNS if expected(row, column)]
