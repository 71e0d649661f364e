"""The log: nothing that reads it, or does not, holds up the supervisor (R11)."""

from __future__ import annotations

import json
import logging
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import suppress

import pytest

from supervisor.cli.log import MOST_WAITING, Aside

FINISH_S = 0.05


@pytest.fixture
def pipe() -> Iterator[tuple[int, int]]:
    ends = os.pipe()
    yield ends
    for end in ends:
        os.close(end)


def record(text: str) -> logging.LogRecord:
    return logging.LogRecord("test", logging.INFO, "", 0, text, (), None)


def test_every_line_is_written_in_order(pipe: tuple[int, int]) -> None:
    log = Aside(pipe[1])
    for number in range(5):
        log.handle(record(f"line {number}"))
    log.finish(5.0)
    assert os.read(pipe[0], 4096).decode().splitlines() == [f"line {number}" for number in range(5)]


def test_a_reader_that_stands_still_holds_nothing_up_and_fills_no_memory(pipe: tuple[int, int]) -> None:
    log = Aside(pipe[1])
    began_s = time.monotonic()
    for _ in range(3 * MOST_WAITING):
        log.handle(record("x" * 1000))
    log.finish(FINISH_S)
    assert time.monotonic() - began_s < 1.0
    os.set_blocking(pipe[0], False)
    while log._thread.is_alive():  # let it go on before the pipe is closed
        with suppress(BlockingIOError):
            os.read(pipe[0], 1 << 20)
        log.finish(0.001)


def test_a_reader_that_has_gone_is_no_failure() -> None:
    there, here = os.pipe()
    os.close(there)
    log = Aside(here)
    log.handle(record("one"))
    log.handle(record("two"))
    log.finish(5.0)
    assert not log._thread.is_alive()
    os.close(here)


def test_lines_for_programs_are_json_and_carry_the_trace_of_a_failure() -> None:
    program = (
        "import logging; from supervisor.cli.log import set_up_log; log = set_up_log()\n"
        "try: 1 / 0\n"
        "except ZeroDivisionError: logging.getLogger('a').critical('failed %s', 'so', exc_info=True)\n"
        "log.finish(5.0)"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=30, check=True)
    line = json.loads(done.stderr)
    assert (line["text"], line["level"], line["version"]) == ("failed so", "critical", 1)
    assert "ZeroDivisionError" in line["trace"]
