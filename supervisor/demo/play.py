"""One demo from start to end: the load is started, watched until something has come of it, and accounted for."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from contextlib import aclosing
from typing import Any

from supervisor.cli.view import View
from supervisor.demo.account import Account
from supervisor.demo.judge import Evidence, judge
from supervisor.demo.record import offs_decided
from supervisor.demo.stage import DemoError, Stage
from supervisor.edges.client import ask, stream
from supervisor.edges.requests import new_body
from supervisor.service.clock import boot_clock_s

WORKSHOP = "Fernhollow Instrument Works, an invented workshop"
SPEED = 60.0
AREA = "130 cm^2"
TARGET = "20 um"

LONGEST_S = 170.0
"""Wire time after which a demo that comes to nothing is given up."""

STARTS_WITHIN_S = 10.0
"""Wire time in which a load must have been accepted: fumes are drawn off for half a minute of the line's time first."""

ASKS_AGAIN_S = 0.25

KILL_AT = 1 / 3
"""Share of the dose at which the supervisor is killed."""

GAP_S = 3.0
"""Wire time for which nobody supervises then."""

BROKER_BACK_AT = 2 / 3
"""Share of the dose at which a broker that was killed is started again."""

KILLED = "supervisor-killed"
BROKER_AWAY = "broker-away"
SETTLED = frozenset({"complete", "stopped", "aborted", "held"})


async def play(fault: str | None, view: View, *, speed: float = SPEED, target: str = TARGET) -> Account:
    """Run one demo and judge it. Raises DemoError or ControlError where it cannot be run."""
    began_s = time.monotonic()
    async with Stage(speed, fault) as stage:
        view.say("The simulated line and its supervisor are starting.")
        await stage.start_broker()
        if fault == BROKER_AWAY and stage.broker is None:
            raise DemoError(f"This fault needs the demo's own broker. {stage.publishing}")
        await stage.start_simulators()
        await stage.start_supervisor()
        view.say(stage.publishing)
        scene = _Scene(stage, view, fault)
        await _start_load(stage, target)
        view.say(f'One load, as by: ampminder anodize start --area "{AREA}" --target "{target}"')
        try:
            async with asyncio.timeout(LONGEST_S):
                await scene.watch()
        except TimeoutError:
            raise DemoError(f"Nothing came of the load within {LONGEST_S:g} s. The record: {stage.folder}") from None
        # The simulators' word of the end must be younger than the supervisor's.
        await stage.end()
        evidence = Evidence(
            scene.history, stage.truths, stage.newest, offs_decided(stage.journal), scene.killed_s, scene.restarted_s
        )
        wall_s = time.monotonic() - began_s
        return Account(fault, evidence, judge(fault, evidence), speed, wall_s, stage.folder)


async def _start_load(stage: Stage, target: str) -> None:
    """Start the load as a person would: asked again while the air has yet to be proven for long enough."""
    ends_s = time.monotonic() + STARTS_WITHIN_S
    while True:
        answer = await ask(stage.socket, "start", new_body(boot_clock_s(), area=AREA, target=target))
        if answer["ok"]:
            return
        if time.monotonic() > ends_s:
            raise DemoError("The supervisor refused the load: " + " ".join(answer["reasons"]))
        await asyncio.sleep(ASKS_AGAIN_S)


class _Scene:
    """What is seen of the line while the load goes on."""

    def __init__(self, stage: Stage, view: View, fault: str | None) -> None:
        self.history: list[dict[str, Any]] = []
        self.killed_s: float | None = None
        self.restarted_s: float | None = None
        self._stage = stage
        self._view = view
        self._kills = fault == KILLED
        self._broker = stage.broker if fault == BROKER_AWAY else None

    async def watch(self) -> None:
        """Follow the load until it has come to rest; where the fault is the supervisor's own end, bring that about."""
        if self._kills:
            await self._until(lambda supply: _share(supply) >= KILL_AT)
            await self._kill_and_start_again()
        if self._broker is not None:
            await self._until(lambda supply: _share(supply) >= KILL_AT)
            await self._broker.kill()
            self._view.say("The broker was killed; nobody takes what is published, and the load goes on.")
            await self._until(lambda supply: _share(supply) >= BROKER_BACK_AT or supply["state"] in SETTLED)
            await self._broker.start()
            self._view.say("The broker was started again.")
        await self._until(lambda supply: supply["state"] in SETTLED and supply["off_proven"])

    async def _until(self, come: Callable[[dict[str, Any]], bool]) -> None:
        async with aclosing(stream(self._stage.socket)) as states:
            async for status in states:
                self.history.append(status)
                self._view.show(status)
                (supply,) = status["supplies"].values()
                if come(supply):
                    return
        raise DemoError(f"The supervisor ended by itself. Its log lies in {self._stage.folder}")

    async def _kill_and_start_again(self) -> None:
        self.killed_s = boot_clock_s()
        await self._stage.kill_supervisor()
        self._view.forget()
        self._view.say(f"The supervisor was killed; for {GAP_S:g} s nobody watches and current flows on.")
        await asyncio.sleep(GAP_S)
        self.restarted_s = boot_clock_s()
        await self._stage.start_supervisor()
        self._view.say("The supervisor was started again.")


def _share(supply: dict[str, Any]) -> float:
    operation = supply["operation"]
    return float(operation["charge_c"]["best"] / operation["target"]["charge_c"]) if operation else 0.0
