"""A bath's temperature at the end of a load, over drawn baths of the simulators with and without cooling."""

from __future__ import annotations

import math
import random
import statistics
from dataclasses import replace

import pytest
from scipy.integrate import solve_ivp

from supervisor.core import bath_end
from supervisor.core.bath_end import COOLS_C_PER_S, FIRST, Ahead, Cooling, Law
from supervisor.core.tank_setup import CoolingSetup
from supervisor.trade.heat import AIR_C, cell_heat_w, temperature_after_c
from tests.harness.baths import EndSeen, Kind, draw, runs

BATHS = 16
SURE = (1.0, 1.0, 1.0, 0.0, 0.0)
INSULATED = (1.0, 0.0, 1.0, 0.0, 0.0)
CHILLER = CoolingSetup("chiller", 20.0, 1.0, 60.0, 240.0, 900.0)


def seen(kind: Kind, *, again: bool = False) -> list[EndSeen]:
    """What was foretold of some baths; of their second operations where `again`."""
    found: list[EndSeen] = []
    for seed in range(BATHS):
        drawn = draw(kind, random.Random(seed))
        told, kept = runs(drawn, seed)
        found += runs(drawn, seed + BATHS, kept)[0] if again else told
    return found


def errors_c(found: list[EndSeen]) -> list[float]:
    return sorted(abs(one.told.best - one.true_c) for one in found)


@pytest.mark.parametrize(("kind", "again"), [("none", False), ("failed", True), ("works", True)])
def test_from_half_way_the_end_is_known_within_half_a_degree(kind: Kind, again: bool) -> None:
    found = errors_c(seen(kind, again=again))
    assert len(found) == 3 * BATHS
    assert found[-1] <= 0.5
    assert statistics.median(found) <= 0.1


@pytest.mark.parametrize("kind", ["none", "works", "failed"])
def test_the_band_holds_what_comes(kind: Kind) -> None:
    held = [one.told.low <= one.true_c <= one.told.high for one in seen(kind)]
    assert statistics.mean(held) >= 0.9


def law() -> Law:
    return bath_end.law(draw("none", random.Random(4)).tank)


def test_without_cooling_the_course_is_the_closed_form() -> None:
    of, heat_w = law(), cell_heat_w(100.0, 16.0)
    ends_c = bath_end.end_c(replace(FIRST, mean=SURE), of, 21.0, Ahead(heat_w, 1200.0, None)).best
    capacity = 1 / of.per_w
    assert ends_c == pytest.approx(temperature_after_c(capacity, heat_w, 21.0, 1200.0, of.walls * capacity), abs=0.02)


def test_with_a_cooling_that_stays_on_the_course_agrees_with_a_solver() -> None:
    of, heat_w = law(), 300.0
    before = of.per_w * heat_w - of.walls * (26.0 - AIR_C)

    def goes(_: float, bath_and_shown_c: list[float]) -> list[float]:
        bath_c, shown_c = bath_and_shown_c
        rate = of.per_w * heat_w - of.walls * (bath_c - AIR_C) - COOLS_C_PER_S
        return [rate, (bath_c - shown_c) / bath_end.LAG_S]

    begin = [26.0 + bath_end.LAG_S * before, 26.0]  # the cooling came on just now
    solved = solve_ivp(goes, (0.0, 600.0), begin, rtol=1e-9, atol=1e-9)
    ahead = Ahead(heat_w, 600.0, Cooling(on=True, for_s=0.0, setup=CHILLER))
    assert bath_end.course(SURE, of, 26.0, ahead, math.inf).end_c == pytest.approx(solved.y[1][-1], abs=0.002)


def test_a_control_by_readings_that_waver_switches_before_its_edges() -> None:
    of, run = law(), bath_end.begin("o", FIRST, 0.0, 20.0)
    for step in range(1, 41):
        run = bath_end.read(run, of, 2.0 * step, 20.0 + 0.1 * (-1) ** step / math.sqrt(2), 100.0, cools=False)
    # Readings to either side differ by 2 x 0.1 / sqrt 2: 0.1 K of one standard deviation.
    assert bath_end.cooling(run, False, 0.0, CHILLER).setup.band_c == pytest.approx(
        1.0 - 2 * bath_end.WAVERS * 0.1, abs=0.01
    )
    still = bath_end.read(bath_end.begin("o", FIRST, 0.0, 20.0), of, 2.0, 20.0, 100.0, cools=False)
    assert bath_end.cooling(still, False, 0.0, CHILLER).setup == CHILLER


def test_a_cooling_holds_what_would_run_away_without_it() -> None:
    of, left_s = law(), 3000.0
    heat_w = 0.5 * COOLS_C_PER_S / of.per_w
    cooled = bath_end.course(SURE, of, 20.0, Ahead(heat_w, left_s, Cooling(on=False, for_s=900.0, setup=CHILLER)), 23.0)
    alone = bath_end.course(SURE, of, 20.0, Ahead(heat_w, left_s, None), 23.0)
    assert cooled.limit_s is None
    assert cooled.highest_c < 21.0
    assert alone.limit_s is not None
    assert 2160.0 < alone.limit_s < left_s


def test_a_limit_is_met_when_the_bath_is_there_and_not_after_the_end() -> None:
    of = law()
    heat_w = 10.0 / 3600 / of.per_w  # ten kelvin an hour
    found = bath_end.course(INSULATED, of, 21.0, Ahead(heat_w, 1800.0, None), 24.0)
    assert found.end_c == pytest.approx(26.0)
    assert found.highest_c == pytest.approx(26.0)
    assert found.limit_s == pytest.approx(1080.0, abs=15.0)
    assert bath_end.course(INSULATED, of, 21.0, Ahead(heat_w, 1000.0, None), 24.0).limit_s is None


def test_a_smaller_current_avoids_the_limit_only_where_something_carries_the_heat_away() -> None:
    of = law()
    heat_w = 2.0 * COOLS_C_PER_S / of.per_w
    ahead = Ahead(heat_w, 1800.0, Cooling(on=True, for_s=0.0, setup=CHILLER))
    share = bath_end.bearable_share(INSULATED, of, 22.0, ahead, 24.0)
    assert share is not None
    assert 0.5 < share < 0.8
    slower = Ahead(heat_w * share, 1800.0 / share, ahead.cooling)
    assert bath_end.course(INSULATED, of, 22.0, slower, 24.0).limit_s is None
    assert bath_end.bearable_share(INSULATED, of, 22.0, replace(ahead, cooling=None), 24.0) is None


def test_a_run_too_short_teaches_nothing() -> None:
    of, run = law(), bath_end.begin("o", FIRST, 0.0, 20.0)
    run = bath_end.read(run, of, 299.0, 20.5, 100.0, cools=False)
    assert bath_end.kept(run) is None
    kept = bath_end.kept(bath_end.read(run, of, 300.0, 20.5, 100.0, cools=False))
    assert kept is not None
    assert kept.mean[-1] == 0.0


def test_what_was_seen_long_ago_fades() -> None:
    of, run = law(), bath_end.begin("o", FIRST, 0.0, 20.0)
    for minute in range(1, 120):
        run = bath_end.read(run, of, 60.0 * minute, 20.0, 0.0, cools=False)
    assert run.sums.weight == pytest.approx(1 / -math.expm1(-60.0 / bath_end.FADES_S), rel=0.01)
