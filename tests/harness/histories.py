"""Histories of the line of acid and seal: what people do and what happens to it, as data, and how one is played.

The whole service with its drivers runs on the virtual clock against the simulated devices, under a `Watch`. An act is a
frozen value whose repr is what a person reads of a history that broke a rule.
"""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, replace
from typing import Any, Protocol

from simulators.faults import KINDS
from simulators.plan import LinePlan
from supervisor.core.possible import possible_alarms
from supervisor.edges.client import ask
from supervisor.edges.control import ControlError, socket_path
from supervisor.edges.requests import new_body
from tests.harness.virtual import VirtualLine, virtual_line
from tests.harness.virtual_loop import run_virtual, virtual_loop
from tests.harness.watch import Watch

AIR_S = 6.0
LINE: dict[str, object] = {
    "ventilation.before": "5 s",
    "tanks.acid.believe.stirred": "5 s",
    "anodize.ramp": "8 s",
}
"""Waits that only cost time are short; everything else is as the example has it."""

PACES: dict[str, dict[str, object]] = {
    "as the file has it": {},
    "slow": {
        "devices.rectifier.period": "1 s",
        "devices.rectifier.periods": None,
        "devices.thermometer.period": "4 s",
        "devices.relays.period": "1 s",
    },
}
"""How often devices are read: slow, so that many minutes cost no more than a few do otherwise."""

TAKES = ("hold", "stop", "abort", "off", "rest")
GIVES = ("start", "restart", "heat")
"""Requests that take energy away, and that give some."""

SAID = {
    "start": {"area": "600 cm^2", "target": "1 um"},
    "heat": {"tank": "seal"},
    "rest": {"tank": "seal"},
    "filled": {"tank": "seal"},
}
"""What requests must say."""

LOOKS_EVERY_S = 1.0
MENDED_S = 3.0
SETTLES_S = 20.0
"""In which everything that was mended is heard again, and off is proven."""


class BrokenHistoryError(AssertionError):
    """A history broke a rule, or what is true was not as it must be."""


class History:
    """One history as it is played: the line, and what was found."""

    def __init__(self, line: VirtualLine, watch: Watch, longest_s: float) -> None:
        self.line = line
        self.watch = watch
        self._ends_s = line.clock.now() + longest_s

    async def go_on(self, seconds: float) -> None:
        """Let time pass, s, as far as this history has any left."""
        until_s = min(self.line.clock.now() + seconds, self._ends_s)
        while (left_s := until_s - self.line.clock.now()) > 0:
            await self.line.pass_time(min(left_s, LOOKS_EVERY_S))
            self.look()

    def look(self) -> None:
        """Raise what was found, or what the service failed with."""
        self.watch.looks()
        if self.watch.found:
            raise BrokenHistoryError(self.watch.found[0])
        self.line.check()

    async def ask(self, what: str, **said: str) -> bool:
        """Make a request, if there is anybody to ask; return whether it was done."""
        return await self.send(what, new_body(self.line.clock.now(), **said))

    async def send(self, what: str, body: dict[str, Any]) -> bool:
        """Send a request as it is."""
        if not self.line.runs:
            return False
        try:
            answer = await ask(socket_path(self.line.service.setup.name), what, body)
        except ControlError:
            self.look()
            return False
        self.look()
        return bool(answer["ok"])

    def alarm(self, which: int) -> str:
        """Name an alarm: of those that are not normal, or of all there can be where all are."""
        setup = self.line.service.setup
        names = sorted(self.line.alarms) or sorted(possible_alarms(setup))
        return names[which % len(names)]

    def mend(self) -> None:
        """Let every fault end."""
        for what in KINDS:
            self.line.mend(what)


class Act(Protocol):
    """What a person does, or what happens."""

    async def play(self, history: History) -> None:
        """Do it."""


@dataclass(frozen=True)
class Passes:
    """Time passes."""

    seconds: float

    async def play(self, history: History) -> None:
        """Do it."""
        await history.go_on(self.seconds)


@dataclass(frozen=True)
class Asks:
    """A person asks for something, or something older than it may be comes in."""

    what: str
    said: tuple[tuple[str, str], ...] = ()
    age_s: float = 0.0

    async def play(self, history: History) -> None:
        """Do it."""
        await history.send(self.what, new_body(history.line.clock.now() - self.age_s, **dict(self.said)))


def asks(what: str, age_s: float = 0.0) -> Asks:
    """Return a request with what it must say."""
    return Asks(what, tuple(SAID.get(what, {}).items()), age_s)


@dataclass(frozen=True)
class AsksAtOnce:
    """Two requests of one moment that may contradict each other; each is sent twice."""

    first: str
    second: str

    async def play(self, history: History) -> None:
        """Do it."""
        now_s = history.line.clock.now()
        bodies = [(what, new_body(now_s, **SAID.get(what, {}))) for what in (self.first, self.second)]
        await asyncio.gather(*(history.send(what, body) for what, body in bodies + bodies))


@dataclass(frozen=True)
class AsksOfAlarm:
    """A person asks something of one alarm."""

    what: str
    which: int
    said: tuple[tuple[str, str], ...] = ()

    async def play(self, history: History) -> None:
        """Do it."""
        if history.line.runs:
            await history.ask(self.what, alarm=history.alarm(self.which), **dict(self.said))


@dataclass(frozen=True)
class Anodizes:
    """A person mends everything or not, does all there is to do for a load under current, and looks on for a while."""

    target: str
    mends: bool
    then_s: float

    async def play(self, history: History) -> None:
        """Do it."""
        if self.mends:
            history.mend()
            await history.go_on(MENDED_S)
        for _ in range(2):
            for name in sorted(history.line.alarms) if history.line.runs else ():
                await history.ask("alarm acknowledge", alarm=name)
                await history.ask("alarm reset", alarm=name)
            await history.ask("reset")
            said = {**SAID["start"], "target": self.target}
            if await history.ask("restart") or await history.ask("start", **said):
                return await history.go_on(self.then_s)
            await history.go_on(AIR_S)
        return None


@dataclass(frozen=True)
class Heats:
    """A person moves the seal's float, has the seal heated, and looks on for a while."""

    then_s: float

    async def play(self, history: History) -> None:
        """Do it."""
        history.line.strike("contact opens", contact="seal-level", for_s=2.5)
        await history.go_on(6.0)
        await history.ask("alarm reset", alarm="seal-level/level-low")
        await history.ask("heat", tank="seal")
        await history.go_on(self.then_s)


@dataclass(frozen=True)
class Presses:
    """A hand on a button."""

    button: str
    for_s: float

    async def play(self, history: History) -> None:
        """Do it."""
        history.line.strike("button pressed", contact=self.button, for_s=self.for_s)


@dataclass(frozen=True)
class Strikes:
    """A fault begins, and ends by itself."""

    what: str
    where: tuple[tuple[str, str], ...]
    for_s: float
    amounts: tuple[tuple[str, float], ...] = ()

    async def play(self, history: History) -> None:
        """Do it."""
        history.line.strike(self.what, for_s=self.for_s, **dict(self.where), **dict(self.amounts))


@dataclass(frozen=True)
class Mends:
    """Every fault ends."""

    async def play(self, history: History) -> None:
        """Do it."""
        history.mend()


@dataclass(frozen=True)
class Ends:
    """The supervisor ends in good order, or by a cancel in the middle of whatever it does, and is started again."""

    crash: bool
    away_s: float

    async def play(self, history: History) -> None:
        """Do it."""
        if history.line.runs:
            await (history.line.crash() if self.crash else history.line.stop())
        await history.go_on(self.away_s)
        await history.line.start(proven=False)


@dataclass(frozen=True)
class StandsStill:
    """The supervisor's computer stands still."""

    for_s: float

    async def play(self, history: History) -> None:
        """Do it."""
        virtual_loop().jump(self.for_s)
        history.watch.truths.stood_still(self.for_s)


@dataclass(frozen=True)
class Script:
    """A whole history.

    Attributes:
        pace: a key of PACES. after_dip: what the supply does then. seed: of all chance at the simulators.
        longest_s: process time after which its acts follow each other at once, s.
    """

    pace: str
    after_dip: str
    seed: int
    longest_s: float
    acts: tuple[Act, ...]


@dataclass(frozen=True)
class Told:
    """What a history that broke nothing came to: steps of the core, loads under current, faults, alarms, time, s."""

    steps: int
    loads: int
    faults: int
    alarms: frozenset[str]
    seconds: float


def play(script: Script) -> Told:
    """Play a history from start to end. Raises BrokenHistoryError, also where the service failed."""
    try:
        return run_virtual(_play(script))
    except BrokenHistoryError:
        raise
    except Exception as problem:
        raise BrokenHistoryError(f"The service failed: {problem!r}") from problem


async def _play(script: Script) -> Told:
    def plan(given: LinePlan) -> LinePlan:
        supplies = {name: replace(of, after_dip=script.after_dip) for name, of in given.supplies.items()}
        return replace(given, supplies=supplies)

    line_file = LINE | PACES[script.pace]
    async with virtual_line(base="acid-and-seal", line=line_file, plan=plan, seed=script.seed) as line:
        began_s, watch = line.clock.now(), Watch(line)
        history = History(line, watch, script.longest_s)
        with watch.looking():
            await line.start()
            await history.go_on(AIR_S)
            for act in script.acts:
                await act.play(history)
                history.look()
            await _end(history)
        return Told(
            watch.steps, len(watch.truths.loads), watch.truths.faults, frozenset(watch.alarms),
            line.clock.now() - began_s,
        )  # fmt: skip


async def _end(history: History) -> None:
    """Mend everything: then nothing is unproven, and the end of the service leaves everything safe."""
    line = history.line
    history.mend()
    ends_s = line.clock.now() + SETTLES_S
    while line.clock.now() < ends_s:
        await line.pass_time(LOOKS_EVERY_S)
        history.look()
    supply = line.supply
    if not (supply.output.proven_off or (supply.operation is not None and supply.operation.energised)):
        raise BrokenHistoryError("All is well, and off is not proven.")
    fates = await line.stop()
    history.look()
    left_on = [name for name in ("main-contactor", "seal-heater", "cooling") if line.simulated.switches[name].is_on]
    if line.truly_on() or left_on or not all(fate.proven for fate in fates):
        raise BrokenHistoryError(f"It ended with {left_on} on, or the supply, or unproven: {fates}")
