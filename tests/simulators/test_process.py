"""The simulators as a process of their own, and a master written on a third library."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import minimalmodbus
import pytest

from tests.harness.wire import until
from tests.simulators.conftest import DEMO

ROOT = DEMO.parents[2]


class Running:
    """`python -m simulators` with its links in a folder."""

    def __init__(self, folder: Path, *more: str, stdin: int = subprocess.PIPE) -> None:
        self.links = folder / "links"
        command = [sys.executable, "-m", "simulators", str(DEMO), "--links", str(self.links), *more]
        self.process = subprocess.Popen(
            command, cwd=ROOT, stdin=stdin, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        self.ready = self.next("ready")

    def next(self, truth: str) -> dict[str, Any]:
        """The next truth of this name."""
        assert self.process.stdout is not None
        for text in self.process.stdout:
            told: dict[str, Any] = json.loads(text)
            if told["truth"] == truth:
                return told
        assert self.process.stderr is not None
        raise AssertionError(self.process.stderr.read())

    def end(self, number: int = signal.SIGTERM) -> tuple[int, list[dict[str, Any]]]:
        """End it; its exit code and what it told last."""
        self.process.send_signal(number)
        out, _ = self.process.communicate(timeout=5)
        return self.process.returncode, [json.loads(text) for text in out.splitlines()]

    def close(self) -> None:
        """End it if it has not ended, and let go of its pipes."""
        if self.process.poll() is None:
            self.process.terminate()
            self.process.wait(timeout=5)
        for pipe in (self.process.stdin, self.process.stdout, self.process.stderr):
            if pipe is not None:
                pipe.close()


@pytest.fixture
def running(tmp_path: Path) -> Iterator[Running]:
    made = Running(tmp_path, "--state-every", "0.02")
    yield made
    made.close()


def master(running: Running, unit: int) -> minimalmodbus.Instrument:
    instrument = minimalmodbus.Instrument(str(running.links / "bus"), unit)
    instrument.serial.timeout = 0.5
    return instrument


def test_a_master_on_another_library_sets_switches_and_reads(running: Running) -> None:
    # minimalmodbus builds and checks its frames by its own reading of the specification.
    supply = master(running, 1)
    supply.write_registers(16, [1950, 2200])
    supply.write_register(18, 1, functioncode=6)
    assert supply.read_registers(16, 3) == [1950, 2200, 1]
    assert supply.read_registers(2, 2, functioncode=4) == [1, 0]  # on, current held
    until(lambda: supply.read_register(0, functioncode=4) == 1952, 10.0)  # its meter shows the mean of 100 ms
    with pytest.raises(minimalmodbus.IllegalRequestError):
        supply.read_register(900, functioncode=3)
    assert 195 <= master(running, 2).read_register(0, functioncode=4, signed=True) <= 215
    supply.write_register(18, 0, functioncode=6)
    until(lambda: supply.read_register(0, functioncode=4) == 0, 10.0)
    supply.serial.close()


def test_ready_names_the_ports_and_the_links_stand_by_then(running: Running) -> None:
    assert str((running.links / "bus").readlink()) == running.ready["links"]["bus"]
    assert {"wire_s", "process_s"} <= running.ready.keys()


def test_state_is_told_with_units_every_so_often(running: Running) -> None:
    first, second = running.next("state"), running.next("state")
    assert 0.01 <= second["wire_s"] - first["wire_s"] <= 0.5
    supply = second["supplies"]["rectifier"]
    assert supply.keys() == {
        "on", "current_a", "voltage_v", "mode", "charge_c", "thickness_um", "growth_um_m2_per_c",
    }  # fmt: skip
    assert second["tanks"]["acid"].keys() == {"bath_c"}


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_told_to_end_it_tells_the_end_removes_its_links_and_exits_with_0(running: Running, number: int) -> None:
    code, told = running.end(number)
    assert code == 0
    assert told[-1]["truth"] == "end"
    assert not list(running.links.iterdir())


def test_a_closed_standard_input_is_no_end_and_neither_is_none(tmp_path: Path) -> None:
    closed = Running(tmp_path / "closed", "--state-every", "0.02")
    assert closed.process.stdin is not None
    closed.process.stdin.close()
    none = Running(tmp_path / "none", "--state-every", "0.02", stdin=subprocess.DEVNULL)
    for running in (closed, none):
        running.next("state")
        running.next("state")
        running.process.terminate()
        assert running.process.wait(timeout=5) == 0
        running.close()


def test_faults_come_live_over_standard_input(running: Running) -> None:
    assert running.process.stdin is not None
    running.process.stdin.write('{"fault": {"what": "contact lost"}}\n')
    running.process.stdin.flush()
    assert running.next("fault")["begins"] is True
    running.process.stdin.write('not JSON\n{"clear": "contact lost"}\n')
    running.process.stdin.flush()
    assert running.next("fault")["begins"] is False


def test_with_nobody_left_to_read_the_truth_it_ends(running: Running) -> None:
    assert running.process.stdout is not None
    running.process.stdout.close()
    assert running.process.wait(timeout=5) == 0
    assert not list(running.links.iterdir())


def test_a_link_left_over_is_replaced_and_a_file_is_not(tmp_path: Path) -> None:
    links = tmp_path / "links"
    links.mkdir()
    (links / "bus").symlink_to("/nowhere/at/all")
    running = Running(tmp_path)
    assert os.path.exists(links / "bus")  # noqa: PTH110 - follows the link, as a program opening it would
    running.close()
    (links / "bus").write_text("a file of somebody's")
    done = subprocess.run(
        [sys.executable, "-m", "simulators", str(DEMO), "--links", str(links)],
        cwd=ROOT, capture_output=True, text=True, check=False, timeout=5,
    )  # fmt: skip
    assert done.returncode == 2
    assert "no symbolic link" in done.stderr
    assert (links / "bus").read_text() == "a file of somebody's"


def test_a_file_that_cannot_be_used_is_told_and_exits_with_2(tmp_path: Path) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text('version = 1\nname = "x"\nroom_f = 70\n')
    for place, named in ((bad, "room_f"), (tmp_path / "none.toml", "none.toml")):
        done = subprocess.run(
            [sys.executable, "-m", "simulators", str(place)],
            cwd=ROOT, capture_output=True, text=True, check=False, timeout=5,
        )  # fmt: skip
        assert done.returncode == 2
        assert named in done.stderr
