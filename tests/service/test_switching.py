"""One link with switches and boards: fates of switch commands, signs of life, and what a board says by itself."""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Collection
from dataclasses import dataclass, field
from itertools import pairwise

import pytest

from drivers.ports import LinkDown, NoAnswer, Scan, Sent
from supervisor.core.actions import Switch, SwitchOff
from supervisor.core.events import Event, Quality, Scanned, Switched, Written
from supervisor.core.setup import Accuracy, ChannelSetup, ThermocoupleSetup
from supervisor.service.clock import Clock
from supervisor.service.dispatch import Outbox
from supervisor.service.polling import Driven, LinkRunner, Switching
from supervisor.service.turns import turns
from tests.service.fakes import FakeSupply


@dataclass
class FakeBoard:
    """A board in memory: says what it is given to say, switches as told, fails as told."""

    name: str = "board"
    streams: bool = True
    keep_every_s: float | None = None
    groups: tuple[frozenset[str], ...] = (frozenset({"t1", "e1", "cj", "heartbeat"}),)
    now_s: float = 100.0
    says: deque[dict[str, float | None]] = field(default_factory=deque)
    calls: list[str] = field(default_factory=list)
    fails: dict[str, Exception] = field(default_factory=dict)
    spoke: asyncio.Event = field(default_factory=asyncio.Event)

    def _did(self, call: str) -> Sent:
        self.calls.append(call)
        if call in self.fails:
            raise self.fails[call]
        self.now_s += 0.01
        return Sent(self.now_s - 0.01, self.now_s)

    def say(self, **values: float | None) -> None:
        self.says.append(values)
        self.spoke.set()

    async def read(self, due: Collection[str]) -> Scan:
        while not self.says:
            self.spoke.clear()
            await self.spoke.wait()
        sent = self._did("read")
        values = self.says.popleft()
        return Scan(values, dict.fromkeys(values, ()), sent.t_sent_s, sent.t_received_s)

    async def set_switch(self, point: str, *, on: bool) -> Sent:
        return self._did(f"{point} {'on' if on else 'off'}")

    async def keep(self) -> Sent:
        return self._did("keep")


EMF = ChannelSetup(
    "acid", "board", "e1", "degC", -20.0, 120.0, Accuracy(0, 1.5), 1.0, 3.0, ThermocoupleSetup("K", "cj")
)
PLAIN = ChannelSetup("air", "board", "t1", "degC", -20.0, 60.0, Accuracy(0, 1.0), 1.0, 3.0)


@dataclass
class Bench:
    """A runner over one fake board, run until something has come."""

    board: FakeBoard = field(default_factory=FakeBoard)
    outbox: Outbox = field(default_factory=Outbox)
    events: list[Event] = field(default_factory=list)
    hastened: list[set[str]] = field(default_factory=list)
    channels: tuple[ChannelSetup, ...] = (EMF, PLAIN)

    async def work(self, events: int) -> list[Event]:
        clock = Clock(now=lambda: self.board.now_s, wall=lambda: 0.0)
        due = turns({"board": self.board}, list(self.channels), clock)
        switches = {"fan": Switching(self.board, "fan", ("air-flow",))}
        runner = LinkRunner(self.outbox, due, {}, switches, 0.2, clock, lambda names: self.hastened.append(set(names)))
        enough = asyncio.Event()

        def post(event: Event) -> None:
            self.events.append(event)
            if len(self.events) >= events:
                enough.set()

        task = asyncio.create_task(runner.run(post, lambda: None, lambda: True))
        await asyncio.wait({task, asyncio.create_task(enough.wait())}, return_when=asyncio.FIRST_COMPLETED, timeout=2.0)
        if task.done():
            task.result()
        task.cancel()
        await asyncio.wait({task})
        return self.events[:events]


def fan(*, on: bool, safe: bool = False, decided_s: float = 100.0, number: int = 7) -> Switch:
    return Switch("fan", number, decided_s, on, safe)


async def test_a_switch_that_was_confirmed_is_told_and_what_shows_it_is_read_at_once() -> None:
    bench = Bench()
    bench.outbox.put(fan(on=True))
    (event,) = await bench.work(1)
    assert isinstance(event, Switched)
    assert (event.output, event.on, event.number, event.ok, event.problem) == ("fan", True, 7, True, "")
    assert bench.hastened == [{"air-flow"}]


async def test_a_switch_that_failed_is_told_with_why() -> None:
    bench = Bench(FakeBoard(fails={"fan on": NoAnswer("silent")}))
    bench.outbox.put(fan(on=True))
    (event,) = await bench.work(1)
    assert isinstance(event, Switched)
    assert (event.ok, event.problem) == (False, "silent")
    assert bench.hastened == []


async def test_what_leads_away_from_a_safe_state_is_not_sent_late_and_the_way_back_is() -> None:
    bench = Bench()
    bench.outbox.put(fan(on=True, decided_s=94.9))
    (event,) = await bench.work(1)
    assert isinstance(event, Switched)
    assert (event.ok, bench.board.calls) == (False, [])
    bench.outbox.put(fan(on=False, safe=True, decided_s=0.0))
    await bench.work(2)
    assert bench.board.calls == ["fan off"]


async def test_a_board_is_heard_once_between_two_commands_that_fail() -> None:
    bench = Bench(FakeBoard(fails={"fan off": NoAnswer("silent")}))
    bench.outbox.put(fan(on=False, safe=True))
    bench.board.say(t1=20.0)

    class Again(list[Event]):
        def append(self, event: Event) -> None:
            super().append(event)
            if isinstance(event, Switched):
                bench.outbox.put(fan(on=False, safe=True))

    bench.events = Again()
    await bench.work(3)
    assert bench.board.calls[:3] == ["fan off", "read", "fan off"]


async def test_a_supplys_off_waits_for_no_such_hearing() -> None:
    supply, board, outbox, events = FakeSupply(), FakeBoard(fails={"fan off": NoAnswer("")}), Outbox(), list[Event]()
    clock = Clock(now=lambda: 100.0, wall=lambda: 0.0)
    board.say(t1=20.0)
    due = turns({"board": board}, [PLAIN], clock)
    runner = LinkRunner(outbox, due, {"main": Driven(supply, ())}, {"fan": Switching(board, "fan")}, 0.2, clock)

    def post(event: Event) -> None:
        events.append(event)
        if isinstance(event, Switched):
            outbox.put(SwitchOff("main", 1, 100.0))

    outbox.put(fan(on=False, safe=True))
    task = asyncio.create_task(runner.run(post, lambda: None, lambda: True))
    await asyncio.sleep(0.01)
    task.cancel()
    assert [type(event) for event in events[:3]] == [Switched, Written, Scanned]


async def test_a_command_does_not_wait_for_a_board_to_say_something() -> None:
    bench = Bench()
    asyncio.get_running_loop().call_later(0.005, bench.outbox.put, fan(on=True))
    (event,) = await bench.work(1)
    assert isinstance(event, Switched)


async def test_of_what_a_board_says_only_what_it_said_becomes_readings() -> None:
    bench = Bench()
    bench.board.say(t1=20.5)
    (event,) = await bench.work(1)
    assert isinstance(event, Scanned)
    assert [(reading.channel, reading.value) for reading in event.readings] == [("air", 20.5)]


async def test_a_lost_board_marks_every_channel() -> None:
    bench = Bench(FakeBoard(fails={"read": LinkDown("gone")}))
    bench.board.say(t1=20.5)
    (event,) = await bench.work(1)
    assert isinstance(event, Scanned)
    assert {reading.quality for reading in event.readings} == {Quality.LINK_DOWN}


async def test_a_thermocouples_voltage_and_its_junction_become_a_temperature() -> None:
    # Type K, bath 96 degC, junction 31.5 degC: 2.6663 mV measured (ITS-90, NIST SRD 60, worked out).
    bench = Bench()
    bench.board.say(e1=2.6663e-3, cj=31.5)
    (event,) = await bench.work(1)
    assert isinstance(event, Scanned)
    assert event.readings[0].value == pytest.approx(96.0, abs=0.01)


@pytest.mark.parametrize(
    ("emf_v", "junction_c", "marked"),
    [
        (None, 31.5, Quality.ABSENT),
        (2.6663e-3, None, Quality.ABSENT),
        (0.2, 31.5, Quality.OUT_OF_RANGE),
        (float("nan"), 31.5, Quality.OUT_OF_RANGE),
        (6e-3, 31.5, Quality.OUT_OF_RANGE),
    ],
)
async def test_a_voltage_that_means_no_temperature_has_no_number(
    emf_v: float | None, junction_c: float | None, marked: Quality
) -> None:
    bench = Bench()
    bench.board.say(e1=emf_v, cj=junction_c)
    (event,) = await bench.work(1)
    assert isinstance(event, Scanned)
    assert (event.readings[0].quality, event.readings[0].value) == (marked, None)


async def test_a_voltage_without_its_junction_in_the_same_sentence_is_no_temperature() -> None:
    bench = Bench()
    bench.board.say(e1=2.6663e-3)
    (event,) = await bench.work(1)
    assert isinstance(event, Scanned)
    assert event.readings[0].quality is Quality.ABSENT


async def test_a_board_is_told_to_keep_its_outputs_as_often_as_it_asks() -> None:
    bench = Bench(FakeBoard(keep_every_s=0.5))
    bench.board.say(t1=20.0)
    await bench.work(1)
    assert bench.board.calls == ["keep", "read"]
    bench.board.now_s += 0.6
    bench.board.say(t1=20.0)
    await bench.work(2)
    assert bench.board.calls == ["keep", "read", "keep", "read"]


async def test_a_board_that_does_not_take_its_sign_of_life_is_still_heard() -> None:
    bench = Bench(FakeBoard(keep_every_s=0.5, fails={"keep": NoAnswer("silent")}))
    bench.board.say(t1=20.0)
    (event,) = await bench.work(1)
    assert isinstance(event, Scanned)


def channel(point: str, period_s: float) -> ChannelSetup:
    return ChannelSetup(point, "rectifier", point, "A", 0.0, 100.0, Accuracy(0, 0), period_s, 99.0)


def test_each_point_is_read_in_its_own_rhythm_and_with_others_where_they_nearly_fall_together() -> None:
    clock = Clock(now=lambda: 0.0, wall=lambda: 0.0)
    (turn,) = turns({"rectifier": FakeSupply()}, [channel("current", 1.0), channel("voltage", 5.0)], clock)
    read = []
    for beat in range(11):
        now_s = float(beat)
        points = turn.due(now_s)
        if turn.due_s <= now_s:
            turn.done(points, now_s, now_s)
            read.append((beat, sorted(points)))
    both = [beat for beat, points in read if points == ["current", "voltage"]]
    assert [beat for beat, _ in read] == list(range(11))
    assert all(4 <= later - earlier <= 5 for earlier, later in pairwise(both))


def test_readings_brought_forward_bring_their_whole_group_so_that_it_stays_in_step() -> None:
    clock = Clock(now=lambda: 0.0, wall=lambda: 0.0)
    (turn,) = turns({"rectifier": FakeSupply()}, [channel("current", 6.0), channel("voltage", 6.0)], clock)
    turn.done(turn.due(0.0), 0.0, 0.0)
    assert turn.hasten({"current"}, 2.0)
    assert not turn.hasten({"elsewhere"}, 2.0)
    for moment_s in (2.0, 2.1):
        assert turn.due(moment_s) == {"current", "voltage"}
        turn.done(turn.due(moment_s), moment_s, moment_s)
    assert turn.due_s == 8.0
