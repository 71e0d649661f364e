"""What a supply may tell of itself beside its meter: since when it has power, and what charge it counted."""

from __future__ import annotations

from pathlib import Path

import pytest

from drivers.points import Field
from supervisor.config.load import load_line
from supervisor.config.setup import device_maps, line_setup
from tests.config.conftest import Edit, Written, mistakes_in

CORNER = "scpi-and-board.toml"

BEFORE = "[points.set_current]"
STATE = '[points.restarted]\ntable = "input register"\naddress = 8\nstates = { 0 = "no", 1 = "yes" }\n\n'
COUNTER = (
    '[points.charge]\ntable = "input register"\naddress = 8\nkind = "uint32"\nscale = "1 A*s"\n'
    'range = ["0 A*s", "1e9 A*s"]\n\n'
)


def with_points(points: str, *edits: Edit) -> tuple[Edit, ...]:
    for old, new in edits:
        assert old in points
        points = points.replace(old, new)
    return ((BEFORE, points + BEFORE),)


def test_a_state_tells_a_new_beginning(written: Written) -> None:
    setup = line_setup(load_line(written(profile=with_points(STATE))))
    assert (setup.supplies["main"].restarted, setup.supplies["main"].uptime) == ("main-restarted", "")
    assert (setup.channels["main-restarted"].unit, setup.channels["main-restarted"].high) == ("", 1.0)


def test_a_charge_may_be_written_in_any_unit_of_charge(written: Written) -> None:
    counter = line_setup(load_line(written(profile=with_points(COUNTER)))).channels["main-counter"]
    assert (counter.unit, counter.accuracy.absolute, counter.high) == ("C", 1.0, 1e9)


@pytest.mark.parametrize(
    ("points", "edit", "path", "problem", "right"),
    [
        (STATE, ('1 = "yes"', '1 = "on"'), "points.restarted.states", "not the states of restarted", '1 = "yes"'),
        (STATE, ('0 = "no", ', ""), "points.restarted.states", "not the states", '0 = "no"'),
        (COUNTER, ('scale = "1 A*s"', 'scale = "1 A"'), "points.charge.scale", "'A' is not a unit of charge", "A*min"),
    ],
    ids=["another word", "half a state", "a current for a charge"],
)
def test_what_it_cannot_mean_is_told(
    written: Written, points: str, edit: Edit, path: str, problem: str, right: str
) -> None:
    (mistake,) = mistakes_in(written(profile=with_points(points, edit)))
    assert mistake.key_path == f"profiles/bench-supply.toml: {path}"
    assert problem in mistake.problem
    assert right in mistake.right


def scpi(path: Path, points: str) -> Path:
    profile = path.parent / "profiles" / "lab-supply-scpi.toml"
    without, _, _ = profile.read_text(encoding="utf-8").partition("\n[points.restarted]")
    profile.write_text(without + points, encoding="utf-8")
    return path


def test_of_a_device_that_speaks_in_text_one_bit_says_all(written: Written) -> None:
    point = '\n[points.restarted]\nquery = "*ESR?"\nbits = { 7 = "yes" }\n'
    line = load_line(scpi(written(base=CORNER), point))
    told = device_maps(line)["rectifier"].points["restarted"]
    assert isinstance(told, Field)
    assert (told.query, told.bits) == ("*ESR?", {7: "yes"})
    assert line_setup(line).supplies["main"].restarted == "main-restarted"


def test_a_bit_with_another_word_is_told(written: Written) -> None:
    point = '\n[points.restarted]\nquery = "*ESR?"\nbits = { 7 = "on" }\n'
    (mistake,) = mistakes_in(scpi(written(base=CORNER), point))
    assert mistake.key_path == "profiles/lab-supply-scpi.toml: points.restarted.bits"
    assert '{ 7 = "yes" }' in mistake.right


def test_a_module_counts_no_charge(written: Written) -> None:
    """Nothing of the core would take it from there."""
    path = written()
    profile = path.parent / "profiles" / "four-thermocouples.toml"
    text = profile.read_text(encoding="utf-8").replace('scale = "0.1 degC"', 'scale = "1 A*h"', 1)
    profile.write_text(text, encoding="utf-8")
    (mistake,) = mistakes_in(path)
    assert mistake.key_path == "profiles/four-thermocouples.toml: points.t1.scale"
    assert "nothing that is measured here" in mistake.problem
