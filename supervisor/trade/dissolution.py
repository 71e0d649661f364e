"""What acid takes from a coat: mass and hardness through its whole depth, thickness only once the walls have gone.

Acid widens the pores along their whole length, so that a gauge hardly moves while mass, hardness and sealability fall;
at the chalking limit the outer walls meet and the surface goes. The two are kept apart here.

Sources:

- Activation energies in 2 M sulfuric acid: 53.2 kJ/mol at the pore base under current, 83.3 kJ/mol at the pore wall
  without (Russ. J. Inorg. Chem. 66(2), 258, 2021, DOI 10.1134/S0036023621020182).
- Loss of the wall 0.07-0.08 nm/min in 10 % acid at 27 degC (from memory), so 0.034 at 20 degC. No rate under
  current was found: at 20 degC it is taken as the same.
- Pores of 12 nm in cells of 37.5 nm (2.5 nm/V at 15 V; both from memory): a tenth of a fresh coat is pore, and
  it loses about 0.1 % of its mass in a minute at 20 degC.
- Apparent density 2.32 g/cm3 (AAMA 611: 18 um and 4.18 mg/cm2).

Valid for sulfuric acid of 10-20 % by weight from 15 to 30 degC and for coats grown at 12-18 V. The surface of a part is
1-2.5 degC above its stirred bath while current flows (from memory); who knows it gives that temperature.
"""

from __future__ import annotations

import math

GAS_J_PER_MOL_K = 8.314462618
"""Molar gas constant (CODATA, exact)."""

UNDER_CURRENT_J_PER_MOL = 53.2e3
WITHOUT_CURRENT_J_PER_MOL = 83.3e3
REFERENCE_C = 20.0
WALL_LOSS_NM_PER_S = 0.034 / 60
PORE_NM = 12.0
CELL_NM = 37.5
DENSITY_G_PER_CM3 = 2.32


def faster(temperature_c: float, than_c: float, energy_j_per_mol: float) -> float:
    """By how much a reaction of this activation energy, J/mol, runs faster at one temperature than at another, degC."""
    return math.exp(energy_j_per_mol / GAS_J_PER_MOL_K * (1 / (than_c + 273.15) - 1 / (temperature_c + 273.15)))


def wall_loss_nm_per_s(temperature_c: float, *, under_current: bool) -> float:
    """Oxide that a pore's wall loses at a temperature, degC, in nm/s."""
    energy = UNDER_CURRENT_J_PER_MOL if under_current else WITHOUT_CURRENT_J_PER_MOL
    return WALL_LOSS_NM_PER_S * faster(temperature_c, REFERENCE_C, energy)


def porosity(wall_loss_nm: float) -> float:
    """Share of a coat's volume that is pore, 0 to 1, once its walls have lost so much, nm; pores in hexagonal cells."""
    width_nm = min(PORE_NM + 2 * wall_loss_nm, CELL_NM)
    return math.pi / (2 * math.sqrt(3)) * (width_nm / CELL_NM) ** 2


def lost_share(wall_loss_nm: float) -> float:
    """Share of its mass that a coat has lost since it grew, 0 to 1, where its walls lost so much on average, nm."""
    return 1 - (1 - porosity(wall_loss_nm)) / (1 - porosity(0.0))


def mass_g_per_m2(thickness_um: float, wall_loss_nm: float) -> float:
    """Mass of an unsealed coat per area, g/m2, whose walls lost so much on average, nm."""
    return thickness_um * DENSITY_G_PER_CM3 * (1 - lost_share(wall_loss_nm))


def longest_in_acid_s(limit_nm: float, temperature_c: float) -> float:
    """Time under current, s, after which the outermost walls have lost `limit_nm`, nm, at a temperature, degC."""
    return limit_nm / wall_loss_nm_per_s(temperature_c, under_current=True)


def chalked_share(outer_loss_nm: float, mean_loss_nm: float, limit_nm: float) -> float:
    """Share of the thickness that is gone, 0 to 1: all that has lost more than `limit_nm` of its walls.

    Args:
        outer_loss_nm: what the oldest walls, the outermost, lost, nm.
        mean_loss_nm: what all walls lost on average, nm; at most that. Growth was steady, so that losses are spread
            evenly between the outermost and the innermost.
        limit_nm: what walls bear, nm.
    """
    width_nm = 2 * (outer_loss_nm - mean_loss_nm)
    beyond_nm = outer_loss_nm - limit_nm
    if beyond_nm <= 0:
        return 0.0
    return min(1.0, beyond_nm / width_nm) if width_nm > 0 else 1.0
