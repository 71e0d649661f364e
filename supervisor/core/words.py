"""Figures in sentences for people, in the units the line shows (degF = 1.8 x degC + 32)."""

from __future__ import annotations

from typing import Literal

from supervisor.trade.coating import FOOT_M, MIL_UM

Units = Literal["metric", "us"]


def temperature(value_c: float, units: Units) -> str:
    """Show a temperature given in degC."""
    return f"{value_c:.1f} °C" if units == "metric" else f"{value_c * 1.8 + 32:.1f} °F"


def thickness(value_um: float, units: Units) -> str:
    """Show a thickness given in um, without powers of ten even where it is absurd."""
    value, name, digits = (value_um, "µm", 4) if units == "metric" else (value_um / MIL_UM, "mil", 3)
    return f"{value:,.0f} {name}" if value >= 10**digits - 0.5 else f"{value:.{digits}g} {name}"


def density(value_a_per_m2: float, units: Units) -> str:
    """Show a current density given in A/m2."""
    return f"{value_a_per_m2 / 100:.3g} A/dm²" if units == "metric" else f"{value_a_per_m2 * FOOT_M**2:.3g} A/ft²"


def duration(value_s: float) -> str:
    """Show a time given in s, in the unit a person would choose."""
    for unit_s, name in ((3600.0, "h"), (60.0, "min")):
        if value_s >= unit_s:
            return f"{value_s / unit_s:.3g} {name}"
    return f"{value_s:.3g} s"


def growth(value_um_m2_per_c: float, units: Units) -> str:
    """Show a growth factor given in um per C/m2: by ampere-minutes per area."""
    per_minute = value_um_m2_per_c * 60
    if units == "metric":
        return f"{per_minute / 0.01:.4f} µm·dm²/(A·min)"
    return f"{per_minute / MIL_UM / FOOT_M**2:.6f} mil·ft²/(A·min)"


def temperature_difference(value_c: float, units: Units, *, sign: str = "") -> str:
    """Show a difference of temperatures given in K; `sign` "+" tells a rise from a fall."""
    return f"{value_c:{sign}.2f} °C" if units == "metric" else f"{value_c * 1.8:{sign}.2f} °F"
