"""Processes under bad conditions: what becomes of the output when what stands around the supervisor fails."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import suppress

import pytest

from tests.harness.lines import ROOT, SPEED, Files, short_folder, write_files
from tests.harness.wire import Running, simulators, until


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
