"""Which good readings of a bath are not believed, why, and what they may still do."""

from __future__ import annotations

import random
from collections.abc import Iterable
from dataclasses import replace

import pytest

from supervisor.core import believe
from supervisor.core.believe import APART, ELECTRICAL, FROZEN, TOO_FAST, Belief
from supervisor.core.tank_setup import BelieveSetup

BATH = BelieveSetup(fastest_c_per_s=0.3 / 60)


def shown(
    values_c: Iterable[float],
    every_s: float = 1.0,
    *,
    belief: Belief | None = None,
    at_s: float = 0.0,
    of: BelieveSetup = BATH,
    switched_s: dict[str, float] | None = None,
    other_c: float | None = None,
) -> Belief:
    """Read these values at an even pace; the first comes one pace after `at_s`."""
    for nth, value_c in enumerate(values_c, start=1):
        now_s = at_s + nth * every_s
        if belief is None:
            belief = believe.first(value_c, now_s)
        else:
            belief = believe.read(belief, value_c, now_s, of, switched_s or {}, other_c)
    assert belief is not None
    return belief


def wavering(count: int, mean_c: float = 20.5, step_c: float = 0.1, sd_c: float = 0.15) -> list[float]:
    chance = random.Random(3)
    return [round(chance.gauss(mean_c, sd_c) / step_c) * step_c for _ in range(count)]


@pytest.mark.parametrize("c_per_min", [0.0, 0.2, -0.2])
def test_a_bath_that_moves_as_baths_do_is_believed(c_per_min: float) -> None:
    """0.2 degC/min at most: of 8 to 200 L, from memory."""
    assert shown(20.0 + c_per_min / 60 * second for second in range(3600)).why == ""


@pytest.mark.parametrize("c_per_min", [0.6, -0.6])
def test_one_that_creeps_faster_than_any_bath_is_doubted_though_no_reading_jumps(c_per_min: float) -> None:
    assert shown(20.0 + c_per_min / 60 * second for second in range(240)).why == TOO_FAST


def test_a_jump_is_doubted_and_a_reading_as_before_is_believed_again() -> None:
    jumped = shown([20.5] * 5 + [21.0])
    assert jumped.why == TOO_FAST
    assert shown([20.5], belief=jumped, at_s=6.0).why == ""


def test_a_new_level_that_holds_for_five_minutes_was_the_bath_or_the_sensor() -> None:
    jumped = shown([20.5] * 5 + [22.5] * 295)
    assert jumped.why == TOO_FAST
    assert shown([22.5] * 10, belief=jumped, at_s=300.0).why == ""


@pytest.mark.parametrize(("after_s", "why"), [(0.5, ELECTRICAL), (2.0, ELECTRICAL), (2.5, TOO_FAST), (-0.5, TOO_FAST)])
def test_a_jump_within_two_seconds_of_a_switching_is_electrical(after_s: float, why: str) -> None:
    """More than 0.3 degC within 2 s of the output is electrical: from memory."""
    assert shown([20.5] * 5 + [20.9], switched_s={"main": 6.0 - after_s}).why == why


def test_a_jump_of_three_tenths_is_none() -> None:
    assert shown([20.5] * 5 + [20.8], switched_s={"main": 5.5}).why == ""


def test_what_is_electrical_is_doubted_until_that_output_switches_again_however_long() -> None:
    jumped = shown([20.5] * 5 + [21.3] * 3600, switched_s={"main": 5.5})
    assert jumped.why == ELECTRICAL
    assert shown([21.3], belief=jumped, at_s=3605.0, switched_s={"main": 5.5, "heater": 3605.5}).why == ELECTRICAL
    assert shown([20.6], belief=jumped, at_s=3605.0, switched_s={"main": 3605.5}).why == ""


def test_a_sensor_that_wavered_and_stands_still_is_frozen() -> None:
    told = shown([*wavering(200), *[20.5] * 31])
    assert told.why == FROZEN
    assert shown([20.7, 20.4], belief=told, at_s=231.0).why == ""


def test_a_frozen_sensor_stays_frozen_however_long_it_lasts() -> None:
    assert shown([*wavering(200), *[20.5] * 5000]).why == FROZEN


def test_a_coarse_sensor_that_wavers_by_less_than_its_step_may_stand_still() -> None:
    told = shown([*wavering(400, mean_c=20.05, sd_c=0.02), *[20.1] * 600])
    assert told.why == ""


def test_two_sensors_apart_for_a_minute_are_both_doubted() -> None:
    apart = shown([20.5] * 60, other_c=21.6)
    assert apart.why == ""
    apart = shown([20.5] * 10, belief=apart, at_s=60.0, other_c=21.6)
    assert apart.why == APART
    assert shown([20.5], belief=apart, at_s=70.0, other_c=21.4).why == ""
    assert shown([20.5], belief=apart, at_s=70.0, other_c=None).why == ""


def test_a_sensor_of_whole_degrees_may_step_by_one() -> None:
    coarse = replace(BATH, jump_c=2.0)
    assert shown([20.0] * 50 + [21.0] * 50, of=coarse).why == ""
