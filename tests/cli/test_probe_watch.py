"""`ampminder probe FILE --watch`: every channel with its age, by whoever has the ports, until Ctrl-C."""

from __future__ import annotations

import io
import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from rich.console import Console

from drivers.points import Point
from supervisor.cli.main import main
from supervisor.cli.off import off
from supervisor.cli.probe_live import ALL_EVERY_S, InPlace, Lines, Seen, live_for
from supervisor.cli.probe_live import _as_lines as as_lines
from supervisor.cli.probe_watch import Sheet
from supervisor.config.load import load_line
from supervisor.core.events import Instant, Quality, Reading, Scanned
from supervisor.core.setup import Accuracy, ChannelSetup
from supervisor.service.app import port_names
from supervisor.service.holder import AlreadyHeldError, hold
from tests.drivers.slave import umodbus_slave
from tests.drivers.test_probe import SUPPLY, THERMOMETER, line_file

BATH = ChannelSetup("bath", "meter", "t1", "degC", -20, 150, Accuracy(0, 1), 1.0, 3.0)
LID = ChannelSetup("lid", "meter", "c1", "", 0, 1, Accuracy(0, 0), 1.0, 3.0)
POINTS = {"meter": {"t1": Point("t1", unit="degC"), "c1": Point("c1", states={0: "open", 1: "closed"})}}


@pytest.fixture(autouse=True)
def _runtime(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "run"
    folder.mkdir(mode=0o700)
    monkeypatch.setenv("AMPMINDER_RUNTIME", str(folder))


def scanned(at_s: float, *readings: Reading) -> Scanned:
    return Scanned(Instant(at_s, at_s, 0.0), "meter", at_s - 0.1, at_s, readings)


def good(channel: str, value: float, raw: int) -> Reading:
    return Reading(channel, Quality.GOOD, value, (raw,))


# -- what is shown of readings


def test_a_channel_shows_its_value_in_the_units_of_the_line_and_a_contact_its_word() -> None:
    sheet = Sheet([BATH, LID], POINTS, "us")
    sheet.take(scanned(10.0, good("bath", 20.0, 200), good("lid", 1.0, 1)))
    assert [row.cells for row in sheet.rows(10.5)] == [
        ("bath", "68.0 °F", "good", "0.5 s", "0x00C8"),
        ("lid", "closed", "good", "0.5 s", "0x0001"),
    ]


def test_an_age_counts_up_from_the_last_good_reading_and_a_bad_one_has_no_number() -> None:
    sheet = Sheet([BATH], POINTS, "metric")
    assert sheet.rows(9.0)[0].cells == ("bath", "---", "nothing yet", "---", "")
    sheet.take(scanned(10.0, good("bath", 20.0, 200)))
    sheet.take(scanned(12.0, Reading("bath", Quality.NO_ANSWER, None)))
    assert sheet.rows(13.0)[0].cells == ("bath", "---", "no answer", "3.0 s", "")
    sheet.take(scanned(14.0, Reading("bath", Quality.ABSENT, None, (0x7FFF,))))
    assert sheet.rows(14.5)[0].cells == ("bath", "---", "absent", "4.5 s", "0x7FFF")
    sheet.take(scanned(15.0, good("bath", 21.0, 210)))
    assert sheet.rows(15.0)[0].age_s == 0.0


def seen(channel: str, quality: str = "good", word: str | None = None) -> Seen:
    return Seen(channel, "meter", None, "", word, word or "", quality, 1.0, (1,))


def test_lines_tell_a_change_at_once_and_all_channels_every_few_seconds() -> None:
    out, now = io.StringIO(), [0.0]
    lines = Lines(out, ALL_EVERY_S, as_lines, lambda: now[0])

    def told(*rows: Seen) -> list[str]:
        out.seek(0)
        out.truncate()
        lines.show(rows)
        return [line.split()[0] for line in out.getvalue().splitlines()]

    assert told(seen("bath"), seen("lid", word="open")) == ["channel", "bath", "lid"]
    now[0] += 1.0
    assert told(seen("bath"), seen("lid", word="open")) == []
    assert told(seen("bath"), seen("lid", word="closed")) == ["lid"]
    assert told(seen("bath", "no answer"), seen("lid", word="closed")) == ["bath"]
    now[0] += ALL_EVERY_S
    assert told(seen("bath", "no answer"), seen("lid", word="closed")) == ["channel", "bath", "lid"]


def test_on_a_terminal_the_table_stands_in_its_place_and_bad_quality_is_told_in_words() -> None:
    out = io.StringIO()
    console = Console(file=out, force_terminal=True, width=80, no_color=True)
    with InPlace(console, "bench") as live:
        live.show([seen("bath", "link down")])
        first = out.getvalue()
        live.show([seen("bath", "link down")])
    assert "line bench, only read" in first
    assert "link down" in first
    assert "\x1b[1A" in out.getvalue()[len(first) :], "the second picture goes over the first"


def test_what_is_no_terminal_gets_lines() -> None:
    assert isinstance(live_for(io.StringIO(), "bench", as_json=False), Lines)


# -- the command


@contextmanager
def watching(path: Path, *more: str) -> Iterator[subprocess.Popen[str]]:
    """The command in a process of its own."""
    command = [sys.executable, "-m", "supervisor.cli.main", "probe", str(path), "--watch", *more]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        try:
            yield process
        finally:
            process.kill()


def quick_line(tmp_path: Path, port: str) -> Path:
    return line_file(tmp_path, port, **{'period = "6 s"': 'period = "100 ms"', 'period = "45 s"': 'period = "200 ms"'})


def test_every_channel_is_read_again_and_again_until_ctrl_c_and_nothing_is_written(tmp_path: Path) -> None:
    registers = SUPPLY | THERMOMETER
    with umodbus_slave(registers) as port, watching(quick_line(tmp_path, port), "--json") as process:
        assert process.stdout is not None
        objects = []
        for line in process.stdout:
            objects.append({row["channel"]: row for row in json.loads(line)["channels"]})
            if len(objects) == 2:
                registers[1, 0] = 2000
            if len(objects) > 2 and objects[-1]["main-current"]["value"] == 2.0:
                break
        process.send_signal(signal.SIGINT)
        assert process.wait(5) == 0
    assert objects[0]["main-current"]["quality"] == "nothing yet"
    last = objects[-1]
    assert last["main-current"]["registers"] == [2000]
    assert last["main-output-state"]["word"] == "on"
    assert (last["acid-temperature"]["unit"], last["acid-temperature"]["quality"]) == ("degC", "good")
    assert all(0 <= row["age_s"] < 2 for row in last.values())
    assert registers == SUPPLY | THERMOMETER | {(1, 0): 2000}


@pytest.mark.parametrize("more", [[], ["--watch"]])
def test_a_line_under_a_supervisor_is_not_probed(
    more: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = line_file(tmp_path, "nowhere")
    with hold(port_names(load_line(path)), line="demo", line_file=path, wall_s=0.0):
        assert main(["probe", str(path), *more]) == 1
    captured = capsys.readouterr()
    assert captured.out == ""
    assert f"The supervisor of line demo has it: process {os.getpid()}" in captured.err
    assert f"`ampminder watch --line {path}` shows what it reads" in captured.err


def test_no_supervisor_begins_while_a_probe_has_its_ports_and_off_ends_the_probe(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    registers = SUPPLY | THERMOMETER | {(1, 0): 0, (1, 2): 0, (1, 18): 0}
    with umodbus_slave(registers) as port:
        path = quick_line(tmp_path, port)
        with watching(path, "--json") as process:
            assert process.stdout is not None
            process.stdout.readline()
            line = load_line(path)
            with pytest.raises(AlreadyHeldError, match=r"^A probe is running: .*probing line demo"):
                hold(port_names(line), line=line.name, line_file=path, wall_s=0.0)
            assert off(path, as_json=False) == 0
            assert process.wait(5) == -signal.SIGKILL
    assert f"A probe was reading the line (process {process.pid}" in "".join(capsys.readouterr())
