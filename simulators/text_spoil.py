"""What faults make of a good line of text, an SCPI answer or a board's sentence: the bytes that appear, and when."""

from __future__ import annotations

import random
import re
from collections.abc import Callable, Iterable

from simulators.faults import Fault
from simulators.microcontroller import sentence
from simulators.pty import Piece

_NUMBER = re.compile(rb"[+-]?\d+(?:\.\d+)?(?:E[+-]?\d+)?")


def _is_sentence(line: bytes) -> bool:
    return line.startswith(b"$")


def _fields_of(line: bytes) -> tuple[list[bytes], bytes]:
    """The parts of a line and what joins them: `,` within a sentence's body, `;` in an SCPI answer."""
    if _is_sentence(line):
        return line[1 : line.rindex(b"*")].split(b","), b","
    return line.rstrip(b"\r\n").split(b";"), b";"


def _joined(like: bytes, fields: list[bytes]) -> bytes:
    """A line of these parts that is whole again, its check sum fitting."""
    if _is_sentence(like):
        return sentence(b",".join(fields).decode())
    return b";".join(fields) + like[len(like.rstrip(b"\r\n")) :]


def _truncated(line: bytes, fault: Fault, _chance: random.Random) -> bytes:
    return line[: max(len(line) - int(fault.amounts["bytes"]), 0)]


def _corrupted(line: bytes, _fault: Fault, chance: random.Random) -> bytes:
    place = chance.randrange(len(line))
    return line[:place] + bytes((line[place] ^ (1 << chance.randrange(8)),)) + line[place + 1 :]


def _garbage_before(line: bytes, fault: Fault, chance: random.Random) -> bytes:
    return chance.randbytes(int(fault.amounts["bytes"])) + line


def _garbage_instead(_line: bytes, fault: Fault, chance: random.Random) -> bytes:
    return chance.randbytes(int(fault.amounts["bytes"]))


def _swapped(line: bytes, _fault: Fault, _chance: random.Random) -> bytes:
    """The first two values of a reading change places, each under the other's name."""
    fields, _ = _fields_of(line)
    if not _is_sentence(line):
        return _joined(line, [fields[1], fields[0], *fields[2:]]) if len(fields) > 1 else line
    if fields[0] != b"READ" or len(fields) < 4:
        return line
    (one, _, its), (other, _, others) = fields[2].partition(b"="), fields[3].partition(b"=")
    return _joined(line, [*fields[:2], one + b"=" + others, other + b"=" + its, *fields[4:]])


def _out_of_range(line: bytes, fault: Fault, _chance: random.Random) -> bytes:
    """The first value is one that no such thing can have."""
    if not _is_sentence(line):
        return _NUMBER.sub(b"%+.5E" % fault.amounts["value"], line, count=1)
    fields, _ = _fields_of(line)
    if fields[0] == b"READ" and len(fields) > 2:
        fields[2] = fields[2].partition(b"=")[0] + b"=%.2f" % fault.amounts["value"]
    return _joined(line, fields)


def _field_missing(line: bytes, _fault: Fault, _chance: random.Random) -> bytes:
    """The last value is not there."""
    fields, _ = _fields_of(line)
    return _joined(line, fields[:-1]) if len(fields) > 1 else line


def _wrong_number(line: bytes, _fault: Fault, _chance: random.Random) -> bytes:
    """Another number than the sentence's own, as of one that was lost or came before."""
    if not _is_sentence(line):
        return line
    fields, _ = _fields_of(line)
    fields[1] = str((int(fields[1]) + 7) & 0xFFFF).encode()
    return _joined(line, fields)


def _wrong_word(line: bytes, _fault: Fault, _chance: random.Random) -> bytes:
    """A word that nobody knows."""
    if not _is_sentence(line):
        return line
    fields, _ = _fields_of(line)
    return _joined(line, [fields[0][::-1], *fields[1:]])


def _wrong_check_sum(line: bytes, _fault: Fault, _chance: random.Random) -> bytes:
    if not _is_sentence(line):
        return line
    body, star, digits = line.rpartition(b"*")
    return body + star + b"%02X" % (int(digits[:2], 16) ^ 0xFF) + digits[2:]


# What makes another whole line comes first, what breaks lines after it.
_SPOILERS: dict[str, Callable[[bytes, Fault, random.Random], bytes]] = {
    "values swapped": _swapped,
    "value out of range": _out_of_range,
    "wrong register count": _field_missing,
    "wrong number": _wrong_number,
    "wrong function": _wrong_word,
    "wrong CRC": _wrong_check_sum,
    "byte corrupted": _corrupted,
    "answer truncated": _truncated,
    "garbage before the answer": _garbage_before,
    "garbage instead of the answer": _garbage_instead,
}


def spoil(line: bytes, faults: Iterable[Fault], chance: random.Random) -> list[Piece]:
    """The line, with its end, as the faults leave it.

    Amounts: `bytes` of truncation and garbage, `delay_ms` of "answer delayed", `gap_ms` between two bytes of "slow
    drip", `value` of "value out of range". A fault that makes no sense for such a line leaves it as it is: a number
    without a check sum cannot have a wrong one.
    """
    struck = {fault.what: fault for fault in faults}
    for what, spoiler in _SPOILERS.items():
        if what in struck and line:
            line = spoiler(line, struck[what], chance)
    if "answer dropped" in struck or not line:
        return []
    delay_s = struck["answer delayed"].amounts["delay_ms"] / 1000.0 if "answer delayed" in struck else 0.0
    gap_s = struck["slow drip"].amounts["gap_ms"] / 1000.0 if "slow drip" in struck else 0.0
    return [Piece(line, delay_s, gap_s)] * (2 if "answer duplicated" in struck else 1)


def babble(fault: Fault, chance: random.Random) -> Piece:
    """One burst of what a broken sender puts on the wire: `bytes` of noise, with line ends in it."""
    return Piece(bytes(chance.choice(b"$,*=0123456789;\r\n\x00\xff") for _ in range(int(fault.amounts["bytes"]))))
