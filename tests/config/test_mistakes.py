"""Each kind of mistake in a line file is refused where it stands, with what would be right, and alone."""

from __future__ import annotations

import pytest

from tests.config.conftest import Edit, Written, mistakes_in

SECOND_LINK = """
[links.other]
kind = "modbus rtu"
port = "links/../links/other"
speed = "19200 baud"
parity = "even"
stop_bits = 1
response_time_out = "150 ms"

[devices.rectifier]"""

FORM = [
    ("unit missing", ('volume = "8 L"', 'volume = "8"'), "tanks.acid.volume", "no unit", '"8 L"'),
    ("number without unit", ('volume = "8 L"', "volume = 8"), "tanks.acid.volume", "no unit", '"8 L"'),
    ("not a number at all", ('volume = "8 L"', "volume = [8]"), "tanks.acid.volume", "quantity", '"8 L"'),
    ("a boolean quantity", ('volume = "8 L"', "volume = true"), "tanks.acid.volume", "quantity", '"8 L"'),
    ("wrong dimension", ('volume = "8 L"', 'volume = "8 kg"'), "tanks.acid.volume", "kg", "gal"),
    ("spoken unit", ('density = "1.5 A/dm^2"', 'density = "14 ASF"'), "anodize.density", "ASF", "write A/ft^2"),
    (
        "farad for Fahrenheit",
        ('trip_low = "16 degC"', 'trip_low = "61 F"'),
        "tanks.acid.limits.trip_low",
        "'F'",
        "did you mean degF?",
    ),
    ("not finite", ('cap_current = "5 A"', 'cap_current = "inf A"'), "supplies.main.cap_current", "finite", '"5 A"'),
    ("too huge", ('volume = "8 L"', 'volume = "8e999 L"'), "tanks.acid.volume", "finite", '"8 L"'),
    ("negative", ('volume = "8 L"', 'volume = "-8 L"'), "tanks.acid.volume", "not a possible", "above 0"),
    ("zero period", ('period = "6 s"', 'period = "0 s"'), "devices.rectifier.period", "not a possible", "above 0"),
    ("negative ramp", ('ramp = "60 s"', 'ramp = "-60 s"'), "anodize.ramp", "not a possible", "0 or more"),
    (
        "unknown key",
        ('ramp = "60 s"', 'ramp = "60 s"\nmargn = 1.25'),
        "anodize.margn",
        "unknown",
        "did you mean margin?",
    ),
    ("unknown table", ("[growth]", "[growths]\n[growth]"), "growths", "unknown", "did you mean growth?"),
    ("missing key", ('volume = "8 L"\n', ""), "tanks.acid.volume", "missing", 'volume = "8 L"'),
    ("missing table", ('[records]\nfolder = "records"', ""), "records", "missing", "[records]"),
    ("no safe state", ('safe = "off"\n', ""), "outputs.main-output.safe", "missing", 'safe = "off"'),
    ("unsafe safe state", ('safe = "off"', 'safe = "on"'), "outputs.main-output.safe", "on", "off"),
    ("odd word", ('parity = "even"', 'parity = "evn"'), "links.bus.parity", "evn", "even"),
    ("boolean number", ("unit = 1\n", "unit = true\n"), "devices.rectifier.unit", "True", "integer"),
    ("address 0", ("unit = 1\n", "unit = 0\n"), "devices.rectifier.unit", "0", "1"),
    ("address 248", ("unit = 1\n", "unit = 248\n"), "devices.rectifier.unit", "248", "247"),
    ("nan margin", ('ramp = "60 s"', 'ramp = "60 s"\nmargin = nan'), "anodize.margin", "nan", "finite"),
    ("margin too great", ('ramp = "60 s"', 'ramp = "60 s"\nmargin = 1e308'), "anodize.margin", "1e+308", "3"),
    ("version", ("version = 1", "version = true"), "version", "True", "version = 1"),
    (
        "a name of two words",
        ("[channels.acid-temperature]", '[channels."Acid T"]'),
        'channels."Acid T"',
        "name",
        "hyph",
    ),
    (
        "a number for a table",
        ("limits = {", "limits = 7 # {"),
        "tanks.acid.limits",
        "table belongs",
        "[tanks.acid.limits]",
    ),
    ("acid percent", ('"165 g/L"', '"15 %"'), "tanks.acid.acid", "by weight or by volume?", "165 g/L"),
    ("acid by volume", ('"165 g/L"', '"15 % by volume"'), "tanks.acid.acid", "how strong", "270 g/L"),
    ("acid too strong", ('"165 g/L"', '"60 % by weight"'), "tanks.acid.acid", "not a strength", "10 to 20 %"),
    (
        "acid too weak",
        ('"165 g/L"', '"16.5 g/L"'),
        "tanks.acid.acid",
        "not a possible",
        "100 g/L (13.4 oz/gal) or more",
    ),
]

CROSS = [
    (
        "limits out of order",
        ('warn_low = "19 degC"', 'warn_low = "23 degC"'),
        "tanks.acid.limits.warn_high",
        "warn_low (23.0 °C) is not below warn_high (22.0 °C)",
        "trip_low < warn_low",
    ),
    (
        "degF meant",
        ('trip_high = "24 degC"', 'trip_high = "75 degC"'),
        "tanks.acid.limits.trip_high",
        "75.0 °C",
        "did you mean 75 degF?",
    ),
    (
        "deadband as wide as the band",
        ('deadband = "0.3 degC"', 'deadband = "1.5 degC"'),
        "tanks.acid.limits.deadband",
        "never clear",
        "half",
    ),
    ("two on one address", ("unit = 2", "unit = 1"), "devices.thermometer.unit", "rectifier has unit 1", "own unit"),
    ("no such link", ('link = "bus"', 'link = "buss"'), "devices.rectifier.link", "'buss'", "did you mean bus?"),
    (
        "no such device",
        ('device = "thermometer"', 'device = "thermometr"'),
        "channels.acid-temperature.device",
        "thermometr",
        "did you mean thermometer?",
    ),
    ("no such point", ('point = "t1"', 'point = "t9"'), "channels.acid-temperature.point", "'t9'", "did you mean t"),
    (
        "no such channel",
        ('temperature = "acid-temperature"', 'temperature = "acid-temp"'),
        "tanks.acid.temperature",
        "acid-temp",
        "did you mean acid-temperature?",
    ),
    ("no such tank", ('tank = "acid"', 'tank = "acidd"'), "supplies.main.tank", "acidd", "did you mean acid?"),
    (
        "a thermometer as supply",
        ('device = "rectifier"\ntank', 'device = "thermometer"\ntank'),
        "supplies.main.device",
        "no supply device 'thermometer'",
        "rectifier",
    ),
    (
        "cap above rating",
        ('cap_current = "5 A"', 'cap_current = "10.2 A"'),
        "supplies.main.cap_current",
        "cap",
        "10.00 A",
    ),
    (
        "voltage rating above the device's range",
        ('rated_voltage = "60 V"', 'rated_voltage = "61 V"'),
        "supplies.main.rated_voltage",
        "device's range",
        "profile",
    ),
    (
        "off threshold a meter cannot see",
        ('off_threshold = "50 mA"', 'off_threshold = "5 mA"'),
        "supplies.main.off_threshold",
        "never be proven",
        "5.0 mA",
    ),
    (
        "off threshold of a working current",
        ('off_threshold = "50 mA"', 'off_threshold = "0.6 A"'),
        "supplies.main.off_threshold",
        "working current",
        "0.50 A",
    ),
    (
        "resend after the deadline",
        ('resend = "500 ms"', 'resend = "2 s"'),
        "supplies.main.resend",
        "deadline",
        "shorter",
    ),
    (
        "proof before off can arrive",
        ('off_threshold = "50 mA"', 'off_threshold = "50 mA"\nproof_deadline = "300 ms"'),
        "supplies.main.proof_deadline",
        "proven",
        "341 ms",
    ),
    (
        "time-out the device does not have",
        ('off_threshold = "50 mA"', 'off_threshold = "50 mA"\ndevice_time_out = "2 s"'),
        "supplies.main.device_time_out",
        "names no time_out",
        "manual",
    ),
    ("density above highest", ('density = "1.5 A', 'density = "2.1 A'), "anodize.density", "above", "2.00 A/dm²"),
    ("voltage above rating", ('voltage = "22 V"', 'voltage = "61 V"'), "anodize.voltage", "main", "60.00 V"),
    (
        "target of a millimetre",
        ('ramp = "60 s"', 'ramp = "60 s"\ntarget = "1 mm"'),
        "anodize.target",
        "no coat",
        "1 mm is 39.4 mil (1000 um); did you mean 1 mil?",
    ),
    (
        "target of 20 mil",
        ('ramp = "60 s"', 'ramp = "60 s"\ntarget = "20 mil"'),
        "anodize.target",
        "35.0 µm",
        "did you mean 20 um?",
    ),
    ("step above ramp", ('ramp_step = "6 s"', 'ramp_step = "61 s"'), "anodize.ramp_step", "longer", "ramp"),
    ("ramp longer than a load", ('ramp = "60 s"', 'ramp = "2 h"'), "anodize.ramp", "longer than a load", "60 min"),
    (
        "thickest of a millimetre",
        ('ramp = "60 s"', 'ramp = "60 s"\nthickest = "1 mm"'),
        "anodize.thickest",
        "thick",
        "mil",
    ),
    ("growth out of order", ('low = "0.285 um', 'low = "0.33 um'), "growth.best", "below low", "low <= best"),
    (
        "growth beyond all charge",
        ('high = "0.337 um*dm^2', 'high = "0.337 um*ft^2'),
        "growth.high",
        "no growth",
        "0.3277",
    ),
    ("silence of a minute", ('period = "6 s"', 'period = "61 s"'), "devices.rectifier.period", "nobody", "60 s"),
    (
        "time-out shorter than an answer",
        ('response_time_out = "150 ms"', 'response_time_out = "90 ms"'),
        "links.bus.response_time_out",
        "rectifier may take",
        "ms",
    ),
    (
        "slow off",
        ('response_time_out = "150 ms"', 'response_time_out = "400 ms"'),
        "outputs.main-output",
        "591 ms, above 500 ms",
        "allow_slow_off",
    ),
    (
        "a channel wider than its device",
        ('point = "t1"', 'point = "t1"\nrange = ["-30 degC", "100 degC"]'),
        "channels.acid-temperature.range",
        "wider",
        "-20.0 °C to 150.0 °C",
    ),
    (
        "a channel's range upside down",
        ('point = "t1"', 'point = "t1"\nrange = ["100 degC", "0 degC"]'),
        "channels.acid-temperature.range",
        "not below",
        "least value first",
    ),
    (
        "a limit the channel cannot see",
        ('point = "t1"', 'point = "t1"\nrange = ["0 degC", "23 degC"]'),
        "tanks.acid.limits.trip_high",
        "outside what 'acid-temperature' can measure",
        "23.0 °C",
    ),
    (
        "an accuracy of nothing",
        ('point = "t1"', 'point = "t1"\naccuracy = "0 degC"'),
        "channels.acid-temperature.accuracy",
        "limit of error",
        "of reading",
    ),
    (
        "a channel named as an automatic one",
        (
            "[channels.acid-temperature]",
            '[channels.main-current]\ndevice = "thermometer"\npoint = "t2"\n[channels.acid-temperature]',
        ),
        "channels.main-current",
        "makes a channel of this name",
        "rename",
    ),
    (
        "a state as a measured value",
        ('device = "thermometer"\npoint = "t1"', 'device = "rectifier"\npoint = "mode"'),
        "channels.acid-temperature.point",
        "is a state",
        "scale",
    ),
    (
        "a current as a temperature",
        ('device = "thermometer"\npoint = "t1"', 'device = "rectifier"\npoint = "voltage"\nrange = ["0 V", "62 V"]'),
        "tanks.acid.temperature",
        "no temperature",
        "thermometer",
    ),
    (
        "an output nobody has",
        (
            "[outputs.main-output]",
            '[outputs.spare]\nrole = "supply output"\ndevice = "rectifier"\nsafe = "off"\n[outputs.main-output]',
        ),
        "outputs.spare",
        "no supply has this output",
        "remove",
    ),
    (
        "one port in two links",
        ("[devices.rectifier]", SECOND_LINK.replace("links/../links/other", "links/bus")),
        "links.other.port",
        "links.bus has the same port",
        "one link",
    ),
    (
        "a profile and registers too",
        ('period = "6 s"', 'period = "6 s"\ndriver = "modbus supply"'),
        "devices.rectifier.driver",
        "profile file as well",
        "remove",
    ),
    ("no registers", ('profile = "profiles/bench-supply.toml"\n', ""), "devices.rectifier", "not told", "profile file"),
]


@pytest.mark.parametrize(("edit", "where", "problem", "right"), [pytest.param(*c[1:], id=c[0]) for c in FORM + CROSS])
def test_a_mistake_is_told_where_it_stands_with_what_would_be_right(
    written: Written, edit: Edit, where: str, problem: str, right: str
) -> None:
    mistakes = mistakes_in(written(edit))
    at = [mistake for mistake in mistakes if mistake.key_path == where]
    assert any(problem in mistake.problem and right in mistake.right for mistake in at), mistakes


@pytest.mark.parametrize("edit", [pytest.param(c[1], id=c[0]) for c in FORM])
def test_a_mistake_of_form_brings_no_others_but_of_names_that_hang_on_it(written: Written, edit: Edit) -> None:
    mistakes = mistakes_in(written(edit))
    assert len([mistake for mistake in mistakes if "there is no" not in mistake.problem]) == 1, mistakes


def test_the_unchanged_file_has_none(written: Written) -> None:
    with pytest.raises(pytest.fail.Exception, match="DID NOT RAISE"):
        mistakes_in(written())


def test_a_mistyped_output_is_told_from_both_sides(written: Written) -> None:
    mistakes = {m.key_path: m for m in mistakes_in(written(("[outputs.main-output]", "[outputs.main-outpu]")))}
    assert mistakes["supplies.main.output"].right == "did you mean main-outpu?"
    assert mistakes["outputs.main-outpu"].problem == "no supply has this output"


def test_slow_off_is_allowed_where_the_file_says_so(written: Written) -> None:
    slow = ('response_time_out = "150 ms"', 'response_time_out = "400 ms"')
    allowed = ('safe = "off"', 'safe = "off"\nallow_slow_off = true')
    with pytest.raises(pytest.fail.Exception, match="DID NOT RAISE"):
        mistakes_in(written(slow, allowed))


def test_a_current_rating_is_held_against_what_can_be_set_and_what_can_be_measured(written: Written) -> None:
    mistakes = mistakes_in(written(('rated_current = "10 A"', 'rated_current = "20 A"')))
    assert [m.key_path for m in mistakes] == ["supplies.main.rated_current"] * 2
    assert "set_current" in mistakes[0].problem
    assert "(current: at most 10.50 A)" in mistakes[1].problem


def test_two_supplies_cannot_share_device_tank_or_output(written: Written) -> None:
    second = """
[supplies.second]
device = "rectifier"
tank = "acid"
output = "main-output"
rated_current = "10 A"
rated_voltage = "60 V"
cap_current = "5 A"
off_threshold = "50 mA"

[outputs.main-output]"""
    paths = {mistake.key_path for mistake in mistakes_in(written(("[outputs.main-output]", second)))}
    assert paths == {"supplies.second.device", "supplies.second.tank", "supplies.second.output"}


def test_all_mistakes_are_told_at_once_of_form_of_profiles_and_across_tables(written: Written) -> None:
    every = [case for case in FORM + CROSS if case[0] in TOGETHER]
    assert len(every) == len(TOGETHER)
    path = written(*(case[1] for case in every), profile=(('scale = "1 mA"', 'scale = "1 mV"'),))
    paths = {mistake.key_path for mistake in mistakes_in(path)}
    assert {case[2] for case in every} | {"profiles/bench-supply.toml: points.current.scale"} <= paths


TOGETHER = {
    "unit missing",
    "acid percent",
    "unknown key",
    "limits out of order",
    "two on one address",
    "no such device",
    "cap above rating",
    "density above highest",
    "growth out of order",
    "step above ramp",
    "no safe state",
    "odd word",
}


def test_a_limit_outside_the_range_of_the_device_itself_is_told(written: Written) -> None:
    path = written()
    module = path.parent / "profiles" / "four-thermocouples.toml"
    narrow = module.read_text(encoding="utf-8").replace('["-20 degC", "150 degC"]', '["17 degC", "150 degC"]', 1)
    module.write_text(narrow, encoding="utf-8")
    (mistake,) = mistakes_in(path)
    assert mistake.key_path == "tanks.acid.limits.trip_low"
    assert mistake.right == "stay between 17.0 °C and 150.0 °C"


def test_a_supply_that_cannot_start_softly_is_told(written: Written) -> None:
    (mistake,) = mistakes_in(written(profile=(('range = ["0 A", "10 A"]', 'range = ["1 A", "10 A"]'),)))
    assert mistake.key_path == "supplies.main.device"
    assert "soft start" in mistake.problem


def test_a_supply_cannot_have_the_output_of_another_device(written: Written) -> None:
    second = '[devices.second]\nlink = "bus"\nunit = 3\nprofile = "profiles/bench-supply.toml"\nperiod = "6 s"\n\n'
    output = ('role = "supply output"\ndevice = "rectifier"', 'role = "supply output"\ndevice = "second"')
    (mistake,) = mistakes_in(written(("[devices.thermometer]", second + "[devices.thermometer]"), output))
    assert mistake.key_path == "supplies.main.output"
    assert mistake.problem == "output 'main-output' belongs to device 'second'"
