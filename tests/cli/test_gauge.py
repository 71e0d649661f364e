"""`gauge` and `factor`: what they ask of the supervisor, and what people are told."""

from __future__ import annotations

from typing import Any

import pytest

from supervisor.cli.gauge import factor_lines
from supervisor.cli.main import main
from supervisor.core.load import Gauged
from supervisor.core.state import LineState
from supervisor.service.factors import factors
from supervisor.trade.charge import Interval
from tests.cli.conftest import Asked
from tests.core.plain import line_setup

SETUP = line_setup()
CHARGE_C = 20.0 * 0.013 / SETUP.growth.best_um_m2_per_c


def gauged(load: str, *readings_um: float, suspect: str = "", alloy: str = "") -> Gauged:
    grew = Interval(CHARGE_C * 0.999, CHARGE_C, CHARGE_C * 1.001)
    return Gauged(load, alloy, "main-acid", 0.013, grew, readings_um, suspect, 1_790_000_000.0, "kim")


def told(*loads: Gauged) -> dict[str, Any]:
    return factors(SETUP, LineState(gauged={one.load: one for one in loads}))


def test_readings_go_to_the_supervisor_as_they_were_typed(asked: Asked) -> None:
    main(["gauge", "brackets", "0.82 mil", "0.85 mil"])
    main(["gauge", "plates", "48 g/m^2", "--density", "2.4 g/cm^3"])
    assert asked == [
        ("gauge", {"load": "brackets", "readings": ["0.82 mil", "0.85 mil"]}),
        ("gauge", {"load": "plates", "readings": ["48 g/m^2"], "density": "2.4 g/cm^3"}),
    ]


def test_a_load_is_forgotten_by_its_name(asked: Asked, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["gauge", "brackets", "--forget"]) == 0
    assert asked == [("gauge forget", {"load": "brackets"})]
    assert capsys.readouterr().out.startswith("brackets: what its gauge showed is forgotten.")


def test_what_is_to_be_forgotten_is_not_told_at_the_same_time(asked: Asked, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["gauge", "brackets", "20 um", "--forget"]) == 2
    assert asked == []
    assert "--forget" in capsys.readouterr().err


def test_without_a_gauged_load_it_is_said_how_to_tell_one() -> None:
    assert "ampminder gauge LOAD READING" in " ".join(factor_lines(told()))


def test_a_factor_is_told_with_its_band_what_it_began_from_and_its_loads() -> None:
    text = "\n".join(factor_lines(told(gauged("a", 18.0, 19.0), gauged("b", 18.5))))
    assert text.startswith("no alloy named in main-acid: 0.3")
    assert "(90 %: 0." in text
    assert "published: 0.3277 µm·dm²/(A·min), from 0.3000" in text
    assert "a, 2026-09-21: gauged 18.5 µm in 2 readings where published growth makes 20.0 µm, so 0.3032" in text
    assert "b, 2026-09-21: gauged 18.5 µm in 1 reading " in text


def test_a_load_that_taught_nothing_says_why() -> None:
    fitting = [gauged(f"n{number}", 20.0, 20.1) for number in range(4)]
    text = "\n".join(factor_lines(told(*fitting, gauged("bad", 10.0, suspect="current-lost"), gauged("odd", 38.0))))
    assert "not learned from (suspect: current-lost)" in text
    assert text.count("does not fit the others and counts for little") == 1


def test_a_load_behind_newer_ones_says_so() -> None:
    text = "\n".join(factor_lines(told(*(gauged(f"n{number}", 20.0) for number in range(21)))))
    assert text.count("not learned from (newer ones count)") == 1


def test_each_alloy_has_its_own_factor() -> None:
    found = told(gauged("a", 20.0), gauged("b", 15.0, alloy="2024"))["factors"]
    assert [(one["alloy"], [load["load"] for load in one["loads"]]) for one in found] == [("", ["a"]), ("2024", ["b"])]
