"""`run`: however the supervisor ends, how every supply was left is the last thing told."""

from __future__ import annotations

import asyncio
import os
import signal
from pathlib import Path

import pytest

from supervisor.cli import run as running
from supervisor.cli.run import HELD, run
from supervisor.records.schema import JournalError
from supervisor.service.app import Service
from supervisor.service.holder import hold
from supervisor.service.safe import Fate
from tests.harness.lines import write_files


@pytest.mark.parametrize(
    "problem", [JournalError("The journal is damaged."), ExceptionGroup("planted", [ValueError()])]
)
def test_a_supervisor_that_failed_still_tells_what_to_do_by_hand_and_tells_it_last(
    problem: Exception, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    async def failing(service: Service, _stop: asyncio.Event) -> list[Fate]:
        service.fates = [Fate("main", proven=False, problem="nothing came back")]
        raise problem

    monkeypatch.setattr(Service, "run", failing)
    assert run(write_files(tmp_path).line, watch_only=False) == 1
    told = capfd.readouterr().err.rstrip()
    assert told.endswith("Cut the mains of main by hand. Keep hands out of the tank.")
    assert str(problem) in told


def test_an_end_that_was_asked_for_with_off_proven_is_a_success(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    async def ending(service: Service, _stop: asyncio.Event) -> list[Fate]:
        service.fates = [Fate("main", proven=True)]
        return service.fates

    monkeypatch.setattr(Service, "run", ending)
    assert run(write_files(tmp_path).line, watch_only=False) == 0
    assert capfd.readouterr().out == "main: off is proven.\n"


def test_told_twice_to_end_it_leaves_what_it_waits_for_and_still_ends_in_order(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    async def hanging(service: Service, stop: asyncio.Event) -> list[Fate]:
        os.kill(os.getpid(), signal.SIGTERM)
        await stop.wait()
        os.kill(os.getpid(), signal.SIGHUP)  # at once: the same telling
        await asyncio.sleep(0.06)
        os.kill(os.getpid(), signal.SIGINT)
        try:
            async with asyncio.timeout(5.0):
                await asyncio.Event().wait()
        finally:
            service.fates = [Fate("main", proven=True)]
        return service.fates

    monkeypatch.setattr(Service, "run", hanging)
    monkeypatch.setattr(running, "AGAIN_S", 0.05)
    assert run(write_files(tmp_path).line, watch_only=False) == 1
    told = capfd.readouterr()
    assert told.out == "main: off is proven.\n"
    assert "second time" in told.err


def test_one_that_is_refused_because_another_has_the_line_says_so_by_its_exit_code(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    files = write_files(tmp_path)
    with hold(["line-demo"], line="demo", line_file=files.line, wall_s=0.0):
        assert run(files.line, watch_only=True) == HELD
    told = capfd.readouterr()
    assert f"process {os.getpid()}" in told.err
    assert told.out == ""
