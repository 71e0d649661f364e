"""The wire harness: simulators and service as processes of their own, joined by ptys, in real time."""

from __future__ import annotations

import asyncio
import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

from supervisor.edges.client import ask
from supervisor.edges.control import Answer, ControlError, socket_path
from supervisor.edges.requests import new_body
from supervisor.service.clock import boot_clock_s
from tests.harness.lines import ROOT, Files

LOOKS_EVERY_S = 0.02
ENDS_WITHIN_S = 10.0

_T = TypeVar("_T")


class Simulators:
    """A running `python -m simulators`; `truths` are all it told so far."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self.process = process
        self.truths: list[dict[str, Any]] = []
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.truths.append(json.loads(line))

    def told(self, truth: str) -> list[dict[str, Any]]:
        """All truths of one kind, oldest first."""
        return [entry for entry in list(self.truths) if entry["truth"] == truth]

    def order(self, message: dict[str, Any]) -> None:
        """Send one message over the live channel: a fault to begin or to clear."""
        assert self.process.stdin is not None
        self.process.stdin.write(json.dumps(message) + "\n")
        self.process.stdin.flush()

    def last_switch(self, *, on: bool) -> dict[str, Any]:
        """The last truth about the output that was switched on, or off, by a change."""
        return next(t for t in reversed(self.told("output")) if t["on"] is on and t["changed"])


class Running:
    """A running `ampminder run`, or the same with process time scaled."""

    def __init__(self, process: subprocess.Popen[str], line: str, began_s: float) -> None:
        self.process = process
        self.began_s = began_s
        self._line = line

    def ask(self, what: str, **asked: str) -> Answer:
        """Make one request at its socket."""
        body = {} if what == "status" else new_body(boot_clock_s(), **asked)
        return asyncio.run(ask(socket_path(self._line), what, body))

    def status(self) -> Answer:
        """How the line stands."""
        return self.ask("status")

    def supply(self) -> dict[str, Any]:
        """How the one supply stands; empty while nobody listens yet."""
        try:
            found: dict[str, Any] = self.status()["supplies"]["main"]
        except ControlError:
            return {}
        return found

    def begin(self, target: str) -> str:
        """Start a load and return its operation's id."""
        answer = self.ask("start", area="130 cm^2", target=target)
        assert answer["ok"], answer
        return str(answer["operation"])

    def until(self, state: str, within_s: float) -> dict[str, Any]:
        """Wait until the one supply stands so; return how it stands."""
        return until(lambda: (supply := self.supply()) and supply["state"] == state and supply, within_s)

    def until_proven(self, within_s: float = 5.0) -> None:
        """Wait until off is proven."""
        until(lambda: self.supply().get("off_proven", False), within_s)

    def stop(self) -> int:
        """End it as an operator does; return its exit code."""
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(ENDS_WITHIN_S)

    def resident_mb(self) -> float:
        """Memory it holds now, MB."""
        status = Path(f"/proc/{self.process.pid}/status").read_text(encoding="ascii")
        kilobytes = next(line.split()[1] for line in status.splitlines() if line.startswith("VmRSS"))
        return int(kilobytes) * 1024 / 1e6


def until(holds: Callable[[], _T], within_s: float, every_s: float = LOOKS_EVERY_S) -> _T:
    """Wait until something is true; return it. Fails after this time, s."""
    ends_s = time.monotonic() + within_s
    while not (found := holds()):
        assert time.monotonic() < ends_s, f"not within {within_s:g} s"
        time.sleep(every_s)
    return found


@contextmanager
def simulators(files: Files, *options: str, speed: float = 1.0, seed: int = 0) -> Iterator[Simulators]:
    """Run the simulators of a line until the block ends; its ports stand when the block begins."""
    command = [sys.executable, "-m", "simulators", str(files.plan), "--links", str(files.links)]
    with started([*command, "--speed", f"{speed}", "--seed", f"{seed}", *options]) as process:
        running = Simulators(process)
        until(lambda: running.told("ready"), ENDS_WITHIN_S)
        yield running


@contextmanager
def service(files: Files, *options: str, line: str = "demo", speed: float | None = None) -> Iterator[Running]:
    """Run `ampminder run` until the block ends; with a speed, through the private entry that scales process time."""
    began_s = boot_clock_s()
    command = [str(Path(sys.executable).with_name("ampminder")), "run", *options, str(files.line)]
    if speed is not None:
        command = [sys.executable, "-m", "supervisor.cli.scaled", str(files.line), f"{speed}"]
    with started(command, log=files.folder / "service.log") as process:
        yield Running(process, line, began_s)


def ampminder(*arguments: str) -> subprocess.CompletedProcess[str]:
    """Run one command of the program to its end."""
    command = [str(Path(sys.executable).with_name("ampminder")), *arguments]
    return subprocess.run(command, capture_output=True, text=True, timeout=30.0, check=False, cwd=ROOT)


@contextmanager
def started(command: list[str], log: Path | None = None) -> Iterator[subprocess.Popen[str]]:
    """Run one process, ended by its id when the block ends: asked first, then made to."""
    with open(log or os.devnull, "a", encoding="utf-8") as errors:  # noqa: PTH123 - os.devnull is no Path
        process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=errors, text=True, cwd=ROOT,
            start_new_session=True,
        )  # fmt: skip
        try:
            yield process
        finally:
            if process.poll() is None:
                process.send_signal(signal.SIGCONT)
                process.terminate()
                try:
                    process.wait(ENDS_WITHIN_S)
                except subprocess.TimeoutExpired:
                    process.kill()
            process.wait()
            for stream in (process.stdin, process.stdout):
                if stream is not None:
                    stream.close()
