"""The live picture: the figures are there, alarms before all else, and it fits the terminal it is given."""

from __future__ import annotations

from io import StringIO
from typing import Any

import pytest
from rich.console import Console

from supervisor.cli.digits import ROWS, large
from supervisor.cli.picture import STATE_SAYS, Bar, LinePicture, Scale
from supervisor.core.alarms import AlarmState
from supervisor.core.anodize import State
from tests.cli.states import IDLE, alarm, running, with_alarms, with_operation, with_switches, without_temperature


def drawn(status: dict[str, Any], said: tuple[str, ...] = (), *, width: int = 80, height: int = 24) -> list[str]:
    console = Console(file=StringIO(), width=width, height=height, force_terminal=True, color_system=None)
    with console.capture() as capture:
        console.print(LinePicture(status, "An invented workshop", said))
    return capture.get().splitlines()


def text(status: dict[str, Any], height: int = 24) -> str:
    return "\n".join(drawn(status, height=height))


def test_the_picture_shows_band_target_charge_time_volts_amps_and_bath() -> None:
    shown = text(running())
    dose = ("11.0 to 13.2 µm, wanted 20.0 µm", "48.0 (47.7 to 48.3) of 79.3 A·min")
    for part in ("RUNNING", *dose, "1.95 A", "16.33 V", "20.6 °C", "19.0 to 22.0 °C", "no alarms"):
        assert part in shown


def test_thickness_and_time_to_go_are_drawn_large() -> None:
    shown = text(running())
    for number in ("12.1", "16:02"):
        assert all(row in shown for row in large(number))


def test_a_line_in_us_units_is_drawn_in_mil_and_fahrenheit() -> None:
    shown = text(running() | {"units": "us"})
    assert "wanted 0.787 mil" in shown
    assert "66.2 to 71.6 °F" in shown


def test_every_state_is_explained() -> None:
    assert set(STATE_SAYS) == {str(state) for state in State}


def test_a_bad_reading_is_drawn_without_a_number() -> None:
    (row,) = [row for row in drawn(without_temperature("absent")) if "acid" in row]
    assert "---" in row
    assert "reading absent" in row
    assert "°C" not in row


@pytest.mark.parametrize("reading", ["out of range", "no answer", "link down", "none yet"])
def test_why_a_reading_is_bad_stands_beside_it_on_a_narrow_terminal(reading: str) -> None:
    assert f"acid     --- reading {reading}" in "\n".join(drawn(without_temperature(reading), width=68))


def test_a_charge_that_nothing_bounds_is_drawn_as_such() -> None:
    assert "or more" in text(with_operation(charge_unbounded=True))
    assert "or more" not in text(running())


def test_an_idle_supply_is_drawn_without_a_load() -> None:
    shown = text(running(**IDLE))
    assert "IDLE" in shown
    assert "off, proven" in shown
    assert "thickness" not in shown


def test_speed_and_watching_only_are_told_at_the_head() -> None:
    shown = text(running() | {"speed": 60.0, "watch_only": True})
    assert "watching only, 60 times the pace of life" in shown


def test_a_record_that_is_not_kept_is_told() -> None:
    journal = {"path": "x", "healthy": False, "problem": "The disk is full."}
    assert "The record: The disk is full." in text(running() | {"journal": journal})


def test_knobs_and_switches_are_drawn_only_where_there_are_any() -> None:
    shown = text(with_switches(), height=40)
    for part in (
        "main · load-1 · set by its knobs",
        "waits for: turn up to 1.95 A, 22.00 V at most, then ampminder anodize confirm",
        "outputs: breaker closed, fan on (NOT confirmed)",
        "contacts: lid open, level LOW, air --- (reading no answer), shut closed",
        "exercising fan",
    ):
        assert part in shown
    assert not any(word in text(running()) for word in ("outputs", "contacts", "waits for", "knobs"))


def test_the_most_urgent_and_newest_alarm_comes_first_and_in_full() -> None:
    low, old, new = alarm("acid/bath-high", "medium"), alarm("main/old"), alarm("main/new", since_wall_s=9.0)
    shown = text(with_alarms(low, old, new), height=60)
    places = [shown.index(f"First: What to do about {name}") for name in ("main/new", "main/old", "acid/bath-high")]
    assert places == sorted(places)


def test_an_alarm_whose_cause_stands_comes_before_one_whose_cause_is_gone() -> None:
    gone, stands = alarm("main/gone", active=False, since_wall_s=9.0), alarm("acid/stands", "low")
    shown = text(with_alarms(gone, stands), height=60)
    assert shown.index("acid/stands") < shown.index("main/gone")
    assert "its cause is gone" in shown


@pytest.mark.parametrize(("width", "height"), [(68, 24), (76, 24), (80, 24), (100, 32), (200, 60)])
def test_the_picture_fits_the_terminal_and_names_every_alarm(width: int, height: int) -> None:
    names = [f"main/alarm-{number}" for number in range(6)]
    for status in (running(), with_switches()):
        rows = drawn(status | {"alarms": [*map(alarm, names)]}, ("said",), width=width, height=height)
        assert len(rows) < height
        assert max(map(len, rows)) <= width
        assert all(name in " ".join(rows) for name in names)


def test_contacts_that_are_not_healthy_are_drawn_before_the_alarms_whatever_the_room() -> None:
    crowded = with_switches() | {"alarms": [*map(alarm, ("a/1", "a/2", "a/3"))]}
    rows = drawn(crowded)
    (at,) = [number for number, row in enumerate(rows) if row.startswith("NOT HEALTHY: level LOW, air ---")]
    assert "a/1" in rows[at + 1]
    assert "NOT HEALTHY" not in text(running())


def test_consequences_are_folded_under_their_head() -> None:
    folded = with_alarms(alarm("a/head"), *(alarm(f"b/{n}", under="a/head") for n in range(3)))
    assert "+3 consequences: b/0, b/1, b/2" in text(folded, height=40)
    short = text(folded, height=20)
    assert "a/head  +3 consequences" in short
    assert "b/1" not in short
    other = alarm("c/newer", since_wall_s=9.0)
    assert "and HIGH a/head +3 consequences" in text(folded | {"alarms": [other, *folded["alarms"]]}, height=20)


def test_an_alarm_that_was_seen_is_drawn_as_acknowledged_after_one_that_was_not() -> None:
    seen, fresh = alarm("a/seen", state=AlarmState.ACKNOWLEDGED, since_wall_s=9.0), alarm("a/fresh")
    shown = text(with_alarms(seen, fresh), height=60)
    assert "a/seen  acknowledged" in shown
    assert shown.index("a/fresh") < shown.index("a/seen")


def test_hidden_alarms_are_counted_at_the_head_and_drawn_nowhere() -> None:
    hidden = alarm("a/1", state=AlarmState.SHELVED), alarm("a/2", state=AlarmState.SUPPRESSED)
    shown = text(with_alarms(*hidden))
    assert "alarms: 1 shelved" in shown
    assert "no alarms" in shown
    assert "a/1" not in shown


@pytest.mark.parametrize(("kind", "says"), [("heating", "heats to 65.0 °C"), ("cooling", "cools to 65.0 °C")])
@pytest.mark.parametrize("width", [76, 116])
def test_what_heats_or_cools_a_tank_stands_beside_its_temperature(kind: str, says: str, width: int) -> None:
    status = running()
    status["tanks"]["acid"][kind] = {"output": "element", "on": True, "hold_c": 65.0}
    (row,) = [row for row in drawn(status, width=width) if "20.6 °C" in row]
    assert says in row
    status["tanks"]["acid"][kind]["on"] = False
    assert "19.0 to 22.0 °C" in text(status)


def test_switches_give_way_to_alarms_and_are_drawn_where_there_is_room() -> None:
    assert "outputs: breaker closed" in text(with_switches(), height=27)
    crowded = with_switches() | {"alarms": [*map(alarm, ("a/1", "a/2", "a/3"))]}
    assert "outputs:" not in text(crowded, height=27)
    assert "outputs:" in text(crowded, height=40)


def test_what_is_only_worth_knowing_gives_way_to_alarms() -> None:
    assert "a word" in "\n".join(drawn(running(), ("a word",)))
    assert "a word" not in "\n".join(drawn(with_alarms(*map(alarm, ("a/1", "a/2", "a/3"))), ("a word",), height=24))


@pytest.mark.parametrize(("share", "full"), [(-1.0, 0), (0.0, 0), (0.5, 20), (0.999, 39), (1.0, 40), (7.0, 40)])
def test_the_bar_is_full_only_at_the_whole(share: float, full: int) -> None:
    console = Console(file=StringIO(), width=40, color_system=None)
    with console.capture() as capture:
        console.print(Bar(share), end="")
    assert capture.get().strip("\n") == "█" * full + "░" * (40 - full)


def test_the_scale_shows_band_best_value_and_what_is_wanted_in_their_places() -> None:
    console = Console(file=StringIO(), width=10, color_system=None)
    with console.capture() as capture:
        console.print(Scale(0.2, 0.35, 0.5, 0.8), end="")
    assert capture.get().strip("\n") == "··▒█▒▒··┃·"


def test_every_digit_is_drawn_differently_and_of_one_size() -> None:
    drawings = {sign: tuple(large(sign)) for sign in "0123456789"}
    assert len(set(drawings.values())) == 10
    assert {(len(rows), *map(len, rows)) for rows in drawings.values()} == {(ROWS, 3, 3, 3)}
