"""How figures are judged and told: what a program reads from the last line, and what decides the exit code."""

from __future__ import annotations

import json

import pytest

from tests.campaigns.figures import Figure, meets, percentile, report


@pytest.mark.parametrize(
    ("value", "target", "met"),
    [
        (0.1, "<= 0.1", True),
        (0.11, "<= 0.1", False),
        (100.0, ">= 100", True),
        (99.0, ">= 100", False),
        (90.0, "87..93", True),
        (93.1, "87..93", False),
        (True, "= true", True),
        (False, "= true", False),
        (1.0, "= true", False),
        (True, ">= 1", False),
        (float("nan"), "<= 1", False),
        (float("inf"), ">= 1", False),
        (-5.0, "report", True),
    ],
)
def test_a_value_meets_its_target_or_not(value: float, target: str, met: bool) -> None:
    assert meets(value, target) is met


def test_a_target_nobody_can_read_is_an_error() -> None:
    with pytest.raises(ValueError, match="about"):
        meets(1.0, "about 3")


def test_a_percentile_is_a_value_that_was_measured() -> None:
    assert percentile([float(value) for value in range(1, 201)], 0.99) == 198.0
    assert percentile([7.0], 0.99) == 7.0


def figure(value: float, *, timing: bool) -> Figure:
    return Figure("x_ms", value, "<= 1", 3, 0, "wire", timing=timing)


def test_one_missed_figure_fails_the_campaign(capsys: pytest.CaptureFixture[str]) -> None:
    assert report("spine", [figure(0.5, timing=True), figure(2.0, timing=True)], quick=False) == 1
    assert report("spine", [figure(0.5, timing=True)], quick=False) == 0
    capsys.readouterr()


def test_in_a_quick_run_a_missed_timing_is_told_and_decides_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    assert report("spine", [figure(2.0, timing=True)], quick=True) == 0
    told = json.loads(capsys.readouterr().out.splitlines()[-1])
    assert told == {
        "campaign": "spine",
        "figures": [{"name": "x_ms", "value": 2.0, "target": "<= 1", "ok": False, "decides": False}],
    }


def test_in_a_quick_run_a_missed_figure_of_logic_fails(capsys: pytest.CaptureFixture[str]) -> None:
    assert report("spine", [figure(2.0, timing=False)], quick=True) == 1
    capsys.readouterr()
