"""What a line file says of alarms, interlocks and watches comes to the core as it is meant."""

from __future__ import annotations

from dataclasses import replace

import pytest

from supervisor.config.load import load_line
from supervisor.config.setup import line_setup
from supervisor.core.effects import Effect
from supervisor.core.interlocks import CAUSES, standard_interlocks
from supervisor.core.setup import AlarmSetup, LineSetup, VentilationSetup, WatchSetup
from tests.config.alarm_edits import BOTH, CHANGE, CORNER, FAN, PANEL
from tests.config.conftest import PLAIN, Edit, Written


def both(written: Written, *edits: Edit) -> LineSetup:
    return line_setup(load_line(written(*edits, base=BOTH)))


def test_a_device_of_a_supply_may_have_the_supplys_name(written: Written) -> None:
    assert both(written, ("[supplies.main]", "[supplies.rectifier]")).supplies.keys() == {"rectifier"}


def test_an_unhurried_fan_elsewhere_may_rest(written: Written) -> None:
    rests = FAN.replace('"on"', '"off"') + "# fumes are drawn off also when nobody supervises\ntank = "
    of_acid = FAN + '                      # fumes are drawn off also when nobody supervises\ntank = "acid"'
    assert not both(written, (of_acid, f'{rests}"seal"')).outputs["fan"].safe_on


def test_a_line_file_without_a_word_on_causes_has_the_standard_table(written: Written) -> None:
    setup = line_setup(load_line(PLAIN))
    assert setup.interlocks == standard_interlocks()
    assert (setup.ventilation, setup.alarms) == (VentilationSetup(), AlarmSetup())


def test_a_line_file_changes_one_row_and_adds_to_what_that_does(written: Written) -> None:
    change = '[interlocks.level-low]\neffect = "abort"\nalso = ["contactor open"]\ndelay = "1 s"\n\n'
    setup = both(written, (CHANGE, change + CHANGE))
    standard = standard_interlocks()
    expected = replace(
        standard["level-low"], effect=Effect.ABORT, also=frozenset({"heater off", "contactor open"}), on_delay_s=1.0
    )
    assert setup.interlocks["level-low"] == expected
    assert setup.interlocks["agitation-lost"] == replace(standard["agitation-lost"], on_delay_s=10.0)
    same = CAUSES.keys() - {"level-low", "agitation-lost"}
    assert {cause: setup.interlocks[cause] for cause in same} == {cause: standard[cause] for cause in same}


def test_times_of_alarms_and_ventilation_come_to_the_core(written: Written) -> None:
    setup = both(
        written,
        ('before = "30 s"\nafter = "5 min"', 'before = "1 min"\nafter = "10 min"'),
        ('longest_shelving = "8 h"', 'longest_shelving = "1 h"\nagain_high = "5 min"\nagain_medium = "20 min"'),
    )
    assert setup.ventilation == VentilationSetup(60.0, 600.0)
    assert setup.alarms == AlarmSetup(3600.0, 300.0, 1200.0)


def test_moving_air_proves_what_its_role_says_unless_the_file_says_otherwise(written: Written) -> None:
    plain = both(written, ('proves = "ventilation"\n', ""), ('proves = "agitation"\n', "")).contacts
    assert (plain["air-flow"].proves, plain["air-pressure"].proves, plain["guard"].proves) == (
        "ventilation",
        "agitation",
        "",
    )
    turned = both(written, ('proves = "agitation"', 'proves = "ventilation"')).contacts
    assert turned["air-pressure"].proves == "ventilation"


def test_buttons_lamps_and_contactors_come_to_the_core_as_they_are(written: Written) -> None:
    setup = both(written)
    assert {name: one.does for name, one in setup.contacts.items() if one.role == "button"} == {
        "silence-button": "silence",
        "acknowledge-button": "acknowledge",
        "test-button": "test",
    }
    assert {one.colour for one in setup.outputs.values()} == {"", "red", "yellow", "green", "blue", "white"}
    assert setup.outputs["main-contactor"].breaks == "direct current"


def test_every_device_that_is_read_is_watched_but_the_supplys(written: Written) -> None:
    setup = both(written)
    assert setup.watches.keys() == {"thermometer", "relays"}
    assert setup.watches["thermometer"] == WatchSetup(
        "thermometer", ("acid-temperature", "seal-temperature"), 3.5, ("main",)
    )
    assert setup.watches["relays"].supplies == ("main",)
    assert set(setup.watches["relays"].channels) == setup.contacts.keys()


def test_a_device_with_a_heartbeat_is_not_watched_twice(written: Written) -> None:
    setup = line_setup(load_line(written(base=CORNER)))
    assert set(setup.watches) == {"relays"}
    assert set(setup.heartbeats) == {"board"}


def test_a_board_of_lamps_and_buttons_is_watched_and_holds_nothing(written: Written) -> None:
    """No operation is worse off without it."""
    moved = tuple(
        (f'device = "relays"\npoint = "{old}"', f'device = "panel"\npoint = "{new}"')
        for old, new in (("k2", "k1"), ("k3", "k2"), ("in10", "in1"))
    )
    watch = both(written, ("[channels.acid", PANEL + "[channels.acid"), *moved).watches["panel"]
    assert (watch.channels, watch.supplies) == (("silence-button",), ())


def test_the_emergency_stops_device_holds_every_supply(written: Written) -> None:
    """It names no tank: it is the whole line's."""
    moved = ('device = "relays"\npoint = "in8"', 'device = "panel"\npoint = "in1"')
    watch = both(written, ("[channels.acid", PANEL + "[channels.acid"), moved).watches["panel"]
    assert watch.supplies == ("main",)


def test_two_answers_lost_in_a_row_are_missed_by_nobody(written: Written) -> None:
    setup = both(written)
    longest_s = {name: 3.1 * channel.period_s for name, channel in setup.channels.items()}
    assert all(channel.age_limit_s > longest_s[name] for name, channel in setup.channels.items())
    assert all(watch.silent_after_s > longest_s[name] for watch in setup.watches.values() for name in watch.channels)


def test_a_watched_device_is_missed_before_any_of_its_readings(written: Written) -> None:
    setup = both(written)
    for watch in setup.watches.values():
        assert all(watch.silent_after_s < setup.channels[name].age_limit_s for name in watch.channels)


def test_what_a_supply_tells_of_itself_makes_three_channels_more(written: Written) -> None:
    setup = both(written)
    supply = setup.supplies["main"]
    assert (supply.uptime, supply.restarted, supply.counter) == ("main-uptime", "", "main-counter")
    counter = setup.channels["main-counter"]
    assert (counter.point, counter.unit, counter.period_s) == ("charge", "C", 2.0)
    # 0.0001 A*h is 0.36 C: its step, by which the core compares it.
    assert counter.accuracy.absolute == pytest.approx(0.36)
    assert (setup.channels["main-uptime"].unit, setup.channels["main-uptime"].period_s) == ("s", 1.0)
    plain = line_setup(load_line(PLAIN)).supplies["main"]
    assert {plain.uptime, plain.restarted, plain.counter} == {""}


@pytest.mark.parametrize(
    ("accuracy", "of_reading", "absolute_c"),
    [("0.5 % of reading", 0.005, 0.36), ("0.5 % of reading + 1 mA*h", 0.005, 3.6)],
    ids=["the step where none is said", "as said"],
)
def test_a_counters_step_stays_its_least_error(
    written: Written, accuracy: str, of_reading: float, absolute_c: float
) -> None:
    path = written(base=BOTH)
    profile = path.parent / "profiles" / "counting-supply.toml"
    text = profile.read_text(encoding="utf-8").replace('"0.5 % of reading"', f'"{accuracy}"')
    profile.write_text(text.replace("1 mA*h", "0.001 A*h"), encoding="utf-8")
    counter = line_setup(load_line(path)).channels["main-counter"]
    assert counter.accuracy.of_reading == of_reading
    assert counter.accuracy.absolute == pytest.approx(absolute_c)
