"""The virtual harness: the same service and drivers, simulators in the same loop behind real ptys, a virtual clock."""

from __future__ import annotations

import asyncio
import functools
from collections import Counter
from collections.abc import AsyncIterator, Callable, Coroutine, Iterable
from contextlib import asynccontextmanager
from typing import Any, ParamSpec, TypeVar

from simulators.faults import Fault
from simulators.line import Truth
from simulators.plan import LinePlan
from simulators.server import LineServer, LinkFolder
from supervisor.core.actions import Note
from supervisor.core.alarms import AlarmState
from supervisor.core.anodize import State
from supervisor.core.state import LineState
from supervisor.edges.client import ask
from supervisor.edges.control import Answer, socket_path
from supervisor.edges.requests import new_body
from supervisor.service.app import Service
from supervisor.service.clock import Clock
from supervisor.service.safe import Fate
from tests.harness.lines import Base, Files, base_of, faults_of, short_folder, write_files
from tests.harness.standing import Standing
from tests.harness.virtual_loop import run_virtual, virtual_loop

WALL_S = 1.79e9
"""What the wall clock shows when virtual time is 0, UTC seconds since 1970."""

LOOKS_EVERY_S = 0.02
"""Virtual wire time between two looks at a condition, s."""

_P = ParamSpec("_P")
_T = TypeVar("_T")


class InFlight:
    """Counts bytes at both ends of a line's ptys."""

    def __init__(self, server: LineServer) -> None:
        self._server = server
        self._near_sent = 0
        self._near_received = 0
        self._lost_there = 0
        self._lost_here = 0

    def trace(self, sending: bool, data: bytes) -> None:
        """Take note of what the supervisor's side wrote or read."""
        if sending:
            self._near_sent += len(data)
        else:
            self._near_received += len(data)

    def in_flight(self) -> bool:
        """Tell whether bytes were written that nobody has read yet."""
        return self._there() > 0 or self._back() > 0

    def give_up(self) -> None:
        """Count what is on its way as lost: a port that was closed or flushed swallows bytes."""
        self._lost_there += self._there()
        self._lost_here += self._back()

    def _there(self) -> int:
        far = self._server.bytes_received
        return self._near_sent - self._lost_there - far

    def _back(self) -> int:
        far = self._server.bytes_sent
        return far - self._lost_here - self._near_received


class VirtualLine(Standing):
    """A simulated line, and a supervisor for it that can be started and ended any number of times.

    Attributes:
        files: the line's folder. server: the simulators. truths: all they told.
        notes: all the supervisor told. service: the running supervisor or the last one.
    """

    def __init__(self, files: Files, plan: LinePlan, *, speed: float, seed: int, faults: Iterable[Fault]) -> None:
        loop = virtual_loop()
        self.files = files
        self.speed = speed
        self.clock = Clock(loop.time, lambda: WALL_S + loop.time(), speed)
        self.truths: list[Truth] = []
        self.notes: list[Note] = []
        self.server = LineServer(
            plan, now=loop.time, tell=self.truths.append, speed=speed, seed=seed, faults=faults,
        )  # fmt: skip
        self.simulated = self.server.line
        self._ptys = InFlight(self.server)
        loop.carriers.append(self._ptys)
        self._links = LinkFolder(files.links, self.server.places())
        self.server.folder = self._links
        files.set_hosts(self.server.places())
        self.service: Service
        self._stop = asyncio.Event()
        self._run: asyncio.Task[list[Fate]] | None = None

    # -- the supervisor

    async def start(self, *, watch_only: bool = False, proven: bool = True) -> None:
        """Start the supervisor and wait until it listens and, unless `proven` is false, every output is proven off."""
        self._stop = asyncio.Event()
        self.service = Service(
            self.files.load(), self.clock, watch_only=watch_only, tell=self.notes.append, link_trace=self._ptys.trace
        )
        self._run = asyncio.create_task(self.service.run(self._stop))
        await self.until(lambda: hasattr(self.service, "steps"), 60.0)
        await self.until(lambda: self.supply.output.proven_off or not proven, 600.0)

    async def stop(self) -> list[Fate]:
        """End the supervisor as SIGTERM does; return how it left every supply."""
        assert self._run is not None
        self._stop.set()
        run, self._run = self._run, None
        return await run

    async def crash(self) -> None:
        """End the supervisor by a cancel from outside, in the middle of whatever it does."""
        assert self._run is not None
        run, self._run = self._run, None
        run.cancel()
        await asyncio.wait({run})

    async def close(self) -> None:
        """End everything."""
        if self._run is not None:
            await self.stop()
        self.server.close()
        self._links.remove()
        virtual_loop().carriers.remove(self._ptys)

    @property
    def runs(self) -> bool:
        """Whether a supervisor runs."""
        return self._run is not None and not self._run.done()

    # -- people

    async def ask(self, what: str, **asked: str | bool | list[str]) -> Answer:
        """Make a request at the supervisor's socket."""
        return await ask(socket_path(self.service.setup.name), what, new_body(self.clock.now(), **asked))

    async def begin(self, target: str = "4 um", **asked: str | bool) -> str:
        """Start a load and return its operation's id."""
        answer = await self.ask("start", area="130 cm^2", target=target, **asked)
        assert answer["ok"], answer
        return str(answer["operation"])

    async def press(self, button: str, for_s: float = 1.0) -> None:
        """Hold a button of the simulated line down for this process time, s, and let it go."""
        self.strike("button pressed", contact=button, for_s=for_s)
        await self.pass_time(for_s)

    # -- what strikes it

    def strike(self, what: str, **where: object) -> None:
        """Let a fault begin now, its keys as in a script: `strike("contact opens", contact="acid-lid", for_s=20.0)`."""
        problem = self.server.order({"fault": {"what": what, **where}})
        assert problem == "", problem

    def mend(self, what: str) -> None:
        """Let a fault end now, wherever it struck."""
        problem = self.server.order({"clear": what})
        assert problem == "", problem

    # -- time

    def check(self) -> None:
        """Raise what the supervisor failed with, if it did."""
        if self._run is not None and self._run.done():
            self._run.result()

    async def until(self, holds: Callable[[], bool], within_s: float) -> None:
        """Let time pass until something holds; fail if it does not within this process time, s."""
        ends_s = self.clock.now() + within_s / self.speed
        while not holds():
            self.check()
            assert self.clock.now() < ends_s, f"not within {within_s:g} s; {self.story()}"
            await asyncio.sleep(LOOKS_EVERY_S)

    async def until_state(self, *states: State, within_s: float = 3600.0) -> None:
        """Let time pass until the operation stands in one of these states."""
        await self.until(lambda: self.stands in states, within_s)

    async def until_alarm(self, name: str, within_s: float) -> None:
        """Let time pass until an alarm acts, told for itself or as a consequence."""
        await self.until(lambda: name in self.state.alarms and self.state.alarms[name].active, within_s)

    async def pass_time(self, process_s: float) -> None:
        """Let this much process time pass, s."""
        await asyncio.sleep(process_s / self.speed)

    # -- what stands

    @property
    def state(self) -> LineState:
        """What the supervisor knows."""
        return self.service.steps.line.state

    def told_alarms(self) -> Counter[str]:
        """How often each alarm was told for itself: appeared, told again, or shown when its hiding ended."""
        told = (note for note in self.notes if note.kind == "alarm" and not note.data["under"])
        return Counter(note.subject for note in told if note.data["state"] == AlarmState.UNACKNOWLEDGED)

    def told_truths(self, kind: str) -> list[Truth]:
        """All that the simulators told of one kind, such as `output`, `switch` or `fault`, oldest first."""
        return [truth for truth in self.truths if truth["truth"] == kind]

    def story(self) -> str:
        """The last things the supervisor told, for a person who reads a failed test."""
        return " | ".join(note.text for note in self.notes[-6:])


@asynccontextmanager
async def virtual_line(
    *faults: dict[str, Any],
    speed: float | None = None,
    seed: int = 0,
    line: dict[str, object] | None = None,
    plan: Callable[[LinePlan], LinePlan] = lambda plan: plan,
    base: str | Base = "plain",
) -> AsyncIterator[VirtualLine]:
    """Simulate a line; no supervisor runs yet. `faults` as in a script, `line` and `base` as in `write_files`.

    `speed` is the base's own unless given.
    """
    speed = base_of(base).speed if speed is None else speed
    with short_folder() as folder:
        files = write_files(folder, line=line, base=base)
        planned = plan(files.read_plan())
        made = VirtualLine(files, planned, speed=speed, seed=seed, faults=faults_of(planned, *faults, speed=speed))
        try:
            yield made
        finally:
            await made.close()


def virtually(scenario: Callable[_P, Coroutine[Any, Any, _T]]) -> Callable[_P, _T]:
    """Make a test of a scenario that runs on a virtual clock."""

    @functools.wraps(scenario)
    def test(*args: _P.args, **kwargs: _P.kwargs) -> _T:
        return run_virtual(scenario(*args, **kwargs))

    return test
