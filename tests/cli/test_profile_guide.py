"""The guide to profiles: its profile loads as it stands, and its raw readings are what the command prints."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from drivers.registers import Register, RegisterMap, groups_of
from supervisor.cli.main import main
from supervisor.config.load import LineFile, load_line
from supervisor.config.setup import device_maps, line_setup
from tests.drivers.slave import umodbus_slave

ROOT = Path(__file__).parents[2]
GUIDE = (ROOT / "docs" / "profiles.md").read_text(encoding="utf-8")
PROFILE, PLACE = re.findall(r"```toml\n(.*?)```", GUIDE, re.DOTALL)
CONSOLES = re.findall(r"```console\n\$ (ampminder .*?)\n(.*?)```", GUIDE, re.DOTALL)

MONITOR = {(3, 0): 204, (3, 1): 0x7FFF, (3, 8): 0x6666, (3, 9): 0x4146, (3, 16): 1}


@pytest.fixture(autouse=True)
def _runtime(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "run"
    folder.mkdir(mode=0o700)
    monkeypatch.setenv("AMPMINDER_RUNTIME", str(folder))


@pytest.fixture
def line(tmp_path: Path) -> LineFile:
    """The bench's line with the guide's device put in as the guide says."""
    profiles = tmp_path / "profiles"
    profiles.mkdir()
    for path in (ROOT / "config" / "profiles").glob("*.toml"):
        (profiles / path.name).write_bytes(path.read_bytes())
    (profiles / "bath-monitor.toml").write_text(PROFILE, encoding="utf-8")
    path = tmp_path / "line.toml"
    bench = (ROOT / "config" / "bench-metric.toml").read_text(encoding="utf-8")
    path.write_text(bench.replace("[growth]", f"{PLACE}\n[growth]"), encoding="utf-8")
    return load_line(path)


def test_the_profile_of_the_guide_loads_and_is_what_its_table_says(line: LineFile) -> None:
    monitor = device_maps(line)["monitor"]
    assert isinstance(monitor, RegisterMap)
    bars = monitor.points["bars"]
    assert isinstance(bars, Register)
    assert (bars.address, bars.kind, bars.order, bars.width) == (8, "float32", "CDAB", 2)
    assert monitor.points["acid"].no_value == (0x7FFF,)
    assert monitor.points["air-flow"].states == {0: "open", 1: "closed"}
    assert {"coolant-temperature", "bars-voltage", "hood"} <= line_setup(line).channels.keys()


def test_the_three_clusters_of_the_guide_take_three_requests(line: LineFile) -> None:
    monitor = device_maps(line)["monitor"]
    assert isinstance(monitor, RegisterMap)
    assert [[point.address for point in group] for group in groups_of(monitor)] == [[0, 1], [8], [16]]


RAW = [(command, told) for command, told in CONSOLES if " --raw " in command]


@pytest.mark.parametrize(("command", "told"), RAW)
def test_the_guide_shows_what_a_raw_probe_prints(command: str, told: str, capsys: pytest.CaptureFixture[str]) -> None:
    with umodbus_slave(MONITOR) as port:
        assert main(shlex.split(command.replace("/dev/ttyUSB0", port))[1:]) == 0
    assert capsys.readouterr().out == told


def test_the_guide_shows_every_command_it_names() -> None:
    assert [command.split()[1:3] for command, _ in CONSOLES] == [
        *([["probe", "--raw"]] * 3),
        ["check", "config/bench-metric.toml"],
        ["probe", "config/bench-metric.toml"],
        ["probe", "config/bench-metric.toml"],
    ]
