"""The note on the model names every formula's file, and its figures are the program's."""

from __future__ import annotations

import importlib
import re
from dataclasses import fields
from decimal import Decimal

import pytest

from supervisor.trade import alloys, coating
from tests.rendered.__main__ import ROOT

NOTE = (ROOT / "docs" / "model.md").read_text(encoding="utf-8")
FOLDERS = ("trade", "core", "config")
ESTIMATORS = ("dose", "gaps", "electrical", "fit", "warm_up", "bath_end", "coat", "believe", "learned")

FILES = set(re.findall(r"\b((?:trade|core|config)/\w+\.py)\b", NOTE))
FIGURES = re.findall(r"^\| `(\w+)\.([\w.]+)` \| (≈ )?([^|]+?) \|", NOTE, re.MULTILINE)
ALLOYS = re.findall(
    r"^\| ((?:cast )?\d+) \| ([\d., ]+) \| ([\d.]+) \| (\d+) \(([\d.]+)\) \| (\d+) \| (\d+) \(([\d.]+)\) \|",
    NOTE,
    re.MULTILINE,
)


def test_every_formula_and_estimator_is_named() -> None:
    trade = {f"trade/{path.name}" for path in (ROOT / "supervisor" / "trade").glob("*.py")} - {"trade/__init__.py"}
    missing = (trade | {f"core/{name}.py" for name in ESTIMATORS}) - FILES
    assert not missing, f"docs/model.md says nothing of {', '.join(sorted(missing))}"


def test_every_file_it_names_exists() -> None:
    assert {name for name in FILES if not (ROOT / "supervisor" / name).is_file()} == set()


def in_code(module: str, name: str) -> list[float]:
    """The numbers of a constant, or of the default of a dataclass's field, from the first folder with such a module."""
    folder = next(one for one in FOLDERS if (ROOT / "supervisor" / one / f"{module}.py").is_file())
    loaded = importlib.import_module(f"supervisor.{folder}.{module}")
    owner, _, field = name.rpartition(".")
    if owner:
        (value,) = (one.default for one in fields(getattr(loaded, owner)) if one.name == field)
    else:
        value = getattr(loaded, name)
    return [float(one) for one in (value if isinstance(value, tuple) else (value,))]


def test_every_row_of_figures_is_read() -> None:
    assert len(FIGURES) == len(re.findall(r"^\| `", NOTE, re.MULTILINE)) > 40


@pytest.mark.parametrize(("module", "name", "about", "printed"), FIGURES)
def test_a_figure_of_the_note_is_the_programs(module: str, name: str, about: str, printed: str) -> None:
    told = [Decimal(one) for one in printed.split(", ")]
    values = in_code(module, name)
    assert len(told) == len(values)
    for figure, value in zip(told, values, strict=True):
        last_digit = 10.0 ** int(figure.as_tuple().exponent)
        assert value == pytest.approx(float(figure), rel=1e-12, abs=last_digit / 2 if about else 0.0)


def test_the_alloys_of_the_note_are_the_programs() -> None:
    assert [name for name, *_ in ALLOYS] == list(alloys.ALLOYS)
    for name, growth, volts, per_ft2, per_dm2, ramp, limit_um, limit_mil in ALLOYS:
        alloy = alloys.ALLOYS[name]
        told = [float(one) * alloys.PER_DM2_MINUTE for one in growth.split(", ")]
        assert [alloy.growth.low, alloy.growth.best, alloy.growth.high] == pytest.approx(told)
        assert (alloy.voltage_v, alloy.ramp_s, alloy.coat_limit_um) == (float(volts), float(ramp), float(limit_um))
        assert alloy.highest_density_a_per_m2 == pytest.approx(float(per_ft2) / coating.FOOT_M**2)
        assert alloy.highest_density_a_per_m2 == pytest.approx(float(per_dm2) * 100, abs=0.5)
        assert alloy.coat_limit_um == pytest.approx(float(limit_mil) * coating.MIL_UM, abs=0.005 * coating.MIL_UM)


def test_the_rule_is_told_alike_in_both_systems() -> None:
    metric, us = re.findall(r"by the 720 rule \| ([\d.]+) µm per A·min/dm² \| 1 mil per (\d+) A·min/ft² \|", NOTE)[0]
    rule = coating.RULE_720_UM_M2_PER_C
    assert pytest.approx(float(metric), abs=5e-6) == rule / alloys.PER_DM2_MINUTE
    assert pytest.approx(float(us)) == coating.charge_for_c(coating.MIL_UM, coating.FOOT_M**2, rule) / 60
