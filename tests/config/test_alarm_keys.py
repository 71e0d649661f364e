"""What contacts prove and ask for, what lamps show, and what a line file changes in the table of causes."""

from __future__ import annotations

import pytest

from supervisor.config.fitted import not_fitted
from supervisor.config.load import load_line
from tests.config.alarm_edits import BOTH, CHANGE, CORNER, FAN, KNOBS, PANEL
from tests.config.conftest import Edit, Written, assert_told

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
        "a date that holds a load",
        BOTH,
        ((CHANGE, '[interlocks.calibration-due]\neffect = "hold"\n\n' + CHANGE),),
        "interlocks.calibration-due",
        "clocks can be set",
        "remove effect and also",
    ),
    (
        "a date that cuts a heater",
        BOTH,
        ((CHANGE, '[interlocks.calibration-due]\nalso = ["heater off"]\n\n' + CHANGE),),
        "interlocks.calibration-due",
        "clocks can be set",
        "remove effect and also",
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
