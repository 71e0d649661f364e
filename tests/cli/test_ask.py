"""What the commands of a person become at the supervisor's socket, and what they are told."""

from __future__ import annotations

from typing import Any

import pytest

from supervisor.cli.main import main
from tests.cli.conftest import Asked, Supervisor


@pytest.mark.parametrize(
    ("typed", "kind", "body"),
    [
        ("start --area 1dm^2 --confirmed", "start", {"area": "1dm^2", "confirmed": True}),
        ("start --area 1dm^2", "start", {"area": "1dm^2"}),
        ("restart --supply main --confirmed", "restart", {"supply": "main", "confirmed": True}),
        ("restart", "restart", {}),
        ("confirm", "confirm", {}),
        ("confirm --supply main", "confirm", {"supply": "main"}),
    ],
)
def test_what_a_person_confirms_is_asked_for_as_that(
    typed: str, kind: str, body: dict[str, Any], asked: Asked, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["anodize", *typed.split()]) == 0
    assert asked == [(kind, body)]
    assert ("What to turn its knobs to: ampminder status" in capsys.readouterr().out) is ("confirmed" in body)


def test_a_start_names_its_alloy_and_tells_what_the_core_has_to_say_of_it(
    supervisor: Supervisor, capsys: pytest.CaptureFixture[str]
) -> None:
    supervisor.notice = "6061, cast 356: they differ."
    assert main(["anodize", "start", "--area", "1dm^2", "--alloy", "6061, cast 356"]) == 0
    assert supervisor.asked == [("start", {"area": "1dm^2", "alloy": "6061, cast 356"})]
    assert "as operation bench-1. 6061, cast 356: they differ." in capsys.readouterr().out


def test_a_person_says_that_the_load_is_out(asked: Asked, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["anodize", "out"]) == 0
    assert asked == [("out", {})]
    assert "out of the acid" in capsys.readouterr().out


@pytest.mark.parametrize("what", ["hold", "stop", "confirm"])
def test_only_what_begins_can_be_confirmed_beforehand(what: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["anodize", what, "--confirmed"])
    assert "--confirmed" in capsys.readouterr().err


@pytest.mark.parametrize("what", ["heat", "rest", "filled"])
def test_a_tank_is_asked_for_by_name(what: str, asked: Asked, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["tank", what, "seal"]) == 0
    assert asked == [(what, {"tank": "seal"})]
    assert capsys.readouterr().out.startswith("seal: ")


@pytest.mark.parametrize("typed", [["tank", "heat"], ["tank"]])
def test_a_tank_must_be_named(typed: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(typed)
    assert "required" in capsys.readouterr().err
