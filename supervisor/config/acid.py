"""The strength of the acid as people write it: g/L, or percent by weight."""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import pairwise
from typing import Annotated

from supervisor.config.shape import Quantity, quantity_error

DENSITY_G_PER_CM3 = ((10.0, 1.0661), (12.0, 1.0802), (15.0, 1.1020), (16.0, 1.1094), (18.0, 1.1245), (20.0, 1.1398))
"""Percent by weight and density of sulfuric acid at 20 degC. Source: CRC Handbook of Chemistry and Physics."""

WEAKEST_G_PER_L = 100.0
STRONGEST_G_PER_L = 300.0
"""Outside these no bath for sulfuric anodizing works; usual practice is 165 to 225 g/L
(Metal Finishing Guidebook 2013 p. 425 and 2011-12 p. 412)."""

_PERCENT = re.compile(r"\s*([0-9.]+)\s*%\s*(.*?)\s*")


def by_weight_g_per_l(percent: float) -> float:
    """Acid in g/L of a bath of this strength, percent by weight, 10 to 20; ValueError outside.

    The density is taken on straight lines between the table's rows (error below 0.1 %).
    """
    for (low, at_low), (high, at_high) in pairwise(DENSITY_G_PER_CM3):
        if low <= percent <= high:
            density = at_low + (at_high - at_low) * (percent - low) / (high - low)
            return percent * 10.0 * density
    raise ValueError(f"{percent} % by weight is outside 10 to 20 %")


@dataclass(frozen=True)
class AcidStrength(Quantity):
    """A concentration that may also be written as percent by weight."""

    def read(self, given: object) -> float:
        """Read a value of a file, g/L. Raises PydanticCustomError."""
        match = _PERCENT.fullmatch(given) if isinstance(given, str) else None
        return super().read(given) if match is None else _percent(str(given), match)


def _percent(given: str, match: re.Match[str]) -> float:
    number, words = match.groups()
    if words == "by weight":
        try:
            return by_weight_g_per_l(float(number))
        except ValueError as problem:
            raise quantity_error(
                f"{given!r} is not a strength for anodizing", "write 10 to 20 % by weight"
            ) from problem
    if words == "by volume":
        right = 'write it in g/L: 15 % by volume of concentrated acid is about "270 g/L"'
        raise quantity_error(f"{given!r} does not say how strong the acid poured in was", right)
    right = 'write "15 % by weight" (165 g/L) or g/L; 15 % by volume of concentrated acid would be about "270 g/L"'
    raise quantity_error(f"{given!r}: by weight or by volume?", right)


Acid = Annotated[float, AcidStrength("concentration", least=WEAKEST_G_PER_L, most=STRONGEST_G_PER_L)]
