"""The figure of the cold junctions: it is met, and a supervisor that takes the short way misses it."""

from __future__ import annotations

import pytest

from supervisor.service import polling
from supervisor.trade.its90 import Kind
from supervisor.trade.thermocouple import temperature_c
from tests.campaigns import cold_junction
from tests.campaigns.cold_junction import cold_junction_error


@pytest.fixture(autouse=True)
def _few(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cold_junction, "BATHS_C", (96.0,))
    monkeypatch.setattr(cold_junction, "BOXES_C", (31.5,))


def test_a_seal_is_read_from_a_warm_box() -> None:
    figure = cold_junction_error()
    assert figure.ok
    assert figure.n == 4


def test_degrees_that_are_added_miss_it(monkeypatch: pytest.MonkeyPatch) -> None:
    def added_c(kind: Kind, measured_emf_v: float, junction_c: float) -> float:
        return temperature_c(kind, measured_emf_v) + junction_c

    monkeypatch.setattr(polling, "compensated_c", added_c)
    figure = cold_junction_error()
    assert not figure.ok
    assert figure.value > 0.5
