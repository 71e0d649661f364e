"""Figures in sentences for people, in the units the line shows (degF = 1.8 x degC + 32)."""

from __future__ import annotations

from typing import Literal

from supervisor.trade.coating import FOOT_M, MIL_UM

Units = Literal["metric", "us"]


def temperature(value_c: float, units: Units) -> str:
    """Show a temperature given in degC."""
    return f"{value_c:.1f} °C" if units == "metric" else f"{value_c * 1.8 + 32:.1f} °F"


def thickness(value_um: float, units: Units) -> str:
    """Show a thickness given in um."""
    return f"{value_um:.4g} µm" if units == "metric" else f"{value_um / MIL_UM:.3g} mil"


def density(value_a_per_m2: float, units: Units) -> str:
    """Show a current density given in A/m2."""
    return f"{value_a_per_m2 / 100:.3g} A/dm²" if units == "metric" else f"{value_a_per_m2 * FOOT_M**2:.3g} A/ft²"
