"""Thermocouples against published tables, the published inverse's error, and another library's recorded values.

`data/thermocouples_reference.json` holds how its values were made: library, versions, commands.
"""

from __future__ import annotations

import json
from itertools import pairwise
from pathlib import Path
from typing import Any, get_args

import pytest

from supervisor.trade.its90 import DIRECT, INVERSE, Inverse, Kind
from supervisor.trade.thermocouple import compensated_c, emf_v, published_inverse_c, temperature_c
from tests.published.its90_spots import SPOTS_MV

KINDS: tuple[Kind, ...] = get_args(Kind)
SPOTS = [(kind, at_c, mv) for kind, spots in SPOTS_MV.items() for at_c, mv in spots.items()]
PARTS = [(kind, part) for kind, parts in INVERSE.items() for part in parts]
RECORDED: dict[Kind, dict[str, Any]] = json.loads(
    (Path(__file__).parent / "data" / "thermocouples_reference.json").read_text()
)["kinds"]


# Source: NIST ITS-90 Thermocouple Database, SRD 60; the tables are printed to 0.001 mV.
@pytest.mark.parametrize(("kind", "at_c", "mv"), SPOTS)
def test_the_direct_function_gives_the_printed_emf(kind: Kind, at_c: float, mv: float) -> None:
    assert emf_v(kind, at_c) * 1e3 == pytest.approx(mv, abs=0.0005)


# Source: as above. Half of the last printed digit is, at these temperatures, up to 0.02 degC.
@pytest.mark.parametrize(("kind", "at_c", "mv"), [spot for spot in SPOTS if -100 <= spot[1] <= 1200])
def test_a_printed_emf_gives_its_temperature(kind: Kind, at_c: float, mv: float) -> None:
    assert temperature_c(kind, mv / 1e3) == pytest.approx(at_c, abs=0.025)


# Source: as above; ranges and errors of the inverse are printed with its coefficients, the errors to 0.01 degC:
# K 0..500 degC -0.05..+0.04, J 0..760 +-0.04, T 0..400 +-0.03 among them.
@pytest.mark.parametrize(("kind", "part"), PARTS)
def test_the_published_inverse_errs_as_printed(kind: Kind, part: Inverse) -> None:
    errors_c = [published_inverse_c(kind, mv / 1e3) - temperature_c(kind, mv / 1e3) for mv in steps(part)]
    assert round(min(errors_c), 2) >= part.least_error_c
    assert round(max(errors_c), 2) <= part.most_error_c
    # Half of the printed error is met somewhere: a band that nothing comes near would prove little.
    assert max(map(abs, errors_c)) > max(-part.least_error_c, part.most_error_c) / 2


def steps(part: Inverse, count: int = 500) -> list[float]:
    # The emf at which two parts meet belongs to the lower one.
    return [part.low_mv + (part.high_mv - part.low_mv) * i / count for i in range(1, count + 1)]


# Source: as above. The parts meet: what is printed for the end of one holds for the start of the next.
@pytest.mark.parametrize("kind", KINDS)
def test_the_parts_of_a_function_meet(kind: Kind) -> None:
    for parts in (DIRECT[kind], INVERSE[kind]):
        ends = [(p.low_mv, p.high_mv) if isinstance(p, Inverse) else (p.low_c, p.high_c) for p in parts]
        assert all(before[1] == after[0] for before, after in pairwise(ends))


# Derived from the same functions: type K, bath 96 degC, cold junction 31.5 degC, 2.6663 mV measured. The published
# inverse alone gives 95.968 degC, inside its own error; the direct function 96.000. Adding degrees gives 97.054.
def test_a_cold_junction_adds_its_emf_and_not_its_degrees() -> None:
    total_v = emf_v("K", 31.5) + 2.6663e-3
    assert published_inverse_c("K", total_v) == pytest.approx(95.968, abs=0.001)
    assert compensated_c("K", 2.6663e-3, 31.5) == pytest.approx(96.0, abs=0.001)
    assert published_inverse_c("K", 2.6663e-3) + 31.5 == pytest.approx(97.054, abs=0.001)


# Source: the library thermocouples_reference 0.20, recorded.
@pytest.mark.parametrize("kind", KINDS)
def test_another_library_gives_the_same_emfs_over_its_whole_range(kind: Kind) -> None:
    recorded = RECORDED[kind]
    ours_mv = [emf_v(kind, at_c) * 1e3 for at_c in recorded["temperature_c"]]
    assert len(ours_mv) >= 35
    # It takes type K's seam at 0 degC from below, as this does; 1e-8 mV is a hundred thousandth of a printed digit.
    assert ours_mv == pytest.approx(recorded["emf_mv"], abs=1e-8)


# Source: the library thermocouples_reference 0.20, recorded; its own search ends within 1e-9 mV.
@pytest.mark.parametrize("kind", KINDS)
def test_another_library_compensates_the_cold_junction_alike(kind: Kind) -> None:
    loops = RECORDED[kind]["loops_mv_junction_c_bath_c"]
    assert len(loops) == 20
    for measured_mv, junction_c, bath_c in loops:
        assert compensated_c(kind, measured_mv / 1e3, junction_c) == pytest.approx(bath_c, abs=2e-5)
