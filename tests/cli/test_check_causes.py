"""What `check` tells of causes and effects, heaters, and the time from a limit to off."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from supervisor.cli.check import check
from supervisor.config.causes import causes_of_line
from supervisor.config.load import load_line
from supervisor.config.setup import line_setup, worst_off_delays
from supervisor.core.interlocks import CAUSES
from tests.config.conftest import CONFIG, PLAIN, Edit, edited

BOTH, CORNER, KNOBS = (CONFIG / name for name in ("acid-and-seal.toml", "scpi-and-board.toml", "knob-supply.toml"))

HEADING = "What each cause does here"


def printed(path: Path, capsys: pytest.CaptureFixture[str]) -> str:
    assert check(path, as_json=False) == 0
    return capsys.readouterr().out


def table(path: Path, capsys: pytest.CaptureFixture[str]) -> dict[str, str]:
    """The rows of the table, by cause; of a folded one the whole text."""
    text = printed(path, capsys)
    lines = text[text.index(HEADING) :].split("\n\n")[0].splitlines()[2:-1]
    rows: dict[str, str] = {}
    for line in lines:
        if line.startswith("   "):
            rows[next(reversed(rows))] += " " + line.strip()
        else:
            rows[line.split()[0]] = line
    return rows


def in_json(path: Path, capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    assert check(path, as_json=True) == 0
    told: dict[str, Any] = json.loads(capsys.readouterr().out)
    return told


def changed(tmp_path: Path, base: Path, *edits: Edit) -> Path:
    (tmp_path / "profiles").symlink_to(CONFIG / "profiles")
    path = tmp_path / "line.toml"
    path.write_text(edited(base.read_text(encoding="utf-8"), edits), encoding="utf-8")
    return path


@pytest.mark.parametrize("path", [BOTH, CORNER, KNOBS, PLAIN], ids=lambda path: path.stem)
def test_the_table_has_every_cause_of_the_line_and_fits_on_a_screen(
    path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert list(table(path, capsys)) == list(causes_of_line(line_setup(load_line(path))))
    text = printed(path, capsys)
    assert max(map(len, text[text.index(HEADING) :].split("\n\n")[0].splitlines())) <= 120


def test_a_row_tells_effect_addition_delay_and_whom_it_is_about(capsys: pytest.CaptureFixture[str]) -> None:
    rows = table(BOTH, capsys)
    for cause, words in (
        ("emergency-stop", "abort contactor open, heater off at once emergency-stop"),
        ("lid-shut", "* stop - 1.0 s acid-lid"),
        ("level-low", "hold heater off 3.0 s acid-level, seal-level"),
        ("agitation-lost", "*! warn - 10.0 s air-pressure"),
        ("agitation-long-lost", "* hold - 45.0 s air-pressure"),
        ("bath-high", "warn - 10.0 s, 60.0 s acid, seal"),
        ("supply-restarted", "hold contactor open at once main"),
    ):
        assert " ".join(rows[cause].split()) == f"{cause} {words}"


def test_what_nothing_here_could_show_or_do_is_left_out(capsys: pytest.CaptureFixture[str]) -> None:
    plain, knobs = table(PLAIN, capsys), table(KNOBS, capsys)
    missing = {"contactor-dropped", "supply-restarted", "lid-shut", "level-low", "no-rise", "heartbeat-lost"}
    assert not missing & plain.keys()
    assert "contactor open" not in "".join(plain.values())
    assert "heater off" not in "".join(plain.values())
    assert {"ramp-not-confirmed", "current-off-plan"} <= knobs.keys()
    assert not {"switch-off-by-hand", "command-failed", "output-dropped", "settings-differ"} & knobs.keys()


def test_programs_are_told_the_same_causes(capsys: pytest.CaptureFixture[str]) -> None:
    causes = {one["cause"]: one for one in in_json(BOTH, capsys)["causes"]}
    assert list(causes) == list(table(BOTH, capsys))
    assert causes["agitation-lost"] == {
        "cause": "agitation-lost",
        "effect": "warn",
        "also": [],
        "delay_s": 10.0,
        "when": "with current",
        "subjects": ["air-pressure"],
    }
    assert set(causes) <= CAUSES.keys()


def test_each_heater_is_told_with_the_cut_out_that_must_be_beside_it(capsys: pytest.CaptureFixture[str]) -> None:
    text = printed(BOTH, capsys)
    heater = "Heater seal-heater keeps tank seal from 81.0 °C to 83.0 °C; level seal-level; rests 2.00 h after"
    cut_out = "The software's cut is additional to an independent cut-out in hardware, which must be fitted."
    assert heater in text
    assert text.count(cut_out) == 1
    assert cut_out not in printed(PLAIN, capsys)


def test_a_heater_that_is_bolder_than_usual_is_told_loudly(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = changed(
        tmp_path,
        BOTH,
        ('level = "seal-level"', 'without_level = "the element is under the tank"'),
        ('attended = "2 h" ', "unattended = true "),
    )
    text = printed(path, capsys)
    assert "NO LEVEL CONTACT (the element is under the tank); heats UNATTENDED too." in text


def test_a_contact_is_told_with_what_closes_it(capsys: pytest.CaptureFixture[str]) -> None:
    text = printed(BOTH, capsys)
    for words in (
        "acid-lid: lid of acid, relays in4, closed while the lid is OPEN.",
        "seal-lid: lid of seal, relays in5, closed while the lid is shut.",
        "air-flow: air flow of acid, relays in6, closed while air moves (proves ventilation).",
        "test-button: button, relays in12, closed while pressed (test).",
        "acid-level: level of acid, relays in2, closed when healthy.",
    ):
        assert words in text
    assert "STOPS NOTHING" not in text


def test_the_time_to_off_is_the_pace_of_readings_and_the_worst_off_delay(capsys: pytest.CaptureFixture[str]) -> None:
    delays = worst_off_delays(load_line(BOTH))
    told = in_json(BOTH, capsys)["trip_latencies"]
    assert told == {
        "acid": pytest.approx(1.0 + delays["main-output"].total_s, abs=1e-4),
        "seal": pytest.approx(1.0 + delays["seal-heater"].total_s, abs=1e-4),
    }
    assert "acid: 1.3 s = 1.0 s between readings + 0 filter + 341 ms off delay" in printed(BOTH, capsys)


def test_of_supply_and_heater_of_one_tank_the_slower_counts(capsys: pytest.CaptureFixture[str]) -> None:
    delays = worst_off_delays(load_line(CORNER))
    assert delays["main-output"].total_s > delays["heater"].total_s
    assert in_json(CORNER, capsys)["trip_latencies"] == {
        "acid": pytest.approx(0.5 + delays["main-output"].total_s, abs=1e-4)
    }


def test_knobs_are_cut_by_their_contactor_or_by_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    delays = worst_off_delays(load_line(KNOBS))
    assert in_json(KNOBS, capsys)["trip_latencies"] == {
        "acid": pytest.approx(1.0 + delays["main-contactor"].total_s, abs=1e-4)
    }
    text = KNOBS.read_text(encoding="utf-8")
    alone = text[text.index("[outputs.main-contactor]") : text.index("[outputs.fan]")]
    seen = text[text.index("[contacts.main-contactor-shut]") : text.index("[contacts.air-flow]")]
    path = changed(
        tmp_path,
        KNOBS,
        (alone, ""),
        (seen, ""),
        ('contactor = "main-contactor"\n', ""),
        ('control = "contactor"', 'control = "none"'),
    )
    assert in_json(path, capsys)["trip_latencies"] == {}
    assert "switch-off-by-hand" in table(path, capsys)
