"""What each driver must make of each fault: written from the protocols and the project's own rules, not from a run."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from tests.campaigns.fault_rows import QUIET_S, ROWS, TIME_OUT_S, Row

Reaction = Literal["good", "in part", "as told", "no answer", "bad answer", "refused", "link down"]
"""`good`: the true values, or a command carried out and confirmed. `in part`: true values, and not all that were asked
for. `as told`: a value that no byte shows to be wrong, handed on for the supervisor to judge (range, rate, frozen)."""

CONNECT_S = 1.0
MARGIN_S = 0.1


@dataclass(frozen=True, slots=True)
class Column:
    """One fault of the common list.

    Attributes:
        name: for people. what: the simulators' name of it; empty where a device is asked for what it has not.
        modbus, scpi, board: what a read or command there may come to; empty where there is no such fault.
        amounts: beside their usual ones.
        lasts_s: how long what it left on the wire may go on after its end, s.
        after_s: how long after the request it strikes, s, the device being silent meanwhile; 0: before.
        link: whether it strikes the link rather than the device.
        reads, commands, tcp, rtu: whether there is such a fault there.
        chance: whether its bytes are chance, so that one strike tells little.
        own: for a protocol, a driver or what it does, and a kind of row: what counts in place of the above.
    """

    name: str
    what: str
    modbus: frozenset[Reaction]
    scpi: frozenset[Reaction]
    board: frozenset[Reaction]
    amounts: dict[str, float] = field(default_factory=dict)
    lasts_s: float = 0.0
    after_s: float = 0.0
    link: bool = False
    reads: bool = True
    commands: bool = True
    tcp: bool = True
    rtu: bool = True
    chance: bool = False
    own: dict[tuple[str, str], frozenset[Reaction]] = field(default_factory=dict)


def _of(*reactions: Reaction) -> frozenset[Reaction]:
    return frozenset(reactions)


NONE: frozenset[Reaction] = frozenset()
GOOD, PART, TOLD, NO, BAD, REFUSED, DOWN = (
    _of("good"), _of("in part"), _of("as told"), _of("no answer"), _of("bad answer"), _of("refused"), _of("link down"),
)  # fmt: skip

EXCEPTIONS = {
    1: "no such function",
    2: "no such address",
    3: "no such value",
    6: "busy",
    11: "nobody behind the gateway",
}
"""Exception codes besides 4, device failure. Source: Modbus Application Protocol V1.1b3, section 7."""

# A number in text has no check sum: what is changed in it may be another number, a list of errors, or none. A value in
# a Modbus TCP frame has none either; what carries the frame has, and no such bit gets past that.
_TEXT_READ, _TEXT_COMMAND = BAD | NO | TOLD | GOOD, BAD | NO | GOOD | REFUSED

COLUMNS: tuple[Column, ...] = (
    Column("answer dropped", "answer dropped", NO, NO, NO),
    Column("request dropped", "request dropped", NO, NO, NO, own={("board", "read"): GOOD}),
    # Later than a bus may answer, and no later than a board.
    Column("answer late", "answer delayed", NO, NO, GOOD, {"delay_ms": 300.0}, lasts_s=0.3),
    # Of two equal answers the second is too much where both lie there before the first is taken.
    Column("answer twice", "answer duplicated", GOOD | BAD, GOOD | BAD, GOOD),
    Column("cut short", "answer truncated", BAD, BAD | NO, BAD | NO),
    Column(
        "a bit flipped", "byte corrupted", BAD, _TEXT_COMMAND, BAD | NO, chance=True,
        own={("SCPI", "read"): _TEXT_READ, ("TCP", "read"): BAD | TOLD | GOOD},
    ),
    Column("wrong check sum", "wrong CRC", BAD, NONE, BAD | NO),
    # The check sum fits: no byte shows it. Two contacts that are both closed are the same when swapped.
    Column(
        "values swapped", "values swapped", TOLD, NONE, TOLD, commands=False,
        own={("contacts", "read"): GOOD},
    ),
    Column("wrong unit", "wrong unit", BAD, NONE, NONE),
    # What a board tells may be from any number on: some may have been lost.
    Column("another's number", "wrong number", BAD, NONE, NO, rtu=False, own={("board", "read"): GOOD}),
    Column("wrong function", "wrong function", BAD, NONE, NO),
    Column("wrong byte count", "wrong byte count", BAD, NONE, NONE),
    # A sentence that lacks its last value says nothing of it: what it does say is true.
    Column("wrong count", "wrong register count", BAD, NONE, BAD | NO, own={("board", "read"): PART}),
    # An end of a line may be among it, and what follows is a whole sentence; but a read hears the spoilt one first.
    Column(
        "garbage before", "garbage before the answer", BAD, BAD | NO, NO | GOOD, chance=True,
        own={("board", "read"): BAD | NO},
    ),
    Column("garbage instead", "garbage instead of the answer", BAD, BAD | NO, BAD | NO, chance=True),
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
    # A question that a text device does not know has no answer; a wrong order is in its list of errors.
    Column(
        "what it has not", "", REFUSED, REFUSED, REFUSED, own={("SCPI", "read"): NO, ("board", "read"): NO},
    ),
    Column(
        "refused", "device refuses", REFUSED, REFUSED, REFUSED, {"code": 4.0, "writes_only": 0.0},
        own={("SCPI", "read"): NONE, ("board", "read"): NONE, ("board", "keep"): NONE},
    ),
    *(
        Column(f"exception {code}: {word}", "device refuses", REFUSED, NONE, NONE, {"code": code, "writes_only": 0.0})
        for code, word in EXCEPTIONS.items()
    ),
    Column("device silent", "device silent", NO, NO, NO),
    Column("board resets", "board resets", NONE, NONE, NO, lasts_s=1.0),
    # An answer that is whole between two bursts is one.
    Column(
        "babble", "babble", BAD | NO | GOOD, _TEXT_COMMAND, BAD | NO | GOOD, {"every_ms": 1.0}, link=True, chance=True,
        own={("SCPI", "read"): _TEXT_READ},
    ),
    Column("unplugged", "port gone", DOWN, DOWN, DOWN, link=True),
    Column("unplugged meanwhile", "port gone", DOWN, DOWN, DOWN, after_s=0.05, link=True),
    Column("half closed", "server half-closed", DOWN | NO, NONE, NONE, link=True, rtu=False),
    Column("half closed meanwhile", "server half-closed", DOWN | NO, NONE, NONE, after_s=0.05, link=True, rtu=False),
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
    if row.protocol in {"RTU", "TCP"}:
        return column.modbus
    return column.scpi if row.protocol == "SCPI" else column.board


def deadline_s(row: Row, column: Column) -> float:
    """Wire time in which this cell must have come to something, s. A link that is lost is not waited for."""
    connects_s = CONNECT_S if column.link and row.protocol == "TCP" else 0.0
    if expected(row, column) == DOWN:
        return column.after_s + connects_s + MARGIN_S
    each_s = TIME_OUT_S[row.protocol] + QUIET_S
    return row.transactions * each_s + connects_s + MARGIN_S


def cells() -> list[tuple[Row, Column]]:
    """Every cell of the matrix."""
    return [(row, column) for row in ROWS for column in COLUMNS if expected(row, column)]
