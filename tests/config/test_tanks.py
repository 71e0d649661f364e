"""Tanks: limits within what the liquid can reach, heating and cooling that keep to them and off each other."""

from __future__ import annotations

import pytest

from supervisor.config.load import load_line
from supervisor.config.setup import line_setup
from supervisor.core.tank_setup import CoolingSetup, TankSetup
from tests.config.conftest import CONFIG, Edit, Written, assert_told, mistakes_in, told

BOTH, CORNER = "acid-and-seal.toml", "scpi-and-board.toml"

HEATING = "tanks.seal.heating"

MISTAKES: list[tuple[str, str, tuple[Edit, ...], str, str, str]] = [
    (
        "a trip inside the warn band",
        BOTH,
        (('trip_high = "95 degC"', 'trip_high = "89 degC"'),),
        "tanks.seal.limits.trip_high",
        "warn_high (90.0 °C) is not below trip_high (89.0 °C)",
        "warn_high < trip_high",
    ),
    (
        "a low trip inside the warn band",
        BOTH,
        (('trip_low = "2 degC"', 'trip_low = "6 degC"'),),
        "tanks.seal.limits.warn_low",
        "trip_low (6.0 °C) is not below warn_low (5.0 °C)",
        "trip_low < warn_low",
    ),
    (
        "a trip above boiling",
        BOTH,
        (('trip_high = "95 degC"', 'trip_high = "99 degC"'),),
        "tanks.seal.limits.trip_high",
        "99.0 °C is never reached: at 420 m water boils at 98.6 °C",
        "below 98.6 °C",
    ),
    (
        "what is held above boiling, high up",
        BOTH,
        (
            ('altitude = "420 m"', 'altitude = "6000 ft"'),
            ('units = "metric"', 'units = "us"'),
            ('warn_high = "90 degC", trip_high = "95 degC"', 'warn_high = "98 degC", trip_high = "99 degC"'),
            ('hold = "82 degC"', 'hold = "95.5 degC"'),
        ),
        "tanks.seal.heating.hold",
        "203.9 °F is never reached: at 6000 ft water boils at 201.0 °F",
        "below 201.0 °F",
    ),
    (
        "a limit below freezing",
        BOTH,
        (('trip_low = "2 degC"', 'trip_low = "-2 degC"'),),
        "tanks.seal.limits.trip_low",
        "at -2.0 °C water is ice",
        "0.0 °C or more",
    ),
    (
        "an anodize tank without acid",
        BOTH,
        (('acid = "15 % by weight"', '# acid = "15 % by weight"'),),
        "tanks.acid.acid",
        "missing",
        "165 g/L",
    ),
    (
        "what is held outside the band",
        BOTH,
        (('hold = "82 degC"', 'hold = "91 degC"'),),
        f"{HEATING}.hold",
        "91.0 °C is outside the tank's own band",
        "between warn_low and warn_high, 5.0 °C and 90.0 °C",
    ),
    (
        "a band wider than the limits",
        BOTH,
        (('band = "2 degC"', 'band = "18 degC"'),),
        f"{HEATING}.band",
        "swing from 73.0 °C to 91.0 °C",
        "stays between",
    ),
    (
        "cooling below the limits",
        BOTH,
        (('hold = "20.5 degC"', 'hold = "18 degC"'),),
        "tanks.acid.cooling.hold",
        "18.0 °C is outside",
        "19.0 °C and 22.0 °C",
    ),
    (
        "a heater in unknown liquid",
        BOTH,
        (('level = "seal-level"\n', ""),),
        f"{HEATING}.level",
        "nothing proves liquid over the heater",
        "without_level",
    ),
    (
        "a level and a reason for none",
        BOTH,
        (('level = "seal-level"\n', 'level = "seal-level"\nwithout_level = "the tank overflows into a drain"\n'),),
        f"{HEATING}.without_level",
        "a level contact as well",
        "remove one",
    ),
    (
        "another tank's level",
        BOTH,
        (('level = "seal-level"', 'level = "acid-level"'),),
        f"{HEATING}.level",
        "contact 'acid-level' is of tank 'acid'",
        "seal-level",
    ),
    (
        "a lid for a level",
        BOTH,
        (('level = "seal-level"', 'level = "seal-lid"'),),
        f"{HEATING}.level",
        "no level contact but a contact of lid",
        "seal-level",
    ),
    (
        "a level that is not there",
        BOTH,
        (('level = "seal-level"', 'level = "seal-levle"'),),
        f"{HEATING}.level",
        "no contact 'seal-levle'",
        "did you mean seal-level?",
    ),
    (
        "attended and unattended",
        BOTH,
        (('attended = "2 h" ', 'attended = "2 h"\nunattended = true '),),
        f"{HEATING}.attended",
        "unattended anyway",
        "either attended or unattended",
    ),
    (
        "a lamp for a heater",
        BOTH,
        (('output = "seal-heater"', 'output = "lamp-red"'),),
        f"{HEATING}.output",
        "output 'lamp-red' is a lamp",
        "seal-heater",
    ),
    (
        "a heater for cooling",
        BOTH,
        (('output = "cooling"', 'output = "seal-heater"'),),
        "tanks.acid.cooling.output",
        "is a heater",
        "cooling",
    ),
    (
        "a heater that is not there",
        BOTH,
        (('output = "seal-heater"', 'output = "seal-heatr"'),),
        f"{HEATING}.output",
        "no output 'seal-heatr'",
        "did you mean seal-heater?",
    ),
    (
        "another tank's heater",
        BOTH,
        (('safe = "off"\ntank = "seal"', 'safe = "off"\ntank = "acid"'),),
        f"{HEATING}.output",
        "belongs to tank 'acid'",
        "of this tank",
    ),
    (
        "heating into the cooling",
        CORNER,
        (('hold = "19.4 degC"\nband = "0.4 degC"', 'hold = "20.3 degC"\nband = "0.2 degC"'),),
        "tanks.acid.heating.hold",
        "heating goes on up to 20.4 °C and cooling down to 20.4 °C",
        "below 20.4 °C",
    ),
    (
        "a power without a unit",
        BOTH,
        (('power = "2 kW"', "power = 2000"),),
        f"{HEATING}.power",
        "no unit",
        '"500 W"',
    ),
    (
        "a power in horses",
        BOTH,
        (('power = "2 kW"', 'power = "2 degC"'),),
        f"{HEATING}.power",
        "no",
        "kW",
    ),
]


@pytest.mark.parametrize(
    ("base", "edits", "path", "problem", "right"), [row[1:] for row in MISTAKES], ids=[row[0] for row in MISTAKES]
)
def test_what_does_not_fit_together_is_told_where_it_stands(
    written: Written, base: str, edits: tuple[Edit, ...], path: str, problem: str, right: str
) -> None:
    assert_told(written(*edits, base=base), path, problem, right)


def test_one_output_serves_one_control(written: Written) -> None:
    """Both ways round it would be switched by two that know nothing of each other."""
    heated = '[tanks.acid.heating]\noutput = "seal-heater"\nhold = "19.4 degC"\nband = "0.2 degC"\npower = "1 kW"\n'
    path = written(
        ("[tanks.seal] ", heated + 'level = "acid-level"\n\n[tanks.seal] '),
        ('safe = "off"\ntank = "seal"', 'safe = "off"'),
        base=BOTH,
    )
    (mistake,) = mistakes_in(path)
    assert mistake.key_path == "tanks.seal.heating.output"
    assert "tanks.acid.heating has the output 'seal-heater' already" in mistake.problem


def test_several_mistakes_of_a_tank_are_told_at_once(written: Written) -> None:
    path = written(
        ('trip_high = "95 degC"', 'trip_high = "101 degC"'),
        ('level = "seal-level"\n', ""),
        ('band = "0.6 degC"', 'band = "6 degC"'),
        base=BOTH,
    )
    assert set(told(path)) == {
        "tanks.seal.limits.trip_high",
        "tanks.seal.heating.level",
        "tanks.acid.cooling.band",
    }


def seal(written: Written, *edits: Edit) -> TankSetup:
    return line_setup(load_line(written(*edits, base=BOTH))).tanks["seal"]


def test_heating_comes_to_the_core_with_the_rise_of_its_power_and_volume(written: Written) -> None:
    heating = seal(written).heating
    assert heating is not None
    assert (heating.output, heating.level) == ("seal-heater", "seal-level")
    assert (heating.hold_c, heating.band_c) == (82.0, 2.0)
    assert (heating.least_on_s, heating.least_off_s, heating.rise_within_s) == (30.0, 30.0, 600.0)
    # 2 kW into 20 kg of water at 4.19 kJ/(kg K), by hand: 1.43 degC a minute.
    assert heating.rise_c_per_s * 60 == pytest.approx(1.43, abs=0.01)


@pytest.mark.parametrize(
    ("edit", "attended_s"),
    [
        (('attended = "2 h" ', 'attended = "2 h" '), 7200.0),
        (('attended = "2 h" ', ""), 3600.0),
        (('attended = "2 h" ', "unattended = true "), None),
    ],
    ids=["as said", "an hour where nothing is said", "unattended only where the file says so"],
)
def test_a_tank_is_heated_unattended_only_where_the_file_says_so(
    written: Written, edit: Edit, attended_s: float | None
) -> None:
    heating = seal(written, edit).heating
    assert heating is not None
    assert heating.attended_s == attended_s


def test_a_tank_without_acid_is_none_of_it(written: Written) -> None:
    tank = seal(written)
    assert (tank.role, tank.acid_g_per_l, tank.cooling) == ("seal", 0.0, None)


def test_cooling_comes_to_the_core_with_a_compressors_rest(written: Written) -> None:
    acid = line_setup(load_line(written(('least_off = "4 min" ', ""), base=BOTH))).tanks["acid"]
    assert acid.cooling == CoolingSetup("cooling", 20.5, 0.6, 60.0, 240.0, 900.0)


def test_a_heater_without_a_level_contact_is_fitted_where_the_file_says_why(written: Written) -> None:
    heating = seal(written, ('level = "seal-level"', 'without_level = "the element is under the tank"')).heating
    assert heating is not None
    assert heating.level == ""


def test_a_tanks_surface_and_lid_are_what_the_file_says_and_nothing_where_it_says_nothing(written: Written) -> None:
    edit = ('volume = "20 L"\nsurface', 'volume = "20 L"\nlid = true\nsurface')
    tanks = line_setup(load_line(written(edit, base=CONFIG / BOTH))).tanks
    assert tanks["seal"].surface_m2 == pytest.approx(0.08)
    assert tanks["seal"].lid
    assert tanks["acid"].surface_m2 == 0.0
    assert not tanks["acid"].lid
