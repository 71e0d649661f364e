"""A load: the parts hung together, with what is asked for and what became of it."""

from __future__ import annotations

from dataclasses import dataclass

REMEMBERED_LOADS = 1000
"""Loads kept, newest first: about a year of a busy line. An older one's name may be given again."""


@dataclass(frozen=True, slots=True)
class Load:
    """One load.

    Attributes:
        id: as the person named it, or numbered by the line. area_m2: wetted area. target_um: thickness wanted.
        operation: the anodize operation it went through. suspect: why it may be spoiled; "" if nothing says so.
        alloy: as named for it, "" where nobody said. gauge: why its coat must be gauged; "" if nothing says so.
    """

    id: str
    area_m2: float
    target_um: float
    operation: str
    suspect: str = ""
    alloy: str = ""
    gauge: str = ""
