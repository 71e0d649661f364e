"""The sentences that a board and its host exchange, as bytes and back; told whole in docs/board-sentence.md.

Framing and check sum are those of NMEA 0183 (from memory); the words are our own.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import reduce
from operator import xor

LONGEST = 250
"""Bytes of a whole sentence, `$` and line end included."""

NUMBERS = 0x10000
"""Sentences are counted 0 to 65535, then from 0 again."""

NAME = re.compile(r"[a-z][a-z0-9-]{0,23}")
"""What a value or a relay may be called."""

_FRAME = re.compile(rb"\$([\x20-\x7e]*)\*([0-9A-F]{2})\r\n")
_BODY = re.compile(r"([A-Z]+),(0|[1-9][0-9]{0,4})((?:,[^,$*]*)+)")
_DECIMAL = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?")


@dataclass(frozen=True, slots=True)
class Sentence:
    """One sentence: its word such as `READ`, its number 0 to 65535, and its fields as text."""

    word: str
    number: int
    fields: tuple[str, ...]


def check_sum(body: bytes) -> bytes:
    """The exclusive or of all bytes between `$` and `*`, as two upper-case hexadecimal digits."""
    return b"%02X" % reduce(xor, body, 0)


def encode(sentence: Sentence) -> bytes:
    """Turn a sentence into its bytes, line end included. Raises ValueError for one that could not be read back."""
    body = ",".join((sentence.word, str(sentence.number), *sentence.fields)).encode("ascii")
    line = b"$%b*%b\r\n" % (body, check_sum(body))
    if decode(line) != sentence:
        raise ValueError(f"{line!r} is no sentence that says the same")
    return line


def decode(line: bytes) -> Sentence:
    """Read one line, its end included. Raises ValueError, with the reason, for all but exactly one whole sentence."""
    if len(line) > LONGEST:
        raise ValueError(f"it is longer than {LONGEST} bytes")
    frame = _FRAME.fullmatch(line)
    if frame is None:
        raise ValueError("it is no whole sentence")
    body, told = frame.groups()
    if check_sum(body) != told:
        raise ValueError("its check sum is wrong")
    parts = _BODY.fullmatch(body.decode("ascii"))
    if parts is None or int(parts[2]) >= NUMBERS:
        raise ValueError("it has no word, number and fields as a sentence must")
    return Sentence(parts[1], int(parts[2]), tuple(parts[3][1:].split(",")))


def values(sentence: Sentence) -> Mapping[str, float | None]:
    """Read the fields `name=value`; None where a value is left empty. Raises ValueError for any other field."""
    found: dict[str, float | None] = {}
    for text in sentence.fields:
        name, equals, value = text.partition("=")
        if not equals or NAME.fullmatch(name) is None or name in found:
            raise ValueError(f"`{text}` is no value with a name of its own")
        found[name] = decimal(value) if value else None
    return found


def decimal(text: str) -> float:
    """Read a decimal number with an optional sign and fraction. Raises ValueError."""
    if _DECIMAL.fullmatch(text) is None:
        raise ValueError(f"`{text}` is no decimal number")
    return float(text)
