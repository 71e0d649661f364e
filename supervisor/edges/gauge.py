"""What a gauge or a balance showed of a coat, as people write it, made into thickness in um."""

from __future__ import annotations

from typing import Any

from supervisor import units
from supervisor.core.events import GaugeReading

MOST_READINGS = 100

THINNEST_G_PER_CM3, DENSEST_G_PER_CM3 = 1.8, 3.2
"""Apparent densities of anodic coats lie between: 2.32 (AAMA 611), 2.4 unsealed and 2.6 sealed (ISO 2106, from memory),
and no coat is denser than its oxide (3.2, from memory)."""


def read_gauge(body: dict[str, Any], reasons: list[str]) -> tuple[GaugeReading, ...]:
    """Read the readings of a gauge: thicknesses, or masses per area with the coat's density."""
    written = body.get("readings", [])
    if (
        not isinstance(written, list)
        or len(written) > MOST_READINGS
        or not all(isinstance(one, str) for one in written)
    ):
        reasons.append(f"readings: these must be at most {MOST_READINGS} texts with units, like '20 um' or '0.8 mil'.")
        return ()
    by_mass = [_is_mass(text) for text in written]
    density = _density(body, reasons, needed=any(by_mass))
    found = [
        _mass(text, density) if mass else _thickness(text, reasons) for text, mass in zip(written, by_mass, strict=True)
    ]
    return tuple(reading for reading in found if reading is not None)


def _is_mass(text: str) -> bool:
    try:
        units.parse(text, "mass per area")
    except units.UnitMistake:
        return False
    return True


def _density(body: dict[str, Any], reasons: list[str], *, needed: bool) -> float | None:
    """The density of the coat, g/cm3, where masses per area need one; a wrong or missing one is told."""
    text = body.get("density")
    if text is None or not needed:
        if needed:
            reasons.append(f"density: a mass per area says thickness only with the coat's density, like {_EXAMPLE}.")
        elif text is not None:
            reasons.append("density: it goes with masses per area; these are thicknesses, so leave it out.")
        return None
    if not isinstance(text, str):
        reasons.append(f"density: this must be a text with a unit, like {_EXAMPLE}.")
        return None
    try:
        density = units.parse(text, "mass density")
    except units.UnitMistake as mistake:
        reasons.append(f"density: {mistake.problem}; {mistake.right}.")
        return None
    if not THINNEST_G_PER_CM3 <= density <= DENSEST_G_PER_CM3:
        reasons.append(
            f"density: no anodic coat has {density:.3g} g/cm^3; 2.4 g/cm^3 is usual unsealed, 2.6 g/cm^3 sealed."
        )
        return None
    return density


_EXAMPLE = units.example("mass density")


def _thickness(text: str, reasons: list[str]) -> GaugeReading | None:
    try:
        return GaugeReading(units.parse(text, "thickness"), *units.split(text, "thickness"))
    except units.UnitMistake as mistake:
        reasons.append(f"readings: {mistake.problem}; {mistake.right}.")
        return None


def _mass(text: str, density_g_per_cm3: float | None) -> GaugeReading | None:
    """Turn a mass per area into a thickness: (g/m2) / (g/cm3) is um. None without a density, which was told."""
    if density_g_per_cm3 is None:
        return None
    thickness_um = units.parse(text, "mass per area") / density_g_per_cm3
    return GaugeReading(thickness_um, *units.split(text, "mass per area"))
