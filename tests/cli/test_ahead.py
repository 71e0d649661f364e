"""How baths go on, in words: how sure it is, what never comes, and what is too hot before all else."""

from __future__ import annotations

from typing import Any

import pytest

from supervisor.cli.ahead import about, brief, end_text, hydrogen_text, ready_text
from supervisor.cli.words import status_lines
from tests.cli.states import running
from tests.cli.test_picture import text


def warms(
    low_s: float | None, best_s: float | None, high_s: float | None, levels_off_c: float | None = None
) -> dict[str, Any]:
    to_go_s = {"low": low_s, "best": best_s, "high": high_s}
    return {"ready": {"at_c": 81.0, "to_go_s": to_go_s, "levels_off_c": levels_off_c}, "end": None}


def ends(**changes: object) -> dict[str, Any]:
    told = {
        "temperature_c": {"low": 21.0, "best": 22.0, "high": 23.0}, "uncooled_c": 27.0, "cooling": "on",
        "limit_c": 26.0, "limit_s": None, "bearable_a": None,
    }  # fmt: skip
    return {"ready": None, "end": told | changes}


ENDS = "22.0 °C when the load is done (21.0 °C to 23.0 °C)"
ALONE = "; without its cooling 27.0 °C"
NOTHING_AHEAD = {"ready": None, "end": None}


@pytest.mark.parametrize(("seconds", "said"), [(5.0, "1 min"), (2500.0, "42 min"), (3600.0, "1 h 00 min")])
def test_a_time_ahead_is_said_to_the_minute(seconds: float, said: str) -> None:
    assert about(seconds) == said


@pytest.mark.parametrize(
    ("tank", "said", "short"),
    [
        (warms(2200.0, 2500.0, 2900.0), "at 81.0 °C in 42 min (37 min to 48 min)", "ready in 42 min"),
        (
            warms(2200.0, 2500.0, None),
            "at 81.0 °C in 42 min (37 min at the earliest, perhaps never)",
            "ready in 42 min",
        ),
        (warms(None, None, None, 77.0), "will not reach 81.0 °C: levels off near 77.0 °C", "never warm enough"),
        (
            warms(7200.0, None, None, 80.0),
            "will not reach 81.0 °C: levels off near 80.0 °C, or gets there in 2 h 00 min at the earliest",
            "never warm enough",
        ),
        (NOTHING_AHEAD, "", ""),
    ],
)
def test_a_warm_up_is_told_with_how_sure_it_is(tank: dict[str, Any], said: str, short: str) -> None:
    assert ready_text(tank, "metric") == said
    assert brief(tank, "metric") == short


@pytest.mark.parametrize(
    ("tank", "said", "short"),
    [
        (
            ends(cooling="none"),
            "22.0 °C when the load is done (21.0 °C to 23.0 °C)",
            "ends at 22.0 °C",
        ),
        (
            ends(),
            "22.0 °C when the load is done (21.0 °C to 23.0 °C); without its cooling 27.0 °C",
            "ends at 22.0 °C",
        ),
        (
            ends(cooling="failed", limit_s=600.0),
            f"{ENDS} (its cooling does not cool){ALONE}; TOO HOT, 26.0 °C, in 10 min: no smaller current avoids it",
            "TOO HOT in 10 min",
        ),
        (
            ends(cooling="none", limit_s=600.0, bearable_a=1.2),
            "22.0 °C when the load is done (21.0 °C to 23.0 °C); TOO HOT, 26.0 °C, in 10 min: 1.20 A avoids it",
            "TOO HOT in 10 min",
        ),
        (NOTHING_AHEAD, "", ""),
    ],
)
def test_the_end_is_told_with_what_is_too_hot(tank: dict[str, Any], said: str, short: str) -> None:
    assert end_text(tank, "metric") == said
    assert brief(tank, "metric") == short


def test_hydrogen_is_told_while_some_comes() -> None:
    assert hydrogen_text({"hydrogen_l_per_s": 0.0125}, "metric") == "hydrogen 45.0 L/h at most"
    assert hydrogen_text({"hydrogen_l_per_s": 0.0125}, "us") == "hydrogen 11.9 gal/h at most"
    assert hydrogen_text({"hydrogen_l_per_s": 0.0}, "us") == hydrogen_text({"hydrogen_l_per_s": None}, "us") == ""


def test_status_and_picture_tell_it_beside_the_bath() -> None:
    status = running()
    status["tanks"]["acid"] |= ends(cooling="none")
    lines = list(status_lines(status))
    acid = next(number for number, line in enumerate(lines) if "acid:" in line)
    assert "when the load is done" in lines[acid + 1]
    assert any("hydrogen 0.9 L/h" in line for line in lines)
    assert "ends at 22.0 °C" in text(status)
