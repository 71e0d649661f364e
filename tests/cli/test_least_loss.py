"""Which lost contact is too small to be seen is said by `check` and at a start."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from supervisor.cli.ask import _done
from supervisor.cli.check import check
from supervisor.config.least_loss import least_losses
from supervisor.config.load import load_line

LINE = Path(__file__).parents[2] / "config" / "bench-metric.toml"
KNOBS = LINE.with_name("knob-supply.toml")


def test_check_tells_the_least_loss_of_each_supply_for_people_and_programs(capsys: pytest.CaptureFixture[str]) -> None:
    assert check(LINE, as_json=False) == 0
    loss = least_losses(load_line(LINE))["main"]
    assert f"main: {loss.of_large:.0%} of a load at its capped current" in capsys.readouterr().out
    check(LINE, as_json=True)
    told = json.loads(capsys.readouterr().out)["least_losses"]["main"]
    assert told == {"within_s": 10.0, "of_large": loss.of_large, "of_small": loss.of_small}


def test_a_small_load_hides_a_larger_loss_and_so_do_knobs() -> None:
    remote, by_hand = least_losses(load_line(LINE))["main"], least_losses(load_line(KNOBS))["main"]
    assert 0.05 < remote.of_large < remote.of_small < 0.5
    assert remote.of_large < by_hand.of_large < 0.5


def test_a_start_says_what_cannot_be_seen() -> None:
    answer = {"supply": "main", "load": "a", "operation": "a-1", "notice": "", "least_loss_share": "0.183"}
    assert _done("start", {}, answer).endswith(" A contact lost under 18% of its area cannot be seen at once.")
