"""What the electrical watch finds trips the load of the supply it looks at, once, and forgets with the current.

The load is 1.3 dm2 at 1.95 A in 20.5 degC; what its meters show is made up, second by second.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from supervisor.core import electrical, watching
from supervisor.core.actions import SwitchOff
from supervisor.core.alarms import AlarmState
from supervisor.core.anodize import State
from supervisor.core.events import Order, Quality, Reading, Scanned
from supervisor.core.line import Step
from supervisor.trade.cell import surface_c, voltage_v
from tests.core.kit import Bench, of_kind
from tests.core.plain import line_setup

AREA_M2, CURRENT_A, BATH_C = 0.013, 1.95, 20.5
SOUND_V = voltage_v(CURRENT_A / AREA_M2, surface_c(BATH_C), 15.0)


def shows(bench: Bench, voltage_v: float | None, current_a: float | None = CURRENT_A) -> Step:
    """A second later: what the meters show, and the bath; None is a reading that is not good."""
    bench.later(1.0)
    setup = bench.setup.supplies["main"]
    readings = tuple(
        Reading(channel, Quality.GOOD if value is not None else Quality.NO_ANSWER, value)
        for channel, value in ((setup.voltage, voltage_v), (setup.current, current_a))
    )
    bench.temperature(BATH_C)
    return bench.give(Scanned(bench.at, setup.device, bench.now_s, bench.now_s, readings))


def settled() -> Bench:
    """A load that has settled at the volts of its area."""
    bench = Bench().running(target_um=20.0)
    for _ in range(70):
        shows(bench, SOUND_V)
    watch = bench.operation().electrical
    assert watch is not None
    assert watch.settled is not None
    return bench


def until(bench: Bench, name: str, shown: Callable[[int], float], seconds: int = 300) -> Step:
    """Let the meters show this until an alarm stands."""
    for second in range(seconds):
        step = shows(bench, shown(second))
        if bench.alarm(name) is not AlarmState.NORMAL:
            return step
    raise AssertionError(f"{name} has not come")


def at_area(share: float) -> float:
    return voltage_v(CURRENT_A / AREA_M2 / share, surface_c(BATH_C), 15.0)


TRIPS: dict[str, Callable[[int], float]] = {
    "contact-lost-part": lambda _: at_area(0.5),
    "contact-creeping": lambda second: at_area(1.0 - min(second / 600.0, 0.4)),
    "contact-hot": lambda second: min(SOUND_V + 0.08 * second, 28.0),
    "burning": lambda second: at_area(1.0 + second / 200.0),
    "cathode-touched": lambda _: 1.0,
    "no-growth": lambda _: 6.0,
}
"""Volts over seconds at held current that show each."""


@pytest.mark.parametrize("cause", TRIPS)
def test_what_is_found_holds_the_load_in_its_step_and_marks_it_suspect(
    cause: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    # At 1.95 A no contact gets hot: here a tenth of it counts as hot already.
    monkeypatch.setattr(electrical, "HOT_W", 0.0 if cause == "contact-hot" else electrical.HOT_W)
    bench = settled()
    step = until(bench, f"main/{cause}", TRIPS[cause])
    assert [action.supply for action in of_kind(step, SwitchOff)] == ["main"]
    assert bench.stands() is State.HOLDING
    assert bench.operation().why == cause
    assert bench.line.state.loads[bench.operation().load].suspect == cause
    assert bench.operation().electrical is None


def test_it_is_told_of_every_cause_there_is() -> None:
    assert set(watching.TRIPPING) == set(TRIPS)
    assert set(watching.TOLD) | set(watching.TRIPPING) == set(electrical.CAUSES)


def test_half_the_area_lost_is_told_within_10_s() -> None:
    bench = settled()
    began_s = bench.now_s
    until(bench, "main/contact-lost-part", TRIPS["contact-lost-part"])
    assert bench.now_s - began_s <= 10.0


def test_a_current_that_is_gone_is_lost_and_nothing_else() -> None:
    bench = settled()
    for _ in range(3):
        shows(bench, 20.0, 0.05)
    assert bench.alarm("main/current-lost") is not AlarmState.NORMAL
    assert all(bench.alarm(f"main/{cause}") is AlarmState.NORMAL for cause in TRIPS)


def test_readings_that_are_not_good_say_nothing() -> None:
    bench = settled()
    before = bench.operation().electrical
    shows(bench, None, None)
    assert bench.operation().electrical == before
    shows(bench, at_area(0.5), None)
    assert bench.operation().electrical == before


def test_a_voltage_that_is_old_says_nothing_of_its_current() -> None:
    bench = settled()
    for _ in range(5):
        shows(bench, None)
    before = bench.operation().electrical
    shows(bench, None)
    assert bench.operation().electrical == before


def test_an_area_that_is_far_off_is_told_and_the_load_goes_on() -> None:
    setup = line_setup()
    bench = Bench(replace(setup, anodize=replace(setup.anodize, alloy="6061"))).running(target_um=20.0)
    until(bench, "main/area-wrong", lambda _: at_area(0.5))
    assert bench.stands() is State.RUNNING
    assert bench.ask("stop").ok
    bench.run(3.0)
    assert bench.alarm("main/area-wrong") is AlarmState.RETURNED_UNACKNOWLEDGED


def test_a_load_is_left_to_settle_after_its_soft_start_however_long_that_is() -> None:
    bench = Bench()
    bench.start_service()
    assert bench.ask("start", order=Order(AREA_M2, 20.0, ramp_s=120.0)).ok
    while bench.operation().ramp is None or bench.operation().ramp.next_s is not None:  # type: ignore[union-attr]
        shows(bench, at_area(0.7))
    assert bench.now_s > 200.0
    for _ in range(100):
        shows(bench, SOUND_V)
    assert bench.stands() is State.RUNNING


def test_after_a_restart_the_load_is_learned_anew() -> None:
    bench = settled()
    until(bench, "main/contact-lost-part", TRIPS["contact-lost-part"])
    bench.run(3.0)
    assert bench.stands() is State.HELD
    assert bench.ask("alarm reset", alarm="main/contact-lost-part").ok
    assert bench.ask("restart").ok
    bench.run(12.0)
    for _ in range(100):
        shows(bench, at_area(0.6))
    assert bench.stands() is State.RUNNING


def test_the_answer_to_a_start_says_which_loss_is_too_small_to_be_seen() -> None:
    bench = Bench()
    bench.start_service()
    answer = bench.ask("start", order=Order(AREA_M2, 20.0))
    sight = watching.sight(bench.setup, bench.setup.supplies["main"], bench.operation().plan)
    assert float(answer.data["least_loss_share"]) == pytest.approx(electrical.least_loss(sight), abs=1e-3)


def test_the_alloy_of_the_load_bounds_its_volts_and_without_one_all_of_them_do() -> None:
    assert watching.volts_of("2024") == (21.0, 21.0)
    assert watching.volts_of("6061, cast 356") == (15.0, 19.0)
    assert watching.volts_of("") == (14.5, 26.0)
