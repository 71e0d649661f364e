"""Processes under bad conditions: what becomes of the output when what stands around the supervisor fails."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest

from supervisor.service.clock import boot_clock_s
from tests.harness.journals import recorded
from tests.harness.lines import ROOT, SPEED, Files, short_folder, write_files
from tests.harness.wire import Running, Simulators, ampminder, service, simulators, until


@pytest.fixture
def files() -> Iterator[Files]:
    with short_folder() as folder:
        yield write_files(folder)


def fill(pid: int) -> None:
    """Fill the pipe that is the standard error of a process, so that its next line waits for ever."""
    descriptor = os.open(f"/proc/{pid}/fd/2", os.O_WRONLY | os.O_NONBLOCK)
    with suppress(BlockingIOError):
        while True:
            os.write(descriptor, b"x")
    os.close(descriptor)


def test_a_terminal_that_stands_still_does_not_stop_the_supervision(files: Files) -> None:
    command = [sys.executable, "-m", "supervisor.cli.scaled", str(files.line), f"{SPEED}"]
    with (
        simulators(files, speed=SPEED) as simulated,
        subprocess.Popen(command, stderr=subprocess.PIPE, cwd=ROOT) as process,
    ):
        try:
            running = Running(process, "demo", 0.0)  # type: ignore[arg-type]
            running.until_proven()
            fill(process.pid)
            running.begin("0.3 um")
            until(lambda: simulated.told("output")[-1]["on"], 5.0)
            running.until("complete", 10.0)
            assert simulated.told("output")[-1]["on"] is False
            process.send_signal(signal.SIGTERM)
            process.wait(8.0)
        finally:
            process.kill()


def load_running(simulated: Simulators, running: Running) -> None:
    running.until_proven()
    running.begin("20 um")
    until(lambda: simulated.told("output")[-1]["on"], 2.0)


def test_off_works_though_the_line_file_was_spoilt_since_the_supervisor_was_started(files: Files) -> None:
    with simulators(files, speed=SPEED) as simulated, service(files, speed=SPEED) as running:
        load_running(simulated, running)
        files.line.write_text("half an edi")
        done = ampminder("off", str(files.line))
        assert simulated.told("output")[-1]["on"] is False
        assert done.returncode == 0, done.stderr
        assert "has mistakes" in done.stdout


def test_off_with_a_spoilt_line_file_and_nobody_to_ask_says_what_to_do_by_hand(files: Files) -> None:
    files.line.write_text("half an edi")
    done = ampminder("off", str(files.line))
    assert done.returncode == 2
    assert "Cut the mains" in done.stderr
    assert "not TOML" in done.stderr


def test_off_works_without_a_folder_for_locks(files: Files) -> None:
    with simulators(files) as simulated:
        files.folder.chmod(0o777)
        done = ampminder("off", str(files.line))
        files.folder.chmod(0o700)
        assert done.returncode == 0, done.stderr
        assert "Anyone may write" in done.stdout
        assert simulated.told("output")[-1]["on"] is False


def test_off_gives_a_supervisor_that_is_only_starting_the_time_to_answer(files: Files) -> None:
    with simulators(files) as simulated, service(files) as running:
        until(lambda: list(files.folder.glob("line-*.lock")), 5.0, 0.001)
        done = ampminder("off", str(files.line))
        assert done.returncode == 0, done.stderr
        assert "was ended" not in done.stdout
        assert running.process.poll() is None
        assert simulated.told("output")[-1]["on"] is False


def test_two_offs_at_once_both_prove_it(files: Files) -> None:
    with simulators(files) as simulated:
        command = [str(Path(sys.executable).with_name("ampminder")), "off", str(files.line)]
        both = [subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=ROOT) for _ in range(2)]
        told = [process.communicate(timeout=20)[0] for process in both]
        assert [process.returncode for process in both] == [0, 0]
        assert all("off is proven" in text for text in told)
        assert simulated.told("output")[-1]["on"] is False


def test_the_proof_of_another_line_of_the_same_name_is_none_for_this_one(files: Files) -> None:
    with short_folder() as folder:
        other = write_files(folder)
        with simulators(files) as simulated, simulators(other) as others, service(files) as running:
            running.until_proven()
            os.environ["AMPMINDER_RUNTIME"] = str(files.folder)
            seen = len(simulated.told("output"))
            done = ampminder("off", str(other.line))
            assert done.returncode == 0, done.stderr
            assert others.told("output"), simulated.told("output")[seen:]
            assert running.process.poll() is None


def test_off_reaches_the_supervisor_of_a_file_that_names_another_line_and_port_since(files: Files) -> None:
    with simulators(files, speed=SPEED) as simulated, service(files, speed=SPEED) as running:
        load_running(simulated, running)
        text = files.line.read_text()
        files.line.write_text(text.replace('"demo"', '"renamed"').replace('"links/bus"', '"links/other"'))
        done = ampminder("off", str(files.line))
        assert simulated.told("output")[-1]["on"] is False
        assert done.returncode == 1  # at the port it names now nothing is proven
        assert "links/other" in done.stderr
        assert running.process.poll() is None


def test_a_request_reaches_the_supervisor_whose_line_file_was_spoilt_since(files: Files) -> None:
    with simulators(files, speed=SPEED) as simulated, service(files, speed=SPEED) as running:
        load_running(simulated, running)
        files.line.write_text("half an edi")
        done = ampminder("anodize", "stop", "--line", str(files.line))
        assert done.returncode == 0, done.stderr
        assert running.until("stopped", 5.0)["off_proven"]


def steps_after(files: Files, wire_s: float) -> list[dict[str, Any]]:
    """Every event of the run from a moment on, in the order in which the core took them."""
    events = [json.loads(event) for event, _ in recorded(files.folder / "records" / "demo.journal")]
    return [event for event in events if event["at"]["wire_s"] >= wire_s]


def test_a_supervisor_that_was_stopped_under_current_sends_off_first_and_holds_the_load(files: Files) -> None:
    with simulators(files, speed=SPEED) as simulated, service(files, speed=SPEED) as running:
        load_running(simulated, running)
        running.process.send_signal(signal.SIGSTOP)
        time.sleep(3.0)
        went_on_s = boot_clock_s()
        running.process.send_signal(signal.SIGCONT)
        held = running.until("held", 5.0)
        assert simulated.told("output")[-1]["on"] is False
        assert held["off_proven"]
        assert "main/loop-late" in {alarm["name"] for alarm in running.status()["alarms"]}
        running.stop()
        after = steps_after(files, went_on_s)
        assert after[0]["event"] == "delayed"
        assert 2.5 <= after[0]["by_wire_s"] <= 3.5
        sent = [event for event in after if event.get("t_sent_s", 0.0) >= went_on_s * SPEED]
        first = min(sent, key=lambda event: event["t_sent_s"])
        assert (first["event"], first["command"], first["ok"]) == ("written", "off", True)
