"""The command `probe`: what it prints of a line that works, and what it says of one that does not."""

from __future__ import annotations

import fcntl
import json
import os
from pathlib import Path
from typing import Any

import pytest

from supervisor.cli.probe import probe
from supervisor.cli.probe_survey import looks_like_latency_timer
from tests.drivers.slave import umodbus_slave

CONFIG = Path(__file__).parents[2] / "config"

SUPPLY = {(1, 0): 1950, (1, 1): 1523, (1, 2): 1, (1, 3): 0, (1, 16): 2500, (1, 17): 2200, (1, 18): 1}
THERMOMETER = {(2, 0): 204, (2, 1): 0x7FFF, (2, 2): 0xFFF6, (2, 3): 215}


@pytest.fixture(autouse=True)
def _runtime(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "run"
    folder.mkdir(mode=0o700)
    monkeypatch.setenv("AMPMINDER_RUNTIME", str(folder))


def line_file(folder: Path, port: str, **changes: str) -> Path:
    """The plain line on another port; some of its text may be changed."""
    text = (CONFIG.parent / "tests" / "harness" / "plain-line.toml").read_text(encoding="utf-8")
    text = text.replace('"links/bus"', f'"{port}"').replace('"profiles/', f'"{CONFIG}/profiles/')
    for old, new in changes.items():
        assert old in text
        text = text.replace(old, new)
    path = folder / "line.toml"
    path.write_text(text, encoding="utf-8")
    return path


def probed(path: Path, capsys: pytest.CaptureFixture[str]) -> tuple[int, dict[str, Any]]:
    """Exit code and object of a probe for programs."""
    code = probe(path, as_json=True)
    return code, json.loads(capsys.readouterr().out)


def failures(given: dict[str, Any]) -> list[tuple[str, str]]:
    return [(failure["device"], failure["kind"]) for failure in given["failures"]]


def test_every_point_of_every_device_is_printed_in_columns(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with umodbus_slave(SUPPLY | THERMOMETER) as port:
        assert probe(line_file(tmp_path, port), as_json=False) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].split() == ["device", "name", "value", "unit", "round", "trip", "registers"]
    rows = {tuple(line.split()[:2]): line.split() for line in lines[1:]}
    assert len(rows) == 11
    assert rows["rectifier", "current"][2:4] == ["1.950", "A"]
    assert rows["rectifier", "current"][-1] == "0x079E"
    assert rows["rectifier", "switch"][2] == "on"
    assert rows["thermometer", "t1"][2:4] == ["20.4", "degC"]
    assert rows["thermometer", "t2"][2:4] == ["no", "value"]
    assert rows["thermometer", "t3"][2] == "-1.0"
    assert len({line.index("0x") for line in lines[1:]}) == 1, "the last column stands in one line"


def test_a_program_gets_the_same_with_a_version(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with umodbus_slave(SUPPLY | THERMOMETER) as port:
        code, given = probed(line_file(tmp_path, port), capsys)
    assert (code, given["version"], given["failures"], given["notes"]) == (0, 1, [], [])
    points = {(point["device"], point["name"]): point for point in given["points"]}
    assert len(points) == 11
    assert points["rectifier", "voltage"]["value"] == pytest.approx(15.23)
    assert points["rectifier", "voltage"]["registers"] == [1523]
    assert 0 < points["rectifier", "voltage"]["round_trip_ms"] < 150
    assert (points["rectifier", "output"]["value"], points["rectifier", "output"]["word"]) == (1.0, "on")
    assert (points["thermometer", "t2"]["value"], points["thermometer", "t2"]["registers"]) == (None, [0x7FFF])


def test_a_probe_writes_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    registers = SUPPLY | THERMOMETER
    with umodbus_slave(registers) as port:
        probe(line_file(tmp_path, port), as_json=False)
    assert registers == SUPPLY | THERMOMETER


def test_a_missing_port_is_told_as_such(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, given = probed(line_file(tmp_path, "nowhere"), capsys)
    assert (code, failures(given)) == (1, [("", "link down")])
    assert "is missing; plug the adapter in" in given["failures"][0]["text"]


def test_a_busy_port_is_told_as_such(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with umodbus_slave(SUPPLY) as port:
        holder = os.open(port, os.O_RDWR | os.O_NOCTTY)
        fcntl.flock(holder, fcntl.LOCK_EX)
        code, given = probed(line_file(tmp_path, port), capsys)
        os.close(holder)
    assert (code, failures(given)) == (1, [("", "link down")])
    assert "is busy: another program holds it; end that program first" in given["failures"][0]["text"]


def test_silence_beside_a_device_that_answers_is_a_wrong_address(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with umodbus_slave(SUPPLY) as port:
        code, given = probed(line_file(tmp_path, port), capsys)
    assert (code, failures(given)) == (1, [("thermometer", "wrong address")])
    text = given["failures"][0]["text"]
    assert "no answer at unit 2, while rectifier on the same wires does answer" in text
    assert "correct devices.thermometer.unit" in text
    assert len(given["points"]) == 7, "what answers is still printed"


def test_silence_of_all_devices_is_power_or_wires(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with umodbus_slave({(9, 0): 0}) as port:
        code, given = probed(line_file(tmp_path, port), capsys)
    assert (code, failures(given)) == (1, [("", "no answer")])
    text = given["failures"][0]["text"]
    assert "from rectifier at unit 1, thermometer at unit 2; check first that they have power" in text


def test_all_failures_are_told_together(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    unread = {key: value for key, value in SUPPLY.items() if key != (1, 18)} | {(1, 2): 7}
    with umodbus_slave(unread) as port:
        code = probe(line_file(tmp_path, port), as_json=False)
    out = capsys.readouterr().out
    assert code == 1
    assert "3 went wrong:" in out
    assert "output answered 7, which is no state of it" in out
    assert "refused with code 2: it has no such register" in out
    assert "no answer at unit 2" in out


def test_mistakes_in_the_line_file_are_told_before_anything_is_opened(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = line_file(tmp_path, "nowhere", **{'"19200 baud"': '"19200"'})
    assert probe(path, as_json=False) == 2
    assert "links.bus.speed" in capsys.readouterr().out
    code, given = probed(path, capsys)
    assert (code, given["version"]) == (2, 1)
    assert [mistake["key_path"] for mistake in given["mistakes"]] == ["links.bus.speed"]


@pytest.mark.parametrize(
    ("excess_ms", "looks_so"),
    [
        ([16.2, 15.8, 31.9], True),
        ([16.2, 15.8, 31.9, 7.0], True),
        ([16.2, 15.8], False),
        ([16.2, 15.8, 31.9, 7.0, 5.0], False),
        ([1.0, 0.5, 1.2, 0.8], False),
        ([20.0, 24.0, 27.5, 40.0], False),
        ([], False),
    ],
)
def test_steps_of_sixteen_milliseconds_are_recognised(excess_ms: list[float], looks_so: bool) -> None:
    assert looks_like_latency_timer(excess_ms) == looks_so


def test_an_adapter_that_hands_bytes_on_late_is_noted_and_is_no_failure(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        "supervisor.cli.probe_survey.TIMER_NEAR_MS", 8.0
    )  # every trip of more than 8 ms: no exact timing here
    with umodbus_slave(SUPPLY | THERMOMETER, delay_s=0.03) as port:  # the frames themselves take 11 to 13 ms
        code, given = probed(line_file(tmp_path, port), capsys)
    assert code == 0
    assert "USB adapter" in given["notes"][0]
    assert "set it to 1 ms" in given["notes"][0]
