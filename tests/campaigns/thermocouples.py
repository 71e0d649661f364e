"""ITS-90 figures: the direct functions against the printed tables, the published inverse against its printed error."""

from __future__ import annotations

from collections.abc import Iterator

from supervisor.trade.its90 import INVERSE, Inverse, Kind
from supervisor.trade.thermocouple import emf_v, published_inverse_c, temperature_c
from tests.campaigns.figures import Figure
from tests.published.its90_spots import SPOTS_MV

_STEPS = 2000
_NO_CLOCK = "none"


def thermocouple_figures() -> Iterator[Figure]:
    """Measure types K, J, T, E and N; arithmetic alone, well under a second."""
    errors_mv = [abs(emf_v(kind, at_c) * 1e3 - mv) for kind, spots in SPOTS_MV.items() for at_c, mv in spots.items()]
    yield Figure(
        "thermocouple_max_error_mv", max(errors_mv), "<= 0.0005", len(errors_mv), None, _NO_CLOCK, timing=False
    )
    parts = [(kind, part) for kind, parts in INVERSE.items() for part in parts]
    in_band = all(_in_band(kind, part) for kind, part in parts)
    yield Figure("thermocouple_inverse_in_band", in_band, "= true", len(parts) * _STEPS, None, _NO_CLOCK, timing=False)


def _in_band(kind: Kind, part: Inverse) -> bool:
    # The band is printed to 0.01 degC, so the error is rounded to that too.
    errors_c = [_error_c(kind, part.low_mv + (part.high_mv - part.low_mv) * (i + 0.5) / _STEPS) for i in range(_STEPS)]
    return part.least_error_c <= round(min(errors_c), 2) and round(max(errors_c), 2) <= part.most_error_c


def _error_c(kind: Kind, emf_mv: float) -> float:
    return published_inverse_c(kind, emf_mv / 1e3) - temperature_c(kind, emf_mv / 1e3)
