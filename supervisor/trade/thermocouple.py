"""Temperature from the voltage of a thermocouple, types K, J, T, E and N, and back.

Source: the reference functions of `its90.py`. The direct function defines the type; the published inverse only comes
within some 0.05 degC of it, and serves as the first guess of an inversion that is exact.
"""

from __future__ import annotations

import math

from supervisor.trade.its90 import DIRECT, INVERSE, Direct, Kind

_MV_PER_V = 1e3
# The tables are printed to 0.001 mV: an emf beyond an end of the range by no more than their rounding is that end.
_HALF_A_DIGIT_MV = 0.0005
# After a Newton step this small what is left is far below 1e-6 degC. Where two direct functions meet, the next step
# would go back and forth over a seam of about 1e-6 degC.
_SMALL_STEP_C = 1e-5
# From -200 degC down to -270, where the curves lie almost flat, nine steps reach it; elsewhere two.
_MOST_STEPS = 20


def range_c(kind: Kind) -> tuple[float, float]:
    """Lowest and highest temperature, degC, of the direct function of a type."""
    return DIRECT[kind][0].low_c, DIRECT[kind][-1].high_c


def emf_v(kind: Kind, temperature_c: float) -> float:
    """Emf, V, of a thermocouple at a temperature, degC, its reference junction at 0 degC.

    Raises ValueError outside `range_c`.
    """
    low_c, high_c = range_c(kind)
    if not low_c <= temperature_c <= high_c:
        raise ValueError(
            f"{temperature_c:g} °C lies outside {low_c:g} to {high_c:g} °C, where thermocouple type {kind} is defined."
        )
    return _emf_mv(kind, temperature_c) / _MV_PER_V


def temperature_c(kind: Kind, emf_v: float) -> float:
    """Temperature, degC, at which a thermocouple with its reference junction at 0 degC gives an emf, V.

    Within 1e-4 degC of the direct function over all of `range_c`. Raises ValueError for an emf more than 0.0005 mV
    outside of it.
    """
    low_c, high_c = range_c(kind)
    low_mv, high_mv = _emf_mv(kind, low_c), _emf_mv(kind, high_c)
    emf_mv = emf_v * _MV_PER_V
    if not low_mv - _HALF_A_DIGIT_MV <= emf_mv <= high_mv + _HALF_A_DIGIT_MV:
        raise ValueError(
            f"{emf_mv:.3f} mV is nothing that thermocouple type {kind} gives ({low_mv:.3f} to {high_mv:.3f} mV). Look"
            " for a broken wire, a loose terminal, or a type set wrongly."
        )
    # Colder than the inverse reaches, its end is a sure start: from there down the direct functions curve one way only.
    found_c = min(max(_by_inverse_c(kind, emf_mv), low_c), high_c)
    for _ in range(_MOST_STEPS):
        step_c = (emf_mv - _emf_mv(kind, found_c)) / _slope_mv_per_k(kind, found_c)
        found_c = min(max(found_c + step_c, low_c), high_c)
        if abs(step_c) <= _SMALL_STEP_C:
            break
    return found_c


def published_inverse_c(kind: Kind, emf_v: float) -> float:
    """Temperature, degC, by the published inverse polynomial alone, from an emf, V; see `its90.Inverse` for its error.

    Raises ValueError outside the emfs the inverse is published for: they begin at -200 degC, type J's at -210.
    """
    emf_mv = emf_v * _MV_PER_V
    low_mv, high_mv = INVERSE[kind][0].low_mv, INVERSE[kind][-1].high_mv
    if not low_mv - _HALF_A_DIGIT_MV <= emf_mv <= high_mv + _HALF_A_DIGIT_MV:
        raise ValueError(
            f"{emf_mv:.3f} mV lies outside {low_mv:g} to {high_mv:g} mV, where the inverse of type {kind} is published."
        )
    return _by_inverse_c(kind, emf_mv)


def compensated_c(kind: Kind, measured_emf_v: float, junction_c: float) -> float:
    """Temperature, degC, from a measured emf, V, and the temperature of the cold junction, degC.

    The junction's own emf is added and the sum inverted; adding degrees is wrong by a degree and more, because the
    curves are bent. Raises ValueError if junction or sum lie outside the type's range.
    """
    return temperature_c(kind, emf_v(kind, junction_c) + measured_emf_v)


def _direct(kind: Kind, temperature_c: float) -> Direct:
    return next(part for part in DIRECT[kind] if temperature_c <= part.high_c)


def _emf_mv(kind: Kind, temperature_c: float) -> float:
    part = _direct(kind, temperature_c)
    emf_mv = _polynomial(part.c, temperature_c)
    if part.bump:
        height_mv, rate, centre_c = part.bump
        emf_mv += height_mv * math.exp(rate * (temperature_c - centre_c) ** 2)
    return emf_mv


def _slope_mv_per_k(kind: Kind, temperature_c: float) -> float:
    part = _direct(kind, temperature_c)
    slope = _polynomial(tuple(power * c for power, c in enumerate(part.c))[1:], temperature_c)
    if part.bump:
        height_mv, rate, centre_c = part.bump
        beyond_c = temperature_c - centre_c
        slope += 2 * rate * beyond_c * height_mv * math.exp(rate * beyond_c**2)
    return slope


def _by_inverse_c(kind: Kind, emf_mv: float) -> float:
    parts = INVERSE[kind]
    within_mv = min(max(emf_mv, parts[0].low_mv), parts[-1].high_mv)
    part = next(part for part in parts if within_mv <= part.high_mv)
    return _polynomial(part.d, within_mv)


def _polynomial(coefficients: tuple[float, ...], x: float) -> float:
    total = 0.0
    for coefficient in reversed(coefficients):
        total = total * x + coefficient
    return total
