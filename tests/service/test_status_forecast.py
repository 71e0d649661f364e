"""How baths go on, as the service tells and publishes it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from supervisor.edges.payloads import Reporter
from supervisor.service.status import status
from tests.core.heated import HEATING, HeatedBench
from tests.core.test_forecast import bench, loaded, warm


def told(made: HeatedBench) -> dict[str, Any]:
    return status(made.setup, made.line.state, made.at)


def published(made: HeatedBench, kind: str, name: str) -> dict[str, Any]:
    reporter = Reporter("test", "a-run", lambda: made.at, lambda: told(made) | {"speed": 1.0}, ())
    return reporter.states(0)[f"ampminder/test/{kind}/{name}"].model_dump()


def test_a_bath_of_which_nothing_is_foretold_says_so() -> None:
    made = bench().ready()
    assert told(made)["tanks"]["seal"]["ready"] is None
    assert told(made)["tanks"]["main-acid"]["end"] is None
    nothing = published(made, "tank", "seal")
    assert all(nothing[key] is None for key in ("ready_c", "ready_s", "end_c", "end_cooling", "limit_s", "bearable_a"))


def test_a_warm_up_is_told_with_its_band() -> None:
    made = bench().heating()
    warm(made, to_c=30.0)
    ready = told(made)["tanks"]["seal"]["ready"]
    assert ready["at_c"] == 60.0
    assert ready["to_go_s"]["low"] < ready["to_go_s"]["best"] < ready["to_go_s"]["high"]
    shown = published(made, "tank", "seal")
    assert (shown["ready_low_s"], shown["ready_s"], shown["ready_high_s"]) == tuple(ready["to_go_s"].values())
    assert shown["ready_c"] == 60.0


def test_a_tank_that_never_gets_there_has_no_time() -> None:
    made = bench(heating=replace(HEATING, hold_c=95.0)).heating()
    warm(made, to_c=72.0, shares=(0.95, 0.6, 2.5, 0.0, 0.0))
    ready = told(made)["tanks"]["seal"]["ready"]
    assert ready["to_go_s"] == {"low": None, "best": None, "high": None}
    assert 72.0 < ready["levels_off_c"] < 94.0
    assert published(made, "tank", "seal")["ready_s"] is None


def test_a_bath_that_gets_too_hot_is_told_with_what_it_bears() -> None:
    made = loaded(k_per_h=10.0)
    end = told(made)["tanks"]["main-acid"]["end"]
    assert end["cooling"] == "none"
    assert end["limit_c"] == made.setup.tanks["main-acid"].band.trip_high_c < end["temperature_c"]["best"]
    assert 0.0 < end["limit_s"] < made.operation().plan.expected_s
    assert end["uncooled_c"] == pytest.approx(end["temperature_c"]["best"])
    shown = published(made, "tank", "main-acid")
    assert (shown["end_c"], shown["limit_s"]) == (end["temperature_c"]["best"], end["limit_s"])


def test_hydrogen_is_told_of_the_current_that_flows() -> None:
    made = loaded(k_per_h=2.0)
    current_a = told(made)["supplies"]["main"]["current_a"]
    assert published(made, "supply", "main")["hydrogen_l_per_s"] * 3600 == pytest.approx(0.44876 * current_a, rel=1e-4)
    made.current(0.01)
    assert told(made)["supplies"]["main"]["hydrogen_l_per_s"] == 0.0
    made.current(None)
    assert told(made)["supplies"]["main"]["hydrogen_l_per_s"] is None
