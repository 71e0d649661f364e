"""Figures drawn large out of half blocks, to be read from across the room."""

from __future__ import annotations

# Three dots wide, five high, a row for each of 5 numbers whose bits are the dots from left to right.
_DOTS: dict[str, tuple[int, ...]] = {
    "0": (0b111, 0b101, 0b101, 0b101, 0b111),
    "1": (0b010, 0b110, 0b010, 0b010, 0b111),
    "2": (0b111, 0b001, 0b111, 0b100, 0b111),
    "3": (0b111, 0b001, 0b111, 0b001, 0b111),
    "4": (0b101, 0b101, 0b111, 0b001, 0b001),
    "5": (0b111, 0b100, 0b111, 0b001, 0b111),
    "6": (0b111, 0b100, 0b111, 0b101, 0b111),
    "7": (0b111, 0b001, 0b001, 0b010, 0b010),
    "8": (0b111, 0b101, 0b111, 0b101, 0b111),
    "9": (0b111, 0b101, 0b111, 0b001, 0b111),
    "-": (0b000, 0b000, 0b111, 0b000, 0b000),
    ".": (0b0, 0b0, 0b0, 0b0, 0b1),
    ":": (0b0, 0b1, 0b0, 0b1, 0b0),
}
_NARROW = ".:"
_HALVES = {(0, 0): " ", (1, 0): "▀", (0, 1): "▄", (1, 1): "█"}

ROWS = 3


def large(text: str) -> list[str]:
    """Draw digits, `.`, `:` and `-` in three rows of text. Raises KeyError for anything else."""
    return [" ".join(_row(sign, row) for sign in text) for row in range(ROWS)]


def _row(sign: str, row: int) -> str:
    dots = (*_DOTS[sign], 0)  # the sixth row of dots is empty
    upper, lower = dots[2 * row], dots[2 * row + 1]
    width = 1 if sign in _NARROW else 3
    return "".join(_HALVES[upper >> bit & 1, lower >> bit & 1] for bit in reversed(range(width)))
