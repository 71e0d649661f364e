"""How long text takes on a serial wire."""

from __future__ import annotations

from drivers.points import SerialSettings

BITS_A_CHARACTER = 10
"""Start, eight data, stop; parity and a second stop come on top."""


def line_s(settings: SerialSettings, characters: int) -> float:
    """Time that so many characters take, s."""
    bits = BITS_A_CHARACTER + (settings.parity != "N") + (settings.stop_bits - 1)
    return characters * bits / settings.baud
