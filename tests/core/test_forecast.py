"""How baths go on, in the core: what is followed when, what is kept, and the warning before the limit."""

from __future__ import annotations

from dataclasses import replace

import pytest

from supervisor.core import bath_end, fit, forecast, warm_up
from supervisor.core.actions import Note
from supervisor.core.alarms import AlarmState
from supervisor.core.events import Ending, Quality, Started
from supervisor.core.forecast import TankForecast
from supervisor.core.state import LineState
from supervisor.core.tank_setup import BandSetup, CoolingSetup, HeatingSetup
from supervisor.records.codec import decode_state, encode_state
from supervisor.trade.charge import Interval
from tests.core.heated import COOLING, HEATING, HeatedBench, heated_setup

OVERHEATS = "main-acid/bath-will-overheat"
STEP_S = 20.0
"""Between two readings; nothing else happens meanwhile."""

HELD_AT_60 = replace(HEATING, hold_c=61.0)
TRUE = (0.95, 0.6, 0.9, 0.0, 0.0)
"""Shares of what is assumed that are true of the seal tank."""


def bench(cooling: CoolingSetup | None = None, heating: HeatingSetup = HELD_AT_60) -> HeatedBench:
    """A seal tank with something to wait for, an acid tank small for its current, and devices slow to read."""
    setup = heated_setup()
    seal = replace(setup.tanks["seal"], band=BandSetup(1, 5, 97, 99, 0.3, 10.0), heating=heating)
    acid = replace(setup.tanks["main-acid"], volume_l=8.0, cooling=cooling)
    slow = {name: replace(of, period_s=STEP_S, age_limit_s=5 * STEP_S) for name, of in setup.channels.items()}
    supplies = {name: replace(of, silent_after_s=5 * STEP_S) for name, of in setup.supplies.items()}
    made = HeatedBench(replace(setup, tanks={"seal": seal, "main-acid": acid}, channels=slow, supplies=supplies))
    made.bath_c["main-acid"] = 20.0
    return made


def known(made: HeatedBench, tank: str) -> TankForecast:
    return made.line.state.forecasts.get(tank, TankForecast())


def warm(made: HeatedBench, *, to_c: float, shares: fit.Vector = TRUE) -> None:
    """Let the seal tank rise up to a temperature as its heater and its losses have it."""
    seal = made.setup.tanks["seal"]
    assert seal.heating is not None
    law = warm_up.law(seal, seal.heating, 20.0)
    while made.bath_c["seal"] < to_c:
        made.bath_c["seal"] += warm_up.rate(shares, law, made.bath_c["seal"]) * STEP_S
        made.later(STEP_S)
        made.scan()


def seal_ready(made: HeatedBench) -> warm_up.Ready:
    ready = forecast.ready(made.setup, made.line.state, "seal")
    assert ready is not None
    return ready


# -- warming up


def test_a_tank_nobody_heats_is_not_followed() -> None:
    made = bench().ready()
    made.run(60.0)
    assert known(made, "seal").warm is None
    assert forecast.ready(made.setup, made.line.state, "seal") is None


def test_a_heated_tank_tells_when_it_is_ready() -> None:
    made = bench().heating()
    warm(made, to_c=30.0)
    ready, now_s = seal_ready(made), made.now_s
    warm(made, to_c=60.0)
    assert ready.to_go_s.low < made.now_s - now_s < ready.to_go_s.high
    assert ready.to_go_s.best == pytest.approx(made.now_s - now_s, rel=0.1)


def test_a_warm_up_ends_in_the_band_and_the_next_begins_with_what_it_taught() -> None:
    made = bench().heating()
    warm(made, to_c=60.1)
    learned = known(made, "seal")
    assert learned.warm is None
    assert learned.warmed is not None
    made.bath_c["seal"] = 50.0
    made.run(240.0)
    again = known(made, "seal")
    assert again.warm is not None
    assert again.warm.before == learned.warmed


def test_a_warm_up_nobody_wants_any_more_is_over() -> None:
    made = bench().heating()
    warm(made, to_c=25.0)
    made.ask("rest", tank="seal")
    made.run(2.5)
    assert known(made, "seal").warm is None
    assert known(made, "seal").warmed is not None


def test_a_bad_reading_teaches_nothing() -> None:
    made = bench().heating()
    warm(made, to_c=22.0)
    before = known(made, "seal").warm
    made.temperature(80.0, tank="seal", quality=Quality.MALFORMED)
    assert known(made, "seal").warm == before


def test_readings_too_far_apart_begin_anew() -> None:
    made = bench().heating()
    warm(made, to_c=25.0)
    began = known(made, "seal").warm
    assert began is not None
    lost = replace(began, last_s=began.last_s - warm_up.LONGEST_GAP_S)
    of = replace(known(made, "seal"), warm=lost)
    made.line.state = replace(made.line.state, forecasts={"seal": of})
    made.run(2.0)
    after = known(made, "seal").warm
    assert after is None or after.began_s > began.began_s


def test_what_was_learned_outlives_the_service_and_what_was_under_way_does_not() -> None:
    made = bench().heating()
    warm(made, to_c=25.0)
    made.give(Ending(made.at))
    made.run(2.5)
    kept = decode_state(LineState, encode_state(made.line.state))
    made.line.state = kept
    made.give(Started(made.at, "boot", "1", "hash", watch_only=False))
    assert known(made, "seal") == TankForecast(warmed=kept.forecasts["seal"].warmed)
    assert kept.forecasts["seal"].warmed is not None


# -- under current


def loaded(*, k_per_h: float) -> HeatedBench:
    """Six minutes of a long load in a bath that rises steadily; nothing cools it."""
    made = bench()
    made.start_service()
    answer = made.start(target_um=20.0)
    assert answer.ok, answer.reasons
    made.run(10.0)
    rising(made, k_per_h=k_per_h, for_s=350.0)
    return made


def rising(made: HeatedBench, *, k_per_h: float, for_s: float) -> None:
    end_s = made.now_s + for_s
    while made.now_s < end_s:
        made.bath_c["main-acid"] += k_per_h / 3600 * STEP_S
        made.later(STEP_S)
        made.scan()


def end_c(made: HeatedBench) -> float:
    found = forecast.end(made.setup, made.line.state, "main-acid", made.now_s)
    assert found is not None
    return bath_end.end_c(found.held, found.of, found.now_c, found.ahead).best


def test_a_bath_under_current_tells_where_it_ends() -> None:
    made = loaded(k_per_h=2.0)
    rising(made, k_per_h=2.0, for_s=840.0)
    left_h = (made.operation().plan.expected_s - 1200.0) / 3600
    assert end_c(made) == pytest.approx(made.bath_c["main-acid"] + 2.0 * left_h, abs=0.5)
    assert made.alarm(OVERHEATS) is AlarmState.NORMAL


def test_the_warning_comes_long_before_the_limit_and_tells_what_current_avoids_it() -> None:
    made = loaded(k_per_h=10.0)
    made.run(60.0)
    limit_c = made.setup.tanks["main-acid"].band.trip_high_c
    assert made.bath_c["main-acid"] < limit_c - 2.0
    assert made.alarm(OVERHEATS) is AlarmState.UNACKNOWLEDGED
    told = [note for note in made.named(Note) if note.kind == "tank" and "limit_s" in note.data]
    assert len(told) == 1
    assert "before the load is done" in told[0].text


def test_the_warning_goes_when_the_bath_is_cooled_and_when_the_current_ends() -> None:
    for ends in (False, True):
        made = loaded(k_per_h=10.0)
        made.run(60.0)
        if ends:
            made.ask("stop")
            made.run(90.0)
        else:
            rising(made, k_per_h=-6.0, for_s=700.0)
        assert made.alarm(OVERHEATS) is AlarmState.RETURNED_UNACKNOWLEDGED, ends


def test_nothing_is_foretold_of_a_bath_hardly_seen_or_without_current() -> None:
    made = bench()
    made.start_service()
    assert forecast.end(made.setup, made.line.state, "main-acid", made.now_s) is None
    assert made.start(target_um=20.0).ok
    made.run(200.0)
    assert forecast.end(made.setup, made.line.state, "main-acid", made.now_s) is None


def test_charge_that_grew_no_coat_takes_time_once_more() -> None:
    made = loaded(k_per_h=2.0)
    sound = forecast.end(made.setup, made.line.state, "main-acid", made.now_s)
    supply = made.line.state.supplies["main"]
    barren = replace(supply, coat=replace(supply.coat, barren=Interval(90.0, 100.0, 110.0)))
    state = replace(made.line.state, supplies={**made.line.state.supplies, "main": barren})
    longer = forecast.end(made.setup, state, "main-acid", made.now_s)
    assert sound is not None
    assert longer is not None
    current_a = state.channels["main-current"].good_value
    assert longer.ahead.left_s - sound.ahead.left_s == pytest.approx(100.0 / current_a)


def test_what_one_load_taught_serves_the_next_from_its_second_minute() -> None:
    made = loaded(k_per_h=2.0)
    made.ask("stop")
    made.run(3.0)
    taught = known(made, "main-acid")
    assert taught.run is None
    assert taught.ran is not None
    made.ask("reset")
    assert made.start(target_um=20.0).ok
    made.run(130.0)
    run = known(made, "main-acid").run
    assert run is not None
    assert run.before == taught.ran
    assert forecast.end(made.setup, made.line.state, "main-acid", made.now_s) is not None


def test_a_start_of_the_service_keeps_what_was_learned_and_no_run_under_way() -> None:
    made = loaded(k_per_h=2.0)
    made.ask("stop")
    made.run(3.0)
    taught = known(made, "main-acid").ran
    made.ask("reset")
    assert made.start(target_um=20.0).ok
    made.run(400.0)  # long enough to teach as well, had it ended
    assert known(made, "main-acid").run is not None
    made.give(Started(made.at, "boot", "1", "hash", watch_only=False, journal_s=made.now_s))
    after = known(made, "main-acid")
    assert taught is not None
    assert (after.run, after.warm, after.ran) == (None, None, taught)


def test_a_tank_without_a_supply_has_no_such_warning() -> None:
    made = bench().ready()
    assert "seal/bath-will-overheat" not in made.line.state.alarms


def test_the_chiller_is_seen_to_cool() -> None:
    made = bench(replace(COOLING, least_off_s=0.0))
    made.bath_c["main-acid"] = 21.0
    made.start_service()
    assert made.start(target_um=20.0).ok
    made.run(30.0)
    run = known(made, "main-acid").run
    assert run is not None
    assert run.cool_s > 20.0
