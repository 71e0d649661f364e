"""Readings of a gauge or a balance as people write them: in um, or refused with every reason."""

from __future__ import annotations

from typing import Any

import pytest

from supervisor.core.events import GaugeReading, Instant
from supervisor.edges.control import Refusal
from supervisor.edges.gauge import MOST_READINGS
from supervisor.edges.requests import new_body, read_request

AT = Instant(100.0, 50.0, 1_790_000_000.0)


def read(**asked: Any) -> tuple[GaugeReading, ...]:
    return read_request("gauge", new_body(49.5, load="brackets", **asked), at=AT, who="kim").readings


def reasons(**asked: Any) -> tuple[str, ...]:
    with pytest.raises(Refusal) as refusal:
        read(**asked)
    return refusal.value.reasons


def test_thicknesses_come_in_um_and_as_they_were_written() -> None:
    mil, micron = read(readings=["0.8 mil", "20.5 µm"])
    assert (mil.number, mil.unit) == (0.8, "mil")
    assert mil.thickness_um == pytest.approx(20.32)  # 25.4 um to the mil, exact
    assert micron == GaugeReading(20.5, 20.5, "um")


# Source: AAMA 611 gives class I as 18 um and 4.18 mg/cm2, so its density is 2.32 g/cm3.
@pytest.mark.parametrize("mass", ["4.18 mg/cm^2", "41.8 g/m^2", "418 mg/dm^2"])
def test_a_mass_per_area_is_a_thickness_by_the_density(mass: str) -> None:
    (reading,) = read(readings=[mass], density="2.32 g/cm^3")
    assert reading.thickness_um == pytest.approx(18.0, rel=2e-3)


def test_a_mass_and_a_thickness_may_stand_beside_each_other() -> None:
    mass, thickness = read(readings=["48 g/m^2", "19 um"], density="2400 kg/m^3")
    assert mass.thickness_um == pytest.approx(20.0)
    assert thickness.thickness_um == 19.0


def test_a_mass_without_a_density_is_refused_once() -> None:
    (reason,) = reasons(readings=["48 g/m^2", "50 g/m^2"])
    assert reason.startswith("density: a mass per area says thickness only with the coat's density, like 2.4 g/cm^3.")


def test_a_density_without_a_mass_is_refused() -> None:
    (reason,) = reasons(readings=["20 um"], density="2.4 g/cm^3")
    assert reason.startswith("density: it goes with masses per area")


@pytest.mark.parametrize("density", ["2.4 kg/m^3", "24 g/cm^3", "0 g/cm^3", "-2.4 g/cm^3"])
def test_a_density_that_no_coat_has_is_refused(density: str) -> None:
    (reason,) = reasons(readings=["48 g/m^2"], density=density)
    assert "2.4 g/cm^3 is usual unsealed" in reason


def test_every_reading_that_cannot_be_read_is_told() -> None:
    told = reasons(readings=["20", "20 mils", "20 furlong", "19 um"], density=7)
    assert len(told) == 4
    assert "'20' has no unit" in told[1]
    assert "write mil" in told[2]


@pytest.mark.parametrize("readings", ["20 um", [20], {"a": "20 um"}, ["20 um"] * (MOST_READINGS + 1)])
def test_what_is_no_list_of_texts_is_refused(readings: Any) -> None:
    (reason,) = reasons(readings=readings)
    assert reason.startswith("readings: these must be")


@pytest.mark.parametrize("kind", ["gauge", "gauge forget"])
def test_a_gauge_names_its_load(kind: str) -> None:
    with pytest.raises(Refusal) as refusal:
        read_request(kind, new_body(49.5), at=AT, who="kim")
    assert refusal.value.reasons == ("load: this is missing.",)
