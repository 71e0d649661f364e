"""How much hydrogen a cell's cathode gives off.

Source: Faraday's law: two electrons to the molecule, 96,485.33212 C/mol (CODATA); an ideal gas, 8.314462618 J/(mol K),
dry, at 101,325 Pa. That is 0.41815 L/(A h) at 0 degC and 0.44876 L/(A h) at 20 degC. All of the current counts: what
goes into other reactions at the cathode only makes it less. The lower explosive limit is 4 % in air; 29 CFR 1910.124
and its state parallels keep the air below a quarter of that.
"""

from __future__ import annotations

FARADAY_C_PER_MOL = 96_485.33212
ELECTRONS_PER_MOLECULE = 2

_GAS_J_PER_MOL_K = 8.314462618
_PRESSURE_PA = 101_325.0
_KELVIN_AT_0_C = 273.15
_ROOM_C = 20.0


def hydrogen_l_per_s(current_a: float, gas_c: float = _ROOM_C) -> float:
    """Dry hydrogen, L/s, at most, of a current, A (not negative), measured at a temperature, degC, above -273.15."""
    mol_per_s = current_a / (ELECTRONS_PER_MOLECULE * FARADAY_C_PER_MOL)
    return mol_per_s * _GAS_J_PER_MOL_K * (gas_c + _KELVIN_AT_0_C) / _PRESSURE_PA * 1000
