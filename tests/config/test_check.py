"""What `check` and `schema` print and return."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from supervisor.cli.check import check
from supervisor.cli.schema import schema, schema_text
from supervisor.config.fitted import not_fitted
from supervisor.config.load import load_line
from tests.config.conftest import CONFIG, PLAIN, Written

POINT = '[points.time_out]\ntable = "holding register"\naddress = 19\nscale = "100 ms"\nrange = ["0 s", "60 s"]\n\n'
FITTED = (("[points.switch]", POINT + "[points.switch]"),)


def test_a_right_file_is_summed_up(capsys: pytest.CaptureFixture[str]) -> None:
    assert check(PLAIN, as_json=False) == 0
    printed = capsys.readouterr().out
    for words in (
        "no mistakes",
        "unit 1: rectifier, modbus supply, read every 6.0 s",
        "unit 2: thermometer",
        "no second means",
        "cutting the mains",
        "no communication time-out",
        "main-output: 341.2 ms = 150 on the wire already + 80 quiet + 0 offs ahead + 91.2 its own + 20 own work",
    ):
        assert words in printed


def test_people_read_the_units_they_chose(capsys: pytest.CaptureFixture[str]) -> None:
    check(CONFIG / "bench-us.toml", as_json=False)
    printed = capsys.readouterr().out
    assert "2.0 gal, acid 22.0 oz/gal; warns outside 66.0 °F to 72.0 °F" in printed
    assert "°C" not in printed


def test_a_wrong_file_returns_2_and_prints_every_mistake(written: Written, capsys: pytest.CaptureFixture[str]) -> None:
    path = written(('volume = "8 L"', 'volume = "8"'), ("unit = 2", "unit = 1"))
    assert check(path, as_json=False) == 2
    printed = capsys.readouterr().out
    assert "2 mistakes" in printed
    assert "tanks.acid.volume\n    wrong: '8' has no unit\n    right: write a volume" in printed
    assert "devices.thermometer.unit\n    wrong:" in printed


def test_json_tells_the_same_with_its_version(written: Written, capsys: pytest.CaptureFixture[str]) -> None:
    assert check(PLAIN, as_json=True) == 0
    right = json.loads(capsys.readouterr().out)
    assert (right["version"], right["ok"], right["mistakes"]) == (1, True, [])
    assert right["worst_off_delays"]["main-output"]["total_ms"] == 341.2
    assert [told.split(":")[0].split(".")[0] for told in right["not_fitted"]] == [
        "Supply main has no second means of switching off",
        "Supply main has no communication time-out of its own",
        "Supply main does not tell since when it has power",
        "Tank acid has no lid contact",
        "Tank acid has no level contact",
        "Nothing proves the ventilation of tank acid",
        "Nothing proves the agitation of tank acid",
        "No horn is fitted",
        "No lamp is fitted",
    ]
    assert check(written(('volume = "8 L"', 'volume = "8"')), as_json=True) == 2
    wrong = json.loads(capsys.readouterr().out)
    assert (wrong["version"], wrong["ok"]) == (1, False)
    assert wrong["mistakes"][0]["key_path"] == "tanks.acid.volume"
    assert wrong["mistakes"][0].keys() == {"key_path", "problem", "right"}


def test_a_missing_file_is_a_mistake_like_any_other(capsys: pytest.CaptureFixture[str]) -> None:
    assert check(Path("/nowhere/line.toml"), as_json=False) == 2
    assert "there is no file /nowhere/line.toml" in capsys.readouterr().out


def test_a_time_out_that_is_fitted_but_not_used_is_told(written: Written, capsys: pytest.CaptureFixture[str]) -> None:
    unused = not_fitted(load_line(written(profile=FITTED)))
    missing = not_fitted(load_line(written()))
    assert any("it is not used" in told and "supplies.main.device_time_out" in told for told in unused)
    used = written(("[outputs.main-output]", 'device_time_out = "2 s"\n\n[outputs.main-output]'), profile=FITTED)
    assert set(missing) - set(not_fitted(load_line(used))) == {told for told in missing if "time-out" in told}
    check(used, as_json=False)
    assert "supply main switches itself off after 2.0 s without traffic" in capsys.readouterr().out


def test_the_committed_schema_is_what_the_program_prints(capsys: pytest.CaptureFixture[str]) -> None:
    assert schema() == 0
    printed = capsys.readouterr().out
    assert printed == schema_text()
    assert (CONFIG / "line-file.schema.json").read_text(encoding="utf-8") == printed
    assert json.loads(printed)["properties"].keys() >= {"links", "devices", "tanks", "supplies", "outputs"}


def test_the_schema_describes_quantities_as_texts_with_units() -> None:
    tank = json.loads(schema_text())["$defs"]["TankTable"]["properties"]
    assert tank["volume"]["type"] == "string"
    assert "gal" in tank["volume"]["description"]
