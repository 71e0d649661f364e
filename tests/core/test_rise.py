"""A heater or a sensor in the air is found out by the rise that fails to come; a real tank is never blamed."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import pytest

from supervisor.core import rise
from supervisor.core.alarms import AlarmState
from supervisor.core.rise import Rise
from supervisor.core.tank_setup import TankSetup
from supervisor.trade.boiling import HEAT_OF_WATER_J_PER_KG_K, heats_c_per_s
from tests.core.heated import HEATING, HeatedBench, heated_setup

BTU = 3.15459  # W/m2 in one Btu/(h ft2), NIST SP 811
# Source: Engineering ToolBox, "Heat loss from open water tanks": degF, Btu/(h ft2) of the surface in still air of
# 60 degF; bare walls 160 at 140 degF and 260 at 180. Both may be 30 % out.
SURFACE = ((60, 0), (90, 130), (110, 330), (140, 820), (160, 1310), (180, 2000), (200, 3000), (212, 3800))
WALLS = ((60, 0), (140, 160), (180, 260), (212, 340))


def between(table: tuple[tuple[float, float], ...], temperature_c: float) -> float:
    """W/m2 on straight lines through a table; the last point is drawn on by hand and lies in no judgement."""
    fahrenheit = temperature_c * 1.8 + 32
    for (low_f, low), (high_f, high) in pairwise(table):
        if fahrenheit <= high_f:
            return max(0.0, low + (high - low) * (fahrenheit - low_f) / (high_f - low_f)) * BTU
    raise ValueError(temperature_c)


def loses_c_per_s(volume_l: float, temperature_c: float, share: float, depth: float = 1.0) -> float:
    """What a square tank of water, open and with bare walls, loses: `share` times what is printed.

    Its depth is given over the edge of a cube of its volume.
    """
    edge_m = math.cbrt(volume_l / 1000)
    surface_m2 = edge_m**2 / depth
    walls_m2 = surface_m2 + 4 * math.sqrt(surface_m2) * depth * edge_m
    loses_w = (surface_m2 * between(SURFACE, temperature_c) + walls_m2 * between(WALLS, temperature_c)) * share
    return loses_w / (volume_l * HEAT_OF_WATER_J_PER_KG_K)


def seal(volume_l: float, power_w: float, hold_c: float = 96.0) -> TankSetup:
    heating = replace(HEATING, hold_c=hold_c, rise_c_per_s=heats_c_per_s(power_w, volume_l))
    return replace(heated_setup().tanks["seal"], volume_l=volume_l, heating=heating)


def verdicts(tank: TankSetup, temperature_c: float, hours: float, share: float, depth: float = 1.0) -> list[bool]:
    """What is judged of a real tank with its heater on for hours: read every 5 s, its losses followed by the minute."""
    assert tank.heating is not None
    known, found, lost_c = Rise(), [], 0.0
    for number in range(int(hours * 720)):
        if number % 12 == 0:
            lost_c = loses_c_per_s(tank.volume_l, temperature_c, share, depth)
        known = rise.read(known, tank, tank.heating, number * 5.0, temperature_c, on=True)
        came = rise.judged(known, tank.heating)
        if came is not None:
            found.append(came)
            known = rise.next_minutes(known)
        temperature_c = min(99.0, temperature_c + 5.0 * (tank.heating.rise_c_per_s - lost_c))
    return found


@pytest.mark.parametrize(("volume_l", "power_w"), [(8.0, 500.0), (40.0, 2000.0), (100.0, 4000.0), (200.0, 6000.0)])
@pytest.mark.parametrize("share", [0.7, 1.0, 1.3])
@pytest.mark.parametrize("depth", [0.5, 1.0, 1.6])
def test_a_real_tank_is_never_blamed_from_cold_until_its_losses_eat_all_its_heat(
    volume_l: float, power_w: float, share: float, depth: float
) -> None:
    found = verdicts(seal(volume_l, power_w), 16.0, 12.0, share, depth)
    assert found
    assert all(found)


@pytest.mark.parametrize(("volume_l", "power_w"), [(8.0, 500.0), (40.0, 2000.0), (200.0, 2000.0), (200.0, 6000.0)])
def test_wherever_a_tank_is_judged_half_its_heat_is_left_and_no_less_than_need_be_is_judged(
    volume_l: float, power_w: float
) -> None:
    tank = seal(volume_l, power_w)
    assert tank.heating is not None
    judged_c = [number / 10 for number in range(150, 960) if rise.shows(tank, tank.heating, number / 10)]
    lost = loses_c_per_s(volume_l, judged_c[-1], 1.3, 0.5) / tank.heating.rise_c_per_s
    assert 0.48 < lost <= 0.5


def test_a_seal_tank_at_90_degrees_that_2_kw_only_just_hold_is_never_blamed() -> None:
    tank = seal(40.0, 2000.0)
    assert tank.heating is not None
    assert loses_c_per_s(40.0, 90.0, 1.3) == pytest.approx(tank.heating.rise_c_per_s, rel=0.05)
    assert not any(verdict is False for verdict in verdicts(tank, 90.0, 12.0, 1.3))


def test_a_wide_open_tank_that_falls_from_90_degrees_under_its_heater_is_not_blamed_while_losses_may_explain_it() -> (
    None
):
    tank = seal(40.0, 2000.0)
    assert tank.heating is not None
    known = Rise()
    for number in range(240):
        known = rise.read(known, tank, tank.heating, number * 5.0, 90.0 - number * 0.05, on=True)
    assert rise.judged(known, tank.heating) is None


@pytest.mark.parametrize(("volume_l", "power_w"), [(8.0, 500.0), (40.0, 2000.0), (200.0, 2000.0), (1000.0, 8000.0)])
@pytest.mark.parametrize("room_c", [5.0, 20.0, 30.0])
def test_a_sensor_in_the_air_of_a_room_is_found_out_in_ten_minutes(
    volume_l: float, power_w: float, room_c: float
) -> None:
    tank = seal(volume_l, power_w)
    assert tank.heating is not None
    known = Rise()
    for number in range(121):
        known = rise.read(known, tank, tank.heating, number * 5.0, room_c + 0.1 * (number % 2), on=True)
    assert rise.judged(known, tank.heating) is False


def test_a_third_of_the_rise_is_enough_and_less_is_not() -> None:
    heating = HEATING
    third_c = heating.rise_c_per_s * 600.0 / 3
    assert rise.judged(Rise(600.0, third_c * 1.001), heating) is True
    assert rise.judged(Rise(600.0, third_c * 0.999), heating) is False
    assert rise.judged(Rise(599.0, 0.0), heating) is None


def test_only_time_with_the_heater_on_counts_and_only_the_rise_within_it() -> None:
    tank = seal(40.0, 2000.0)
    assert tank.heating is not None
    known = Rise()
    for at_s, temperature_c, on in (
        (0.0, 20.0, True), (100.0, 21.0, True), (110.0, 20.5, False), (500.0, 18.0, False), (510.0, 18.0, True),
        (520.0, 18.2, True),
    ):  # fmt: skip
        known = rise.read(known, tank, tank.heating, at_s, temperature_c, on=on)
    assert known.on_s == pytest.approx(110.0)
    assert known.risen_c == pytest.approx(1.2)


def test_a_tank_that_was_too_warm_to_judge_begins_anew() -> None:
    tank = seal(40.0, 2000.0)
    assert tank.heating is not None
    assert rise.read(Rise(500.0, 1.0, (0.0, 40.0)), tank, tank.heating, 5.0, 80.0, on=True) == Rise()


def test_within_its_band_a_tank_is_not_judged() -> None:
    tank = seal(40.0, 2000.0, hold_c=40.0)
    assert tank.heating is not None
    assert rise.shows(tank, tank.heating, 38.9)
    assert not rise.shows(tank, tank.heating, 39.0)


def in_the_air(**changes: object) -> HeatedBench:
    return HeatedBench(heated_setup(replace(HEATING, **changes))).heating()  # type: ignore[arg-type]


def test_a_rise_that_does_not_come_has_the_heater_off_for_good_and_told() -> None:
    made = in_the_air(rise_within_s=60.0)
    made.run(58.0)
    assert made.on("seal-heater")
    made.run(6.0)
    assert not made.on("seal-heater")
    assert not made.demanded
    assert made.alarm("seal/no-rise") is AlarmState.LATCHED_UNACKNOWLEDGED
    assert made.heat().reasons == ("no trip: seal/no-rise waits for a reset (alarms reset seal/no-rise).",)
    made.run(60.0)
    assert not made.on("seal-heater")
    assert made.ask("alarm reset", alarm="seal/no-rise").ok
    assert made.heat().ok


def test_the_heater_is_off_in_the_step_in_which_the_rise_is_judged() -> None:
    made = in_the_air(rise_within_s=60.0)
    while made.alarm("seal/no-rise") is AlarmState.NORMAL:
        assert made.on("seal-heater")
        made.later(2.0)
        made.temperature(20.0, tank="seal")
        made.contacts()
    assert not made.told("seal-heater")[-1]


def test_a_bath_that_warms_up_is_not_blamed() -> None:
    made = in_the_air(rise_within_s=60.0)
    for _ in range(100):
        made.bath_c["seal"] += 2.0 * HEATING.rise_c_per_s * 0.5
        made.run(2.0)
    assert made.on("seal-heater")
    assert made.alarm("seal/no-rise") is AlarmState.NORMAL


def test_minutes_before_a_heater_confirmed_that_it_is_on_are_not_counted() -> None:
    made = HeatedBench(heated_setup(replace(HEATING, rise_within_s=3.0))).ready()
    made.deaf = {"seal-heater"}
    made.heat()
    made.scan_s = 0.4
    made.run(4.5)
    assert made.on("seal-heater")
    assert made.alarm("seal/no-rise") is AlarmState.NORMAL


def test_a_fresh_demand_is_judged_from_its_own_beginning() -> None:
    made = in_the_air(rise_within_s=60.0)
    made.run(50.0)
    made.ask("rest", tank="seal")
    made.run(31.0)
    assert made.heat().ok
    made.run(50.0)
    assert made.on("seal-heater")
