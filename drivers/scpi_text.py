"""SCPI numbers, error entries and condition bits as text and back. From SCPI-1999 and IEEE 488.2, from memory."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from decimal import Decimal

INFINITY = 9.9e37
"""Stands for infinity (SCPI-1999, volume 1, 7.2.1.4)."""

NOT_A_NUMBER = 9.91e37
"""Stands for a value that there is none of (SCPI-1999, volume 1, 7.2.1.5)."""

_NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]{1,3})?")
_ERROR = re.compile(r'([+-]?[0-9]{1,5}),\s*"(.*)"')


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of the error queue: its number, 0 where there is none, and the device's own text."""

    code: int
    text: str


def number(answer: str) -> float:
    """Read NR1, NR2 or NR3 (IEEE 488.2, 8.7.2 to 8.7.4); inf and nan where it stands for those. Raises ValueError."""
    if _NUMBER.fullmatch(answer) is None:
        raise ValueError(f"`{answer}` is no number")
    value = float(answer)
    if abs(value) < INFINITY:
        return value
    return math.nan if value == NOT_A_NUMBER else math.copysign(math.inf, value)


def whole_number(answer: str) -> int:
    """Read a number that must be whole and at least 0, such as a state or condition bits. Raises ValueError."""
    value = number(answer)
    if not (math.isfinite(value) and value >= 0 and value.is_integer()):
        raise ValueError(f"`{answer}` is no whole number from 0 up")
    return int(value)


def entry(answer: str) -> Entry:
    """Read the answer to SYST:ERR? (SCPI-1999, volume 1, 21.8.8). Raises ValueError."""
    found = _ERROR.fullmatch(answer)
    if found is None:
        raise ValueError(f"`{answer}` is no entry of an error queue")
    return Entry(int(found[1]), found[2].replace('""', '"'))


def rounded_down(value: float, step: float) -> str:
    """A value as plain decimal text, rounded down to a step.

    A billionth of a step is forgiven, which is more than a float's noise: 1.95 A at 1 mA is 1.950.
    """
    steps = math.floor(value / step + 1e-9)
    return format(Decimal(repr(step)) * steps, "f")
