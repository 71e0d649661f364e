"""Supervisor and simulators as processes: a whole operation, and off whatever state the supervisor is in."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator

import pytest

from supervisor.cli.run import HELD
from tests.harness.lines import SPEED, Files, short_folder, write_files
from tests.harness.wire import ampminder, service, simulators, until


@pytest.fixture
def files() -> Iterator[Files]:
    with short_folder() as folder:
        yield write_files(folder)


def test_a_load_is_held_restarted_and_stopped_and_ends_with_the_output_off(files: Files) -> None:
    with simulators(files, speed=SPEED) as simulated, service(files, speed=SPEED) as running:
        running.until_proven()
        running.begin("20 um")
        until(lambda: simulated.told("output")[-1]["on"], 2.0)
        assert running.ask("hold")["ok"]
        running.until("held", 5.0)
        assert simulated.told("output")[-1]["on"] is False
        assert running.ask("restart")["ok"]
        running.until("running", 5.0)
        assert simulated.told("output")[-1]["on"] is True
        assert running.ask("stop")["ok"]
        supply = running.until("stopped", 5.0)
        charge = supply["operation"]["charge_c"]
        truth = simulated.last_switch(on=False)
        assert charge["low"] <= truth["charge_c"] <= charge["high"]
        assert running.stop() == 0


def test_a_supervisor_told_to_end_in_mid_operation_ends_with_the_output_off(files: Files) -> None:
    with simulators(files, speed=SPEED) as simulated:
        with service(files, speed=SPEED) as running:
            running.until_proven()
            running.begin("20 um")
            until(lambda: simulated.told("output")[-1]["on"], 2.0)
            assert running.stop() == 0
        assert simulated.told("output")[-1]["on"] is False
        with service(files, speed=SPEED) as running:
            running.until("held", 5.0)


def test_off_works_with_no_supervisor_running(files: Files) -> None:
    with simulators(files) as simulated:
        done = ampminder("off", str(files.line))
        assert done.returncode == 0, done.stderr
        assert "off is proven" in done.stdout
        assert simulated.told("output")[-1]["on"] is False


def test_off_asks_a_running_supervisor_which_goes_on_running(files: Files) -> None:
    with simulators(files, speed=SPEED) as simulated, service(files, speed=SPEED) as running:
        running.until_proven()
        running.begin("20 um")
        until(lambda: simulated.told("output")[-1]["on"], 2.0)
        done = ampminder("off", str(files.line))
        assert done.returncode == 0, done.stderr
        assert simulated.told("output")[-1]["on"] is False
        assert running.until("stopped", 5.0)["off_proven"]
        assert running.process.poll() is None


def test_off_ends_a_supervisor_that_stands_still_and_sends_off_itself(files: Files) -> None:
    with simulators(files, speed=SPEED) as simulated, service(files, speed=SPEED) as running:
        running.until_proven()
        running.begin("20 um")
        until(lambda: simulated.told("output")[-1]["on"], 2.0)
        os.kill(running.process.pid, signal.SIGSTOP)
        done = ampminder("off", str(files.line))
        assert done.returncode == 0, done.stderr
        assert "it was ended and off was sent from here" in done.stdout
        assert simulated.told("output")[-1]["on"] is False
        assert running.process.wait(2.0) < 0


def test_without_any_device_off_says_that_it_is_not_proven(files: Files) -> None:
    with simulators(files) as simulated:
        simulated.order({"fault": {"what": "device silent", "device": "rectifier"}})
        until(lambda: simulated.told("fault"), 2.0)
        done = ampminder("off", str(files.line))
        assert done.returncode == 1
        assert "OFF IS NOT PROVEN" in done.stderr
        assert "Cut the mains of main by hand" in done.stderr


def test_a_second_supervisor_of_the_same_line_is_refused_with_the_holders_name(files: Files) -> None:
    with simulators(files), service(files) as running:
        running.until_proven()
        done = ampminder("run", str(files.line))
        assert done.returncode == HELD
        assert f"process {running.process.pid}" in done.stderr
