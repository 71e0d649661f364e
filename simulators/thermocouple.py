"""What voltage a thermocouple gives: direct functions of ITS-90 for types K, J and T.

Source: NIST ITS-90 Thermocouple Database, SRD 60 (from NIST Monograph 175), file allcoeff.tab: mV over degC, reference
junction at 0 degC.
"""

from __future__ import annotations

import math

from simulators.text_plan import ThermocoupleType

# Each part holds from its lowest temperature, degC, up to the next part's; coefficients by rising power.
_PARTS: dict[ThermocoupleType, tuple[tuple[float, tuple[float, ...]], ...]] = {
    "K": (
        (-270.0, (
            0.0, 0.039450128025, 2.3622373598e-05, -3.2858906784e-07, -4.9904828777e-09, -6.7509059173e-11,
            -5.7410327428e-13, -3.1088872894e-15, -1.0451609365e-17, -1.9889266878e-20, -1.6322697486e-23,
        )),
        (0.0, (
            -0.017600413686, 0.038921204975, 1.8558770032e-05, -9.9457592874e-08, 3.1840945719e-10,
            -5.6072844889e-13, 5.6075059059e-16, -3.2020720003e-19, 9.7151147152e-23, -1.2104721275e-26,
        )),
    ),
    "J": (
        (-210.0, (
            0.0, 0.050381187815, 3.047583693e-05, -8.568106572e-08, 1.3228195295e-10, -1.7052958337e-13,
            2.0948090697e-16, -1.2538395336e-19, 1.5631725697e-23,
        )),
        (760.0, (296.45625681, -1.4976127786, 0.0031787103924, -3.1847686701e-06, 1.5720819004e-09, -3.0691369056e-13)),
    ),
    "T": (
        (-270.0, (
            0.0, 0.038748106364, 4.4194434347e-05, 1.1844323105e-07, 2.0032973554e-08, 9.0138019559e-10,
            2.2651156593e-11, 3.6071154205e-13, 3.8493939883e-15, 2.8213521925e-17, 1.4251594779e-19,
            4.8768662286e-22, 1.079553927e-24, 1.3945027062e-27, 7.9795153927e-31,
        )),
        (0.0, (
            0.0, 0.038748106364, 3.329222788e-05, 2.0618243404e-07, -2.1882256846e-09, 1.0996880928e-11,
            -3.0815758772e-14, 4.547913529e-17, -2.7512901673e-20,
        )),
    ),
}  # fmt: skip
# Type K from 0 degC on: + a0 * exp(a1 * (t - a2) ** 2).
_BELL_MV, _BELL_PER_C2, _BELL_C = 0.1185976, -0.0001183432, 126.9686


def emf_mv(of: ThermocoupleType, temperature_c: float) -> float:
    """The voltage, mV, of a junction at this temperature, degC, against one at 0 degC."""
    parts = _PARTS[of]
    coefficients = next((part for lowest_c, part in reversed(parts) if temperature_c >= lowest_c), parts[0][1])
    total_mv = 0.0
    for coefficient in reversed(coefficients):
        total_mv = total_mv * temperature_c + coefficient
    if of == "K" and temperature_c >= 0.0:
        total_mv += _BELL_MV * math.exp(_BELL_PER_C2 * (temperature_c - _BELL_C) ** 2)
    return total_mv
