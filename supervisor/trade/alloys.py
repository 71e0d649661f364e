"""What is known of an alloy before its own results are: growth, volts, density, soft start, thickest coat.

Sources, for sulfuric acid of 15 % by weight near 21 degC:

- Growth, um per A*min/dm2: 1xxx, 5xxx and 6xxx 0.30 (rule of thumb in Europe, from memory) to 0.33 ("How to apply the
  720 rule to current density anodizing", Products Finishing, Table 1: 0.32774, rounded up). In between lies AA6063 with
  0.3087 (Ajeel and Mohammad, Eng. & Tech. Journal 26(11), 2008). Shares of that, from memory: 7xxx 0.9-1.0,
  2xxx 0.7-0.85, castings 0.6-0.85. Nothing printed was found for 3xxx: as 1xxx, with 0.9 of its low bound.
  The bounds hold the factor of an alloy in a bath; single loads scatter about it by a few percent more.
- Volts at 12 A/ft2, 15 % by weight, 70 degF: from memory.
- Highest density, A/ft2: the printed 10-15 for decorative and protective work (Metal Finishing Guidebook 2013 p. 425)
  is the highest for what burns easily (2xxx, castings), and above it common practice without a source (12 for
  castings rich in silicon or copper, 18 for 7xxx, 24 for the rest).
- Ramp: with 60 s or more the voltage has no peak (from memory); twice and three times that where high volts and burning
  go together, common practice without a source. AMS 2472E 3.2.3 prints 5 min for a ramp in voltage.
- Coat limit: where the coat turns soft and chalks at 12 A/ft2 and 70 degF; from memory. It lies above 25.4 um, the
  thickest of MIL-A-8625F type II, for the alloys that standard's upper end is worked on.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Literal

from supervisor.trade.charge import Interval
from supervisor.trade.coating import FOOT_M
from supervisor.trade.dissolution import wall_loss_nm_per_s

Family = Literal["1xxx", "2xxx", "3xxx", "5xxx", "6xxx", "7xxx", "casting", "mixed"]

PER_DM2_MINUTE = 0.01 / 60
"""um per A*min/dm2 into um per C/m2."""

USUAL_DENSITY_A_PER_M2 = 12 / FOOT_M**2
USUAL_BATH_C = (70 - 32) / 1.8
"""What volts and coat limits of the table are for: 12 A/ft2, 70 degF."""

USUAL_V = 15.0
"""Volts of a load whose alloy nobody named: those of the usual ones."""

PLAUSIBLE_SHARE = 0.4


@dataclass(frozen=True, slots=True)
class Alloy:
    """One alloy, or the several of a mixed load taken together.

    Attributes:
        name: as people call it, such as `6061` or `cast 356`; of several, joined by commas.
        family: its kind. growth: um per C/m2, low, best and high factor.
        voltage_v: of the cell at 12 A/ft2, 15 % acid by weight, 70 degF, without its leads, V.
        highest_density_a_per_m2: above it burning is likely. ramp_s: least soft start to advise, s.
        coat_limit_um: beyond it the coat turns soft and chalks at a usual bath temperature.
        notes: a sentence for people; "" where there is nothing to say.
    """

    name: str
    family: Family
    growth: Interval
    voltage_v: float
    highest_density_a_per_m2: float
    ramp_s: float
    coat_limit_um: float
    notes: str = ""


def _growth(low: float, best: float, high: float) -> Interval:
    """From um per A*min/dm2."""
    return Interval(low * PER_DM2_MINUTE, best * PER_DM2_MINUTE, high * PER_DM2_MINUTE)


def _per_ft2(density: float) -> float:
    return density / FOOT_M**2


_USUAL = _growth(0.30, 0.315, 0.33)
_MANGANESE = _growth(0.27, 0.30, 0.33)
_ZINC = _growth(0.27, 0.30, 0.33)
_COPPER = _growth(0.21, 0.245, 0.28)
_CAST = _growth(0.18, 0.23, 0.28)

ALLOYS: dict[str, Alloy] = {
    alloy.name: alloy
    for alloy in (
        Alloy("1100", "1xxx", _USUAL, 15.0, _per_ft2(24), 60.0, 30.0),
        Alloy(
            "2024",
            "2xxx",
            _COPPER,
            21.0,
            _per_ft2(15),
            120.0,
            15.0,
            "Much copper: a thin, soft coat at high volts; it burns easily and contacts heat up.",
        ),
        Alloy(
            "3003", "3xxx", _MANGANESE, 16.0, _per_ft2(24), 60.0, 25.0, "Manganese: grey to brown, uneven in colour."
        ),
        Alloy("5052", "5xxx", _USUAL, 14.5, _per_ft2(24), 60.0, 30.0),
        Alloy("6061", "6xxx", _USUAL, 15.0, _per_ft2(24), 60.0, 30.0),
        Alloy("6063", "6xxx", _USUAL, 15.0, _per_ft2(24), 60.0, 30.0),
        Alloy("7075", "7xxx", _ZINC, 16.0, _per_ft2(18), 60.0, 25.0, "Zinc and copper: slightly yellow, softer coat."),
        Alloy(
            "cast 356",
            "casting",
            _CAST,
            19.0,
            _per_ft2(15),
            120.0,
            20.0,
            "Seven percent of silicon stay in the coat: grey, uneven; gauge it rather than trust the charge.",
        ),
        Alloy(
            "cast 380",
            "casting",
            _CAST,
            23.0,
            _per_ft2(12),
            180.0,
            12.0,
            "Silicon and copper: dark, thin, patchy; high volts, burns easily. Gauge it.",
        ),
        Alloy(
            "cast 413",
            "casting",
            _CAST,
            26.0,
            _per_ft2(12),
            180.0,
            12.0,
            "Twelve percent of silicon: dark, thin, patchy at high volts. Gauge it.",
        ),
    )
}

_CASTINGS = {name.removeprefix("cast "): name for name in ALLOYS if name.startswith("cast ")}


def named(text: str) -> tuple[Alloy | None, tuple[str, ...]]:
    """Find what a person wrote, one alloy or several behind commas; None with every reason where one is not known.

    A temper behind the number is passed over (`6061-T6`), and so are `AA` before it and a casting's letter (`A356`).
    """
    parts = [part.strip() for part in text.split(",")]
    found = [ALLOYS.get(_plain(part)) for part in parts]
    unknown = tuple(_unknown(part) for part, alloy in zip(parts, found, strict=True) if alloy is None)
    alloys = tuple({alloy.name: alloy for alloy in found if alloy is not None}.values())
    if unknown:
        return None, unknown
    return (alloys[0] if len(alloys) == 1 else together(alloys)), ()


def _plain(written: str) -> str:
    """Reduce a name to the key it would have in the table."""
    text = re.sub(r"[\s-]+(?:[tfoh]\d*|t\d+\w*)$", "", written.strip().lower())
    text = re.sub(r"^(?:aa|en\s*aw)[\s-]*", "", text)
    number = re.sub(r"^(?:cast\s*)?[a-d]?(?=\d{3}(?:\.\d)?$)", "", text).partition(".")[0]
    return _CASTINGS.get(number, text)


def _unknown(written: str) -> str:
    if not written:
        return f"No alloy is named; the table has {', '.join(ALLOYS)}."
    shown = written[:30]
    near = get_close_matches(_plain(written), ALLOYS, n=3, cutoff=0.5)
    if near:
        return f"The alloy {shown} is not in the table. Was {' or '.join(near)} meant?"
    return f"The alloy {shown} is not in the table; it has {', '.join(ALLOYS)}."


def together(alloys: tuple[Alloy, ...]) -> Alloy:
    """Several alloys in one load: nobody knows how the current parts between them, so each bound is the most careful.

    Growth spans all of them, its best value the mean of theirs.
    """
    growths = [alloy.growth for alloy in alloys]
    best = sum(growth.best for growth in growths) / len(growths)
    return Alloy(
        name=", ".join(alloy.name for alloy in alloys),
        family="mixed",
        growth=Interval(min(growth.low for growth in growths), best, max(growth.high for growth in growths)),
        voltage_v=max(alloy.voltage_v for alloy in alloys),
        highest_density_a_per_m2=min(alloy.highest_density_a_per_m2 for alloy in alloys),
        ramp_s=max(alloy.ramp_s for alloy in alloys),
        coat_limit_um=min(alloy.coat_limit_um for alloy in alloys),
        notes="Different alloys in one load take different shares of the current and differ in coat and colour.",
    )


def wall_limit_nm(alloy: Alloy) -> float:
    """Loss of the outermost walls, nm, at which a coat of this alloy chalks.

    By definition of the table: what they lose while its thickest coat grows at 12 A/ft2 and 70 degF.
    """
    grows_s = alloy.coat_limit_um / (alloy.growth.best * USUAL_DENSITY_A_PER_M2)
    return grows_s * wall_loss_nm_per_s(USUAL_BATH_C, under_current=True)


def cell_v(alloy_v: float, density_a_per_m2: float) -> float:
    """Voltage, V, an alloy needs at a density, A/m2, at 70 degF: with its power of 0.4 (from memory)."""
    return alloy_v * math.pow(max(0.0, density_a_per_m2) / USUAL_DENSITY_A_PER_M2, 0.4)


def least_plausible_v(alloy_v: float, density_a_per_m2: float) -> float:
    """Voltage, V, below which no coat grows at a density, A/m2, whatever current flows.

    Four tenths of what the alloy needs at that density, and never more than at 12 A/ft2: a warm bath, strong acid and
    chance take off less than that, a rack that touches the cathode or a wrong polarity more (common practice, no
    source).
    """
    return PLAUSIBLE_SHARE * min(alloy_v, cell_v(alloy_v, density_a_per_m2))
