"""The time to a tank's band, over drawn tanks of the simulators: shares drawn by chance of the printed loss, or of a
formula that is steeper where tanks are hot."""

from __future__ import annotations

import math
import random
import statistics
from dataclasses import replace

import pytest
from scipy.integrate import solve_ivp

from simulators import bath
from supervisor.core import warm_up
from supervisor.core.fit import Belief
from supervisor.core.warm_up import Ready
from supervisor.trade.charge import NOTHING
from supervisor.trade.heat import heat_up_s, open_surface_w_per_m2
from tests.harness import warming
from tests.harness.warming import Kind, Seen, draw, warms_up

TANKS = 12


def seen(kind: Kind, *, told: bool = True, again: bool = False, tanks: int = TANKS) -> list[Seen]:
    """Forecasts of a dozen tanks, of the second warm-up each where `again`."""
    found: list[Seen] = []
    for seed in range(tanks):
        drawn = draw(kind, random.Random(seed), told=told)
        forecasts, kept = warms_up(drawn, seed)
        if again:
            forecasts, _ = warms_up(drawn, seed + TANKS, kept)
        found += forecasts
    return found


def errors(found: list[Seen]) -> list[float]:
    """Errors in percent of the time that was still to go."""
    return [100 * abs(one.ready.to_go_s.best / one.true_s - 1) for one in found]


def held(found: list[Seen]) -> float:
    """Share of the bands that held what came, percent."""
    return 100 * statistics.mean(one.ready.to_go_s.low <= one.true_s <= one.ready.to_go_s.high for one in found)


@pytest.mark.parametrize(("kind", "again"), [("to 60", False), ("lidded", False), ("open", True)])
def test_from_a_quarter_of_the_rise_the_time_to_go_is_known_within_a_tenth(kind: Kind, again: bool) -> None:
    found = seen(kind, again=again)
    assert len(found) == 5 * TANKS
    assert max(errors(found)) <= 10.0


@pytest.mark.parametrize("told", [True, False])
def test_a_hot_open_tank_never_seen_before_is_told_with_a_band_that_holds_it(told: bool) -> None:
    assert held(seen("open", told=told)) >= 90.0


@pytest.mark.parametrize("kind", ["to 60", "lidded", "open"])
def test_a_tank_that_loses_by_the_formula_and_not_as_printed_stays_within_its_band(
    kind: Kind, monkeypatch: pytest.MonkeyPatch
) -> None:
    for module in (bath, warming):
        monkeypatch.setattr(module, "open_loss_w_per_m2", open_surface_w_per_m2)
    assert held(seen(kind)) >= 90.0


def test_a_heater_that_never_gets_there_is_told_and_so_is_where_it_ends() -> None:
    found = seen("too weak", tanks=4)
    assert all(math.isinf(one.ready.to_go_s.high) for one in found)
    last = [one for one in found if one.share >= 0.7]
    assert last
    assert all(math.isinf(one.ready.to_go_s.best) and one.ready.ends_c is not None for one in last)


def law_of_a_cube() -> tuple[warm_up.Law, Belief]:
    drawn = draw("to 60", random.Random(1))
    return warm_up.law(drawn.tank, drawn.heating, 20.0), warm_up.first(drawn.tank)


def test_the_time_agrees_with_a_solver() -> None:
    law, belief = law_of_a_cube()

    def arrives(_: float, bath_c: list[float]) -> float:
        return bath_c[0] - 44.0

    arrives.terminal = True  # type: ignore[attr-defined]
    solved = solve_ivp(
        lambda _, bath_c: [warm_up.rate(belief.mean, law, bath_c[0])], (0.0, 1e6), [20.0],
        events=arrives, rtol=1e-9, atol=1e-9,
    )  # fmt: skip
    assert warm_up.ready(belief, law, 20.0, 44.0).to_go_s.best == pytest.approx(solved.t_events[0][0], rel=1e-5)


def test_with_walls_alone_the_time_is_the_closed_form() -> None:
    law, belief = law_of_a_cube()
    walls = replace(belief, mean=(1.0, 1.0, 0.0, 0.0, 0.0))
    heater_w = 1000.0
    capacity = heater_w / law.heater
    expected_s = heat_up_s(capacity, heater_w, 25.0, 40.0, law.walls * capacity)
    assert warm_up.ready(walls, law, 25.0, 40.0).to_go_s.best == pytest.approx(expected_s, rel=1e-6)


def test_a_tank_in_its_band_has_nothing_to_go() -> None:
    law, belief = law_of_a_cube()
    assert warm_up.ready(belief, law, 60.0, 60.0) == Ready(NOTHING, None)


@pytest.mark.parametrize(("began_c", "air_c"), [(9.0, 20.0), (12.0, 12.0), (29.0, 29.0), (45.0, 20.0)])
def test_a_tank_that_begins_cold_tells_how_warm_the_room_is(began_c: float, air_c: float) -> None:
    drawn = draw("to 60", random.Random(1))
    assert warm_up.law(drawn.tank, drawn.heating, began_c).air_c == air_c


def test_time_with_the_heater_off_is_no_heating() -> None:
    law, belief = law_of_a_cube()
    warm = warm_up.read(warm_up.begin(belief, 0.0, 20.0), law, 10.0, 20.1, on=False)
    assert warm.on_s == 0.0
    assert warm_up.read(warm, law, 15.0, 20.2, on=True).on_s == 5.0


def test_a_warm_up_that_rose_by_next_to_nothing_teaches_nothing() -> None:
    law, belief = law_of_a_cube()
    warm = warm_up.begin(belief, 0.0, 20.0)
    assert warm_up.kept(warm_up.read(warm, law, 300.0, 22.9, on=True)) is None
    assert warm_up.kept(warm_up.read(warm, law, 300.0, 23.1, on=True)) is not None


def test_what_is_kept_forgets_when_it_began_and_is_a_little_less_sure() -> None:
    law, belief = law_of_a_cube()
    warm = warm_up.begin(belief, 0.0, 20.0)
    for step in range(1, 60):
        warm = warm_up.read(warm, law, 60.0 * step, 20.0 + step, on=True)
    now, kept = warm_up.belief(warm), warm_up.kept(warm)
    assert kept is not None
    assert kept.mean == (*now.mean[:-1], 0.0)
    assert kept.spread((1, 0, 0, 0, 0)) > now.spread((1, 0, 0, 0, 0))
    assert kept.spread((0, 0, 0, 0, 1)) == warm_up.START_C
