"""Trials of outputs: kept whole, told apart by wiring, and never guessed."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from supervisor.records.exercised import Exercised, exercised_path, keep_exercised, never_exercised, read_exercised

TRIAL = Exercised("as named", "port /dev/ttyUSB0, unit 3, k1", "kim", 1.79e9)


def test_a_trial_is_read_back_as_it_was_kept_and_the_newest_counts(tmp_path: Path) -> None:
    path = exercised_path(tmp_path / "records", "bench")
    keep_exercised(path, "fan", replace(TRIAL, seen="nothing"))
    keep_exercised(path, "horn", TRIAL)
    keep_exercised(path, "fan", TRIAL)
    assert read_exercised(path) == {"fan": TRIAL, "horn": TRIAL}


@pytest.mark.parametrize(
    "text", ["", "{", "[]", "null", '{"version": 2, "outputs": {}}', '{"version": 1, "outputs": []}']
)
def test_what_cannot_be_read_vouches_for_nothing(tmp_path: Path, text: str) -> None:
    path = exercised_path(tmp_path, "bench")
    path.write_text(text, encoding="utf-8")
    assert read_exercised(path) == {}


def test_a_spoilt_file_does_not_keep_a_new_trial_from_being_kept(tmp_path: Path) -> None:
    path = exercised_path(tmp_path, "bench")
    path.write_text('{"version": 1, "outputs": {"fan": {"seen": "maybe"}}}', encoding="utf-8")
    keep_exercised(path, "horn", TRIAL)
    assert read_exercised(path) == {"horn": TRIAL}


def test_only_a_trial_of_this_wiring_at_which_the_right_thing_was_seen_vouches_for_an_output() -> None:
    trials = {
        "fan": TRIAL,
        "horn": replace(TRIAL, wired="port /dev/ttyUSB0, unit 3, k2"),
        "lamp": replace(TRIAL, seen="something else"),
    }
    wired = dict.fromkeys(("fan", "horn", "lamp", "heater"), TRIAL.wired)
    assert never_exercised(trials, wired) == {
        "horn": "wired otherwise since it was exercised",
        "lamp": "exercised, and what was seen was something else",
        "heater": "never exercised",
    }
