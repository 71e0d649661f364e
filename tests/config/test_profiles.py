"""Register maps: what a profile may say, and what each row becomes."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

import pytest

from drivers.registers import Register, RegisterMap, groups_of
from supervisor.config.load import load_line
from supervisor.config.mistakes import Mistake, teller
from supervisor.config.model import ProfileDocument
from supervisor.config.profile import understand
from supervisor.config.setup import device_maps, line_setup
from supervisor.core.setup import Accuracy
from tests.config.conftest import CONFIG, PLAIN, Edit, Written, mistakes_in, told

SUPPLY = "profiles/bench-supply.toml: "

INLINE = """
driver = "modbus module"
timing = { worst_answer = "60 ms" }

[devices.thermometer.points.t1]
table = "input register"
address = 7
kind = "int16"
scale = "0.1 degF"
range = ["0 degF", "300 degF"]
accuracy = "2 degF"
no_value = [0x7FFF]
"""

WRONG = [
    ("voltage for current", ('scale = "1 mA"', 'scale = "1 mV"'), "points.current.scale", "mV", '"5 A"'),
    ("no scale", ('scale = "1 mA"\n', ""), "points.current.scale", "missing", "manual"),
    ("zero scale", ('scale = "1 mA"', 'scale = "0 mA"'), "points.current.scale", "not above zero", "one count"),
    ("no range", ('range = ["0 A", "10.5 A"]\n', ""), "points.current.range", "missing", "least and the greatest"),
    ("half a range", ('["0 A", "10.5 A"]', '["0 A"]'), "points.current.range", "does not fit", "2 items"),
    ("range upside down", ('["0 A", "10.5 A"]', '["10.5 A", "0 A"]'), "points.current.range", "not below", "first"),
    ("unit in a range", ('["0 A", "10.5 A"]', '["0 A", "10.5 V"]'), "points.current.range[1]", "'V'", "mA"),
    (
        "too wide a range",
        ('["0 A", "10.5 A"]', '["0 A", "70 A"]'),
        "points.current.range",
        "cannot hold",
        "0 to 65.535",
    ),
    ("no accuracy", ('accuracy = "0.2 % of reading + 5 mA"\n', ""), "points.current.accuracy", "missing", "of reading"),
    ("odd accuracy", ("0.2 % of reading + 5 mA", "0.2 % of scale"), "points.current.accuracy", "of scale", "write"),
    (
        "a bit for a number",
        ('table = "input register"', 'table = "coil"'),
        "points.current.table",
        "no number",
        "register",
    ),
    (
        "states for a number",
        ('scale = "1 mA"', 'scale = "1 mA"\nstates = { 0 = "off" }'),
        "points.current.states",
        "not a state",
        "scale",
    ),
    (
        "a read-only switch",
        ('table = "holding register"\naddress = 18', 'table = "input register"\naddress = 18'),
        "points.switch.table",
        "is written",
        "coil",
    ),
    (
        "states swapped",
        ('states = { 0 = "off", 1 = "on" }', 'states = { 1 = "off", 0 = "on" }'),
        "points.output.states",
        "output",
        '0 = "off"',
    ),
    (
        "a state with a scale",
        ("address = 2\n", 'address = 2\nscale = "1 A"\n'),
        "points.output.scale",
        "is a state",
        "remove",
    ),
    (
        "a state that is no register",
        ('{ 0 = "off", 1 = "on" }', '{ 0 = "off", 70000 = "on" }'),
        "points.output.states.70000",
        "no raw register value",
        "0 to 65535",
    ),
    ("unknown point", ("[points.mode]", "[points.modes]"), "points.modes", "no such point", "did you mean mode?"),
    ("missing point", ("[points.mode]", "[points.modes]"), "points.mode", "needs this point", "manual"),
    ("unknown key", ('kind = "uint16"', 'kindd = "uint16"'), "points.current.kindd", "unknown", "did you mean kind?"),
    ("address beyond", ("address = 16", "address = 65536"), "points.set_current.address", "65536", "65535"),
    (
        "unknown driver",
        ('driver = "modbus supply"', 'driver = "modbus suply"'),
        "driver",
        "modbus suply",
        "modbus supply",
    ),
    ("no timing", ('[timing]\nworst_answer = "80 ms"', ""), "timing", "missing", "[timing]"),
]


@pytest.mark.parametrize(("edit", "where", "problem", "right"), [pytest.param(*c[1:], id=c[0]) for c in WRONG])
def test_a_mistake_in_a_profile_is_told_with_its_file(
    written: Written, edit: Edit, where: str, problem: str, right: str
) -> None:
    mistakes = told(written(profile=(edit,)))
    assert problem in mistakes[SUPPLY + where].problem
    assert right in mistakes[SUPPLY + where].right


def test_a_mistake_in_a_shared_profile_is_told_once(written: Written) -> None:
    second = '[devices.second]\nlink = "bus"\nunit = 3\nprofile = "profiles/bench-supply.toml"\nperiod = "6 s"\n\n'
    path = written(
        ("[devices.thermometer]", second + "[devices.thermometer]"), profile=(('scale = "1 mA"', 'scale = "1"'),)
    )
    assert [mistake.key_path for mistake in mistakes_in(path)] == [SUPPLY + "points.current.scale"]


def test_a_missing_profile_is_told_once_with_its_path(written: Written) -> None:
    (mistake,) = mistakes_in(written(("profiles/bench-supply.toml", "profiles/none.toml")))
    assert mistake.key_path == "profiles/none.toml: (file)"
    assert "there is no file" in mistake.problem


def test_a_broken_point_brings_no_mistake_where_it_is_used(written: Written) -> None:
    path = written()
    module = path.parent / "profiles" / "four-thermocouples.toml"
    module.write_text(module.read_text(encoding="utf-8").replace('scale = "0.1 degC"', 'scale = "0.1 L"', 1), "utf-8")
    assert list(told(path)) == ["profiles/four-thermocouples.toml: points.t1.scale"]


def test_registers_may_stand_in_the_line_file_and_degf_counts_from_zero_fahrenheit(written: Written) -> None:
    path = written(('profile = "profiles/four-thermocouples.toml"\nperiod = "45 s"', 'period = "45 s"' + INLINE))
    line = load_line(path)
    point = device_maps(line)["thermometer"].points["t1"]
    assert isinstance(point, Register)
    assert (point.address, point.no_value, point.unit) == (7, (0x7FFF,), "degC")
    assert point.scale == pytest.approx(0.1 / 1.8, rel=1e-12)
    assert 680 * point.scale + point.offset == pytest.approx(20.0, abs=1e-9)
    assert (point.low, point.high) == pytest.approx((-17.7778, 148.8889), abs=1e-4)
    assert line_setup(line).channels["acid-temperature"].accuracy.absolute == pytest.approx(2 / 1.8)


def test_an_offset_is_what_zero_counts_mean(written: Written) -> None:
    edits = ('scale = "10 mV"', 'scale = "10 mV"\noffset = "-1 V"'), ('["0 V", "62 V"]', '["-1 V", "62 V"]')
    point = device_maps(load_line(written(profile=edits)))["rectifier"].points["voltage"]
    assert (point.scale, point.offset, point.low) == (0.01, -1.0, -1.0)


def test_a_switch_may_be_a_coil_with_any_raw_values(written: Written) -> None:
    edits = (
        ('table = "holding register"\naddress = 18\nstates = { 0 = "off", 1 = "on" }',
         'table = "holding register"\naddress = 18\nstates = { 90 = "off", 165 = "on" }'),
    )  # fmt: skip
    switch = device_maps(load_line(written(profile=edits)))["rectifier"].points["switch"]
    assert switch.states == {90: "off", 165: "on"}
    assert (switch.low, switch.high) == (90.0, 165.0)


def test_a_device_time_out_needs_the_point_and_its_range(written: Written) -> None:
    point = '[points.time_out]\ntable = "holding register"\naddress = 19\nscale = "100 ms"\nrange = ["0 s", "60 s"]\n'
    fitted = (("[points.switch]", point + "\n[points.switch]"),)

    def setting(text: str) -> Edit:
        return 'off_threshold = "50 mA"', f'off_threshold = "50 mA"\ndevice_time_out = "{text}"'

    assert line_setup(load_line(written(setting("2 s"), profile=fitted))).supplies["main"].device_time_out_s == 2.0
    for out_of_range in ("50 ms", "2 min"):
        mistakes = told(written(setting(out_of_range), profile=fitted))
        assert mistakes["supplies.main.device_time_out"].right == "from 100 ms to 60.0 s"


def test_the_demo_supply_reads_in_two_transactions(written: Written) -> None:
    rectifier = device_maps(load_line(written()))["rectifier"]
    assert isinstance(rectifier, RegisterMap)
    groups = groups_of(rectifier)
    names = [[point.name for point in group] for group in groups]
    assert names == [["set_current", "set_voltage", "switch"], ["current", "voltage", "output", "mode"]]


def test_points_are_grouped_without_gaps_by_table_and_within_what_one_request_may_ask() -> None:
    points = [Register(f"p{n}", "input register", n) for n in range(126)]
    points += [
        Register("far", "input register", 200),
        Register("same", "input register", 200),
        Register("c", "coil", 126),
    ]

    def grouped(named: list[Register]) -> tuple[tuple[Register, ...], ...]:
        return groups_of(RegisterMap("module", "modbus module", 1, {point.name: point for point in named}, 0.05))

    groups = grouped(points[::-1])
    assert [len(group) for group in groups] == [1, 125, 1, 2]
    assert sorted(p.name for group in groups for p in group) == sorted(p.name for p in points)
    assert grouped([]) == ()


def test_values_of_the_demo_profiles_come_out_in_plain_numbers() -> None:
    line = load_line(PLAIN)
    supply = device_maps(line)["rectifier"]
    assert (supply.driver, supply.unit, supply.worst_answer_s) == ("modbus supply", 1, 0.08)
    current = Register("current", "input register", 0, scale=0.001, unit="A", low=0.0, high=10.5)
    assert supply.points["current"] == current
    assert supply.points["output"].states == {0: "off", 1: "on"}
    assert line.profiles["rectifier"].accuracies["current"] == Accuracy(0.002, 0.005)
    assert math.isclose(supply.points["set_voltage"].scale, 0.01)


def test_a_channel_needs_an_accuracy_from_somewhere(written: Written) -> None:
    path = written()
    module = path.parent / "profiles" / "four-thermocouples.toml"
    module.write_text(module.read_text(encoding="utf-8").replace('accuracy = "1.0 degC"\n', "", 1), encoding="utf-8")
    (mistake,) = mistakes_in(path)
    assert mistake.key_path == "channels.acid-temperature.accuracy"
    assert "neither channel nor profile" in mistake.problem


def test_an_empty_register_map_is_told(written: Written) -> None:
    inline = 'driver = "modbus module"\ntiming = { worst_answer = "60 ms" }\npoints = {}'
    mistakes = told(written(('profile = "profiles/four-thermocouples.toml"', inline)))
    assert mistakes["devices.thermometer.points"].problem == "the register map is empty"


LOGGER = """
[links.field]
kind = "modbus tcp"
host = "192.0.2.30"
response_time_out = "1 s"

[devices.logger]
link = "field"
unit = 1
profile = "profiles/field-logger.toml"
period = "60 s"

"""
PROFILES = sorted((CONFIG / "profiles").glob("*.toml"))


@pytest.mark.parametrize("path", PROFILES, ids=[path.stem for path in PROFILES])
def test_every_profile_that_comes_along_is_understood_whole(path: Path) -> None:
    document = ProfileDocument.model_validate(tomllib.loads(path.read_text(encoding="utf-8")))
    mistakes: list[Mistake] = []
    profile = understand(
        document.driver, document.timing, document.reading, document.opening, document.points, teller(mistakes)
    )
    assert mistakes == []
    assert profile.points.keys() == document.points.keys()


def test_a_logger_that_sleeps_is_opened_for_each_reading_and_its_numbers_have_their_words_swapped(
    written: Written,
) -> None:
    logger = device_maps(load_line(written(("[tanks.acid]", LOGGER + "[tanks.acid]"))))["logger"]
    assert isinstance(logger, RegisterMap)
    assert (logger.opens_each_scan, logger.settle_s) == (True, 0.3)
    assert logger.points["t1"] == Register(
        "t1", "holding register", 10, "int32", "BADC", scale=0.01, unit="degC", low=-40.0, high=125.0
    )
