"""What contacts prove and ask for, what lamps show, and what a line file changes in the table of causes."""

from __future__ import annotations

from dataclasses import replace

import pytest

from supervisor.config.fitted import not_fitted
from supervisor.config.load import load_line
from supervisor.config.setup import line_setup
from supervisor.core.effects import Effect
from supervisor.core.interlocks import CAUSES, standard_interlocks
from supervisor.core.setup import AlarmSetup, LineSetup, VentilationSetup, WatchSetup
from tests.config.conftest import PLAIN, Edit, Written, assert_told

BOTH, CORNER, KNOBS = "acid-and-seal.toml", "scpi-and-board.toml", "knob-supply.toml"
CHANGE = "[interlocks.agitation-lost]\ndelay"
FAN = 'role = "fan"\ndevice = "relays"\npoint = "k10"\nsafe = "on" '

MISTAKES: list[tuple[str, str, tuple[Edit, ...], str, str, str]] = [
    (
        "a button that asks for nothing",
        CORNER,
        (('does = "silence"\n', ""),),
        "contacts.button.does",
        "missing",
        'does = "silence"',
    ),
    (
        "a level that asks",
        BOTH,
        (('role = "level"\n', 'role = "level"\ndoes = "test"\n'),),
        "contacts.acid-level.does",
        "a contact of level asks for nothing",
        "remove it",
    ),
    (
        "a lid that proves air",
        BOTH,
        (('role = "lid"\n', 'role = "lid"\nproves = "ventilation"\n'),),
        "contacts.acid-lid.proves",
        "a contact of lid proves no moving air",
        "remove it",
    ),
    (
        "a lid of no tank",
        BOTH,
        (('tank = "acid"                     # closed while the lid is OPEN', "# closed while the lid is OPEN"),),
        "contacts.acid-lid.tank",
        "missing: an acid tank's must be open",
        "name the tank",
    ),
    (
        "a level of no tank",
        BOTH,
        (('point = "in2"\ntank = "acid"\n', 'point = "in2"\n'),),
        "contacts.acid-level.tank",
        "missing",
        "name the tank",
    ),
    (
        "two red lamps",
        BOTH,
        (('colour = "yellow"', 'colour = "red"'),),
        "outputs.lamp-yellow.colour",
        "lamp lamp-red is red already",
        "a colour of its own",
    ),
    (
        "a coloured horn",
        BOTH,
        (('role = "horn"\n', 'role = "horn"\ncolour = "red"\n'),),
        "outputs.horn.colour",
        "a horn has none",
        "remove it",
    ),
    (
        "a lamp that breaks",
        BOTH,
        (('role = "lamp"\n', 'role = "lamp"\nbreaks = "mains"\n'),),
        "outputs.lamp-red.breaks",
        "a lamp breaks nothing",
        "remove it",
    ),
    (
        "an unknown colour",
        BOTH,
        (('colour = "white"', 'colour = "violet"'),),
        "outputs.lamp-white.colour",
        "'violet' is not known here",
        "'white'",
    ),
    (
        "fumes that stay when nobody supervises",
        BOTH,
        ((FAN, FAN.replace('"on"', '"off"')),),
        "outputs.fan.safe",
        "must be drawn off also when nobody supervises",
        'safe = "on"',
    ),
    (
        "a fan of the whole line that rests",
        KNOBS,
        (('safe = "on"', 'safe = "off"'),),
        "outputs.fan.safe",
        "fan over a tank with a supply",
        'safe = "on"',
    ),
    (
        "a cause that is not there",
        BOTH,
        ((CHANGE, CHANGE.replace("agitation-lost", "agitation-loss")),),
        "interlocks.agitation-loss",
        "no cause 'agitation-loss'",
        "did you mean agitation-lost?",
    ),
    (
        "too weak an effect",
        BOTH,
        ((CHANGE, '[interlocks.lid-shut]\neffect = "warn"\n\n' + CHANGE),),
        "interlocks.lid-shut.effect",
        "'warn' is too weak",
        "hold or stronger",
    ),
    (
        "an emergency stop that only stops",
        BOTH,
        ((CHANGE, '[interlocks.emergency-stop]\neffect = "stop"\n\n' + CHANGE),),
        "interlocks.emergency-stop.effect",
        "too weak",
        "abort or stronger",
    ),
    (
        "an unknown effect",
        BOTH,
        ((CHANGE, '[interlocks.lid-shut]\neffect = "pause"\n\n' + CHANGE),),
        "interlocks.lid-shut.effect",
        "'pause' is not known here",
        "abort",
    ),
    (
        "too long a delay",
        BOTH,
        (('delay = "10 s"                    #', 'delay = "16 s"  #'),),
        "interlocks.agitation-lost.delay",
        "16.0 s is too long",
        "at most 15.0 s",
    ),
    (
        "a delay of what waits for nothing",
        BOTH,
        ((CHANGE, '[interlocks.bath-high-high]\ndelay = "1 ms"\n\n' + CHANGE),),
        "interlocks.bath-high-high.delay",
        "too long",
        "counts at once",
    ),
    (
        "an unknown addition",
        BOTH,
        ((CHANGE, '[interlocks.lid-shut]\nalso = ["lamp on"]\n\n' + CHANGE),),
        "interlocks.lid-shut.also[0]",
        "'lamp on' is not known here",
        "'contactor open'",
    ),
    (
        "fumes that stay after current",
        BOTH,
        (('after = "5 min"', 'after = "10 s"'),),
        "ventilation.after",
        "not a possible value",
        "60.0 s or more",
    ),
    (
        "a shelving for days",
        BOTH,
        (('longest_shelving = "8 h"', 'longest_shelving = "48 h"'),),
        "alarms.longest_shelving",
        "not a possible value",
        "24.00 h or less",
    ),
    (
        "a contact named as a tank",
        BOTH,
        (("[contacts.guard]", "[contacts.seal]"),),
        "contacts.seal",
        "tanks.seal has this name",
        "name of its own",
    ),
    (
        "a watched device named as a contact",
        BOTH,
        (("[contacts.guard]", "[contacts.relays]"),),
        "devices.relays",
        "contacts.relays has this name",
        "name of its own",
    ),
]


@pytest.mark.parametrize(
    ("base", "edits", "path", "problem", "right"), [row[1:] for row in MISTAKES], ids=[row[0] for row in MISTAKES]
)
def test_what_contradicts_itself_is_told_where_it_stands(
    written: Written, base: str, edits: tuple[Edit, ...], path: str, problem: str, right: str
) -> None:
    assert_told(written(*edits, base=base), path, problem, right)


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
    text = profile.read_text(encoding="utf-8").replace('"400000 A*h"]', f'"400000 A*h"]\naccuracy = "{accuracy}"')
    profile.write_text(text.replace("1 mA*h", "0.001 A*h"), encoding="utf-8")
    counter = line_setup(load_line(path)).channels["main-counter"]
    assert counter.accuracy.of_reading == of_reading
    assert counter.accuracy.absolute == pytest.approx(absolute_c)


PANEL = '[devices.panel]\nlink = "network"\nunit = 2\nprofile = "profiles/relay-board.toml"\nperiod = "250 ms"\n\n'

CONTROLLED = """output = "heater"
hold = "19.4 degC"
band = "0.4 degC"
power = "200 W"
level = "level"
"""

DOUBTS: list[tuple[str, str, tuple[Edit, ...], str]] = [
    (
        "an unknown contactor",
        KNOBS,
        (('breaks = "direct current" ', ""),),
        "Contactor main-contactor: the file does not",
    ),
    ("a lamp of no colour", BOTH, (('colour = "blue"\n', ""),), "Lamp lamp-blue shows nothing"),
    (
        "an addition in vain",
        "bench-us.toml",
        (("[growth]", '[interlocks.bath-high-high]\nalso = ["contactor open"]\n\n[growth]'),),
        "Cause bath-high-high is also to do 'contactor open', and nothing it concerns has that",
    ),
    (
        "a heater of another tank",
        BOTH,
        ((CHANGE, '[interlocks.current-lost]\nalso = ["heater off"]\n\n' + CHANGE),),
        "Cause current-lost is also to do 'heater off', and nothing it concerns has that",
    ),
    (
        "a contactor of another tank",
        BOTH,
        ((CHANGE, '[interlocks.lid-open]\nalso = ["contactor open"]\n\n' + CHANGE),),
        "Cause lid-open is also to do 'contactor open', and nothing it concerns has that",
    ),
    (
        "a change of what cannot be",
        KNOBS,
        (("[growth]", '[interlocks.level-low]\neffect = "stop"\n\n[growth]'),),
        "Cause level-low is changed by the file and can never be there",
    ),
    (
        "a heater nobody controls",
        CORNER,
        (("[tanks.acid.heating] ", "# "), (CONTROLLED, "")),
        "Output heater stays off: no tank has a table heating that names it",
    ),
    (
        "a heater in unknown liquid",
        BOTH,
        (('level = "seal-level"', 'without_level = "the element is under the tank"'),),
        "Heater seal-heater of tank seal has no level contact",
    ),
    (
        "a board nobody listens to",
        BOTH,
        (("[channels.acid", PANEL + "[channels.acid"), ('relays"\npoint = "k2"', 'panel"\npoint = "k1"')),
        "Nothing is read of device panel",
    ),
    ("no horn", BOTH, (('role = "horn"', 'role = "agitation"'),), "No horn is fitted"),
    ("no proof of air", BOTH, (('proves = "ventilation"', 'proves = "agitation"'),), "Nothing proves the ventilation"),
    (
        "a supply that forgets its mains",
        BOTH,
        (("counting-supply", "bench-supply"), ("periods = {", "# "), ('device_time_out = "3 s" ', "# ")),
        "a mains dip shorter than the time between its readings can pass unseen",
    ),
]


@pytest.mark.parametrize(("base", "edits", "words"), [row[1:] for row in DOUBTS], ids=[row[0] for row in DOUBTS])
def test_a_doubt_is_told_and_refuses_nothing(written: Written, base: str, edits: tuple[Edit, ...], words: str) -> None:
    before = " ".join(not_fitted(load_line(written(base=base))))
    after = " ".join(not_fitted(load_line(written(*edits, base=base))))
    assert words not in before
    assert words in after
