"""What the demo runs on: a folder of its own, simulated line, supervisor and broker as processes, and their end."""

from __future__ import annotations

import asyncio
import json
import os
import re
import shutil
import sys
import tempfile
from asyncio.subprocess import DEVNULL, PIPE, Process
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Self

from supervisor.demo.broker import DemoBroker, bring_broker
from supervisor.edges.client import ask
from supervisor.edges.control import ControlError

CHECKOUT = Path(__file__).parents[2]
"""Where the demo finds the simulators and the line file: only a checkout has them, an installed package has not."""

LINE = "demo"
READY_S = 15.0
"""Wire time in which a process must have begun its work; a slow machine needs two or three seconds."""

TERM_S = 10.0
"""Wire time a process is given to end by itself; the supervisor needs up to five to prove off the hard way, and may
take two for a broker and two for the journal after that."""

LONGEST_TRUTH = 1024 * 1024


class DemoError(Exception):
    """The demo cannot go on; the text says why and what to do."""


def simulated_line() -> Path:
    """Return the simulators' own file of the demo's line. Raises DemoError outside a checkout."""
    path = CHECKOUT / "simulators" / "lines" / f"{LINE}.toml"
    if not path.is_file() or not (CHECKOUT / "config" / "demo-line.toml").is_file():
        raise DemoError(
            "The demo needs the simulators, and they are not part of the installed package."
            " Run it from a checkout of the source: make demo"
        )
    return path


def script_of(fault: str) -> Path:
    """Return the simulators' script of a fault; it need not exist."""
    return CHECKOUT / "simulators" / "scripts" / f"{fault}.toml"


def run_folder(now: datetime | None = None) -> Path:
    """Make a fresh folder for one demo: under the user's state folder, or where that cannot be, a temporary one."""
    state = Path(os.environ.get("XDG_STATE_HOME") or Path.home() / ".local" / "state")
    name = f"{now or datetime.now(UTC):%Y-%m-%d-%H%M%S}-"
    try:
        parent = state / "ampminder" / "demo"
        parent.mkdir(parents=True, exist_ok=True)
        return Path(tempfile.mkdtemp(prefix=name, dir=parent))
    except OSError:
        return Path(tempfile.mkdtemp(prefix=f"ampminder-demo-{name}"))


class Stage:
    """The folder and the processes. Whatever happens, all are ended when it is left, the supervisor first.

    Attributes:
        folder: keeps line file, journal, the simulators' truth and both logs; it stays.
        broker: the demo's own; None where there is none. publishing: what to tell a person of it.
        truths: what the simulators told, but for their running state. newest: the newest of all, with that state.
    """

    def __init__(self, speed: float, fault: str | None) -> None:
        self.folder = run_folder()
        self.broker: DemoBroker | None = None
        self.publishing = ""
        self.truths: list[dict[str, Any]] = []
        self.newest: dict[str, Any] = {}
        self._speed = speed
        self._fault = fault
        # Not in the run folder: the path of a socket may have 107 characters.
        self._runtime = Path(tempfile.mkdtemp(prefix="ampminder-"))
        self._simulators: Process | None = None
        self._supervisor: Process | None = None
        self._reading: asyncio.Task[None] | None = None
        self._ready = asyncio.Event()

    @property
    def socket(self) -> Path:
        """Where the demo's supervisor listens."""
        return self._runtime / f"{LINE}.sock"

    @property
    def journal(self) -> Path:
        """The record of the supervisor's every step."""
        return self.folder / "records" / f"{LINE}.journal"

    async def __aenter__(self) -> Self:
        simulated_line()
        shutil.copyfile(CHECKOUT / "config" / "demo-line.toml", self.folder / "demo-line.toml")
        shutil.copytree(CHECKOUT / "config" / "profiles", self.folder / "profiles")
        return self

    async def __aexit__(self, *_: object) -> None:
        """End both; a second Ctrl-C cannot leave one behind."""
        ending = asyncio.create_task(self.end(), name="end of the demo")
        try:
            while not ending.done():
                with suppress(asyncio.CancelledError):
                    await asyncio.shield(ending)
            ending.result()
        finally:
            shutil.rmtree(self._runtime, ignore_errors=True)

    async def start_simulators(self) -> None:
        """Start the simulated line and wait until its ports are there. Raises DemoError."""
        script = script_of(self._fault) if self._fault else None
        faults = ["--faults", str(script)] if script and script.is_file() else []
        links = str(self.folder / "links")
        self._simulators = await self._start(
            [
                "simulators", str(simulated_line()), "--links", links, "--speed", f"{self._speed:g}",
                "--state-every", "0.25", *faults,
            ],
            "simulators.log", stdout=PIPE,
        )  # fmt: skip
        self._reading = asyncio.create_task(self._read_truth(), name="truth")
        await self._until("simulators", self._ready.wait())
        self._name_hosts()

    def _name_hosts(self) -> None:
        """Write into the line file at which ports the simulated hosts listen: the system chose them."""
        ready = next(truth for truth in self.truths if truth["truth"] == "ready")
        path = self.folder / "demo-line.toml"
        text = path.read_text(encoding="utf-8")
        for name, place in ready["links"].items():
            if not place.startswith("/"):
                text = re.sub(rf'(\[links\.{name}\][^\[]*?\nhost = )"[^"]*"', rf'\g<1>"{place}"', text)
        path.write_text(text, encoding="utf-8")

    async def start_broker(self) -> None:
        """Start a broker where the line file names none, and name it there; what came of it is in `publishing`."""
        self.broker, self.publishing = await bring_broker(self.folder / "demo-line.toml", self.folder / "broker.log")

    async def start_supervisor(self) -> None:
        """Start the supervisor and wait until it answers with off proven and every temperature. Raises DemoError."""
        arguments = ["supervisor.cli.scaled", str(self.folder / "demo-line.toml"), f"{self._speed:g}"]
        self._supervisor = await self._start(arguments, "supervisor.log", stdout=DEVNULL)
        await self._until("supervisor", self._answers())

    async def kill_supervisor(self) -> None:
        """End it as a power cut or a fault of memory would: it cannot do anything about it."""
        assert self._supervisor is not None
        self._supervisor.kill()
        await self._supervisor.wait()

    async def end(self) -> int | None:
        """End the supervisor, then the others; return how the supervisor ended, None if it never began."""
        supervisor = await _end(self._supervisor)
        await _end(self._simulators)
        if self.broker is not None:
            await self.broker.kill()
        if self._reading is not None:
            await self._reading
        return supervisor

    async def _start(self, arguments: list[str], log: str, stdout: int) -> Process:
        environment = {**os.environ, "AMPMINDER_RUNTIME": str(self._runtime), "PYTHONUNBUFFERED": "1"}
        with (self.folder / log).open("ab") as file:
            return await asyncio.create_subprocess_exec(
                sys.executable, "-m", *arguments, cwd=CHECKOUT, env=environment, stdin=DEVNULL, stdout=stdout,
                stderr=file, limit=LONGEST_TRUTH,
                process_group=0,  # Ctrl-C reaches the demo alone, so that off can be proven before the line goes
            )  # fmt: skip

    async def _read_truth(self) -> None:
        assert self._simulators is not None
        assert self._simulators.stdout is not None
        with (self.folder / "truth.jsonl").open("wb") as file:
            async for line in self._simulators.stdout:
                file.write(line)
                truth = json.loads(line)
                if "supplies" in truth:
                    self.newest = truth
                if truth["truth"] != "state":
                    self.truths.append(truth)
                self._ready.set()

    async def _until(self, name: str, waiting: Any) -> None:
        """Wait for a process to be ready, but not for one that has ended."""
        process = self._supervisor if name == "supervisor" else self._simulators
        assert process is not None
        ready, ended = asyncio.ensure_future(waiting), asyncio.ensure_future(process.wait())
        done, left = await asyncio.wait({ready, ended}, timeout=READY_S, return_when=asyncio.FIRST_COMPLETED)
        for task in left:
            task.cancel()
        if ready not in done:
            what = "ended at once" if ended in done else f"did not get ready within {READY_S:g} s"
            raise DemoError(f"The demo's {name} {what}.{self._last_words(name)}")
        ready.result()

    def _last_words(self, name: str) -> str:
        text = (self.folder / f"{name}.log").read_text(encoding="utf-8", errors="replace").strip()
        return f" Its last words: {text.splitlines()[-1]}" if text else ""

    async def _answers(self) -> None:
        while True:
            with suppress(ControlError):
                status = await ask(self.socket, "status", {}, 2.0)
                if _is_ready(status):
                    return
            await asyncio.sleep(0.05)


def _is_ready(status: dict[str, Any]) -> bool:
    proven = all(supply["off_proven"] for supply in status["supplies"].values())
    read = [*status["tanks"].values(), *status["contacts"].values()]
    beating = all(beat["reading"] == "good" for beat in status["heartbeats"].values())
    return proven and beating and all(one["reading"] != "none yet" for one in read)


async def _end(process: Process | None) -> int | None:
    """End one process by its id: politely, then not."""
    if process is None:
        return None
    with suppress(ProcessLookupError):
        process.terminate()
    try:
        async with asyncio.timeout(TERM_S):
            return await process.wait()
    except TimeoutError:
        with suppress(ProcessLookupError):
            process.kill()
        return await process.wait()
