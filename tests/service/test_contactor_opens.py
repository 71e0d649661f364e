"""A cause that opens the contactor: off leaves first, the contactor right behind, neither waits for a dead wire."""

from __future__ import annotations

import asyncio
from collections.abc import Collection
from dataclasses import dataclass, field

import pytest

from drivers.ports import NoAnswer, Scan, Sent
from supervisor.core.actions import Switch, SwitchOff
from supervisor.core.anodize import State
from supervisor.core.events import Event, Switched, Written
from supervisor.core.setup import Accuracy, ChannelSetup
from supervisor.service.clock import Clock
from supervisor.service.dispatch import Outbox
from supervisor.service.polling import Driven, LinkRunner, Switching
from supervisor.service.turns import turns
from tests.harness.virtual import VirtualLine, virtual_line, virtually
from tests.harness.virtual_loop import run_virtual, virtual_loop

EXCHANGE_S = 0.03
TIME_OUT_S = 0.3


@dataclass
class OneWire:
    """A supply and a relay board on one bus, each exchange of which takes its time, or its time-out."""

    name: str = "all"
    streams: bool = False
    keep_every_s: float | None = None
    groups: tuple[frozenset[str], ...] = (frozenset({"current"}),)
    silent: bool = False
    board_silent: bool = False
    began: list[tuple[str, float]] = field(default_factory=list)

    async def _exchange(self, what: str, *, answered: bool = True) -> Sent:
        loop = asyncio.get_running_loop()
        sent_s = loop.time()
        self.began.append((what, sent_s))
        await asyncio.sleep(EXCHANGE_S if answered else TIME_OUT_S)
        if not answered:
            raise NoAnswer("silent")
        return Sent(sent_s, loop.time())

    async def read(self, due: Collection[str]) -> Scan:
        sent = await self._exchange("read", answered=not self.silent)
        return Scan(dict.fromkeys(due, 1.0), dict.fromkeys(due, (1,)), sent.t_sent_s, sent.t_received_s)

    async def switch_off(self) -> Sent:
        return await self._exchange("off", answered=not self.silent)

    async def set_switch(self, point: str, *, on: bool) -> Sent:
        return await self._exchange(f"{point} {'on' if on else 'off'}", answered=not self.board_silent)


async def opened_on_one_wire(wire: OneWire, *, resend_s: float) -> dict[str, float]:
    """Let a cause count right after a reading has begun; return when each thing began to leave after it, s.

    The core sends what is not confirmed again, every `resend_s`.
    """
    loop, outbox = virtual_loop(), Outbox()
    channel = ChannelSetup("main-current", "all", "current", "A", 0.0, 10.0, Accuracy(0, 0), EXCHANGE_S, 3.0)
    clock = Clock(loop.time, lambda: 0.0)
    runner = LinkRunner(
        outbox, turns({"all": wire}, [channel], clock), {"main": Driven(wire, ())},  # type: ignore[arg-type]
        {"contactor": Switching(wire, "k1"), "lamp": Switching(wire, "k2")}, TIME_OUT_S, clock,  # type: ignore[arg-type]
    )  # fmt: skip
    unproven = {"off", "contactor"}

    def post(event: Event) -> None:
        if isinstance(event, Written | Switched) and event.ok:
            unproven.discard("off" if isinstance(event, Written) else event.output)

    task = asyncio.create_task(runner.run(post, lambda: None, lambda: True))
    await asyncio.sleep(EXCHANGE_S / 2)
    decided_s = loop.time()
    outbox.put(Switch("lamp", 1, decided_s, on=True, safe=False))
    for number in range(2, 20):
        if "off" in unproven:
            outbox.put(SwitchOff("main", number, decided_s))
        if "contactor" in unproven:
            outbox.put(Switch("contactor", number, decided_s, on=False, safe=True))
        await asyncio.sleep(resend_s)
    task.cancel()
    await asyncio.wait({task})
    first: dict[str, float] = {}
    for what, began_s in wire.began:
        if began_s >= decided_s:
            first.setdefault(what, began_s - decided_s)
    return first


def test_on_one_wire_off_is_first_the_contactor_second_and_all_else_after_both() -> None:
    first = run_virtual(opened_on_one_wire(OneWire(), resend_s=0.5))
    assert list(first)[:3] == ["off", "k1 off", "k2 on"]
    assert first["off"] <= EXCHANGE_S  # the reading in flight
    assert first["k1 off"] <= 2 * EXCHANGE_S + 0.001


def test_on_one_wire_a_supply_that_answers_nothing_does_not_keep_its_contactor_closed() -> None:
    """Off is sent again faster than it fails: without a turn of its own the contactor would wait for ever."""
    wire = OneWire(silent=True)
    first = run_virtual(opened_on_one_wire(wire, resend_s=0.25))
    assert first["off"] <= TIME_OUT_S
    assert first["k1 off"] <= 2 * TIME_OUT_S + 0.001


async def under_current(line: VirtualLine) -> None:
    await line.start()
    await line.pass_time(70.0)  # fumes must have been drawn off, and the bath stirred
    await line.begin("20 um", ramp="10 s")
    await line.until(line.truly_on, 20.0)
    await line.pass_time(20.0)


ON_THE_NETWORK_S = 0.1
"""A reading in flight and the command, at 2 ms an answer, and a look of the test's own every 20 ms."""

ON_THE_SLOW_WIRE_S = 0.5
"""A question of the supply in flight, with its answer, and the command at 9600 baud."""


@pytest.mark.parametrize("silent", ["", "rectifier", "relays"])
def test_on_two_wires_neither_waits_for_the_other(silent: str) -> None:
    @virtually
    async def scenario() -> None:
        async with virtual_line(base="scpi-and-board") as line:
            await under_current(line)
            if silent:
                assert line.server.order({"fault": {"what": "device silent", "device": silent}}) == ""
            assert line.server.order({"fault": {"what": "contact opens", "contact": "emergency-stop"}}) == ""
            await line.until_state(State.ABORTING, State.ABORTED, within_s=5.0)
            if silent != "relays":
                contactor = line.simulated.switches["main-contactor"]
                await line.until(lambda: not contactor.is_on, ON_THE_NETWORK_S)
            if silent != "rectifier":
                await line.until(lambda: not line.truly_on(), ON_THE_SLOW_WIRE_S)

    scenario()


def test_on_one_wire_where_nothing_answers_off_contactor_and_reading_take_turns() -> None:
    wire = OneWire(silent=True, board_silent=True)
    run_virtual(opened_on_one_wire(wire, resend_s=0.25))
    turns = [what for what, _ in wire.began if what != "k2 on"][1:]
    assert turns[:9] == ["off", "k1 off", "read"] * 3
