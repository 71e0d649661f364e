from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass, field

import pytest

from drivers.ports import BadAnswer, LinkDown, NoAnswer, Refused, WireError
from supervisor.core.actions import ArmTimeOut, SetPoints, SwitchOff, SwitchOn
from supervisor.core.events import Event, Quality, Scanned, Written
from supervisor.core.setup import Accuracy, ChannelSetup
from supervisor.service.clock import Clock
from supervisor.service.dispatch import Outbox
from supervisor.service.polling import Driven, LinkRunner
from supervisor.service.turns import turns
from tests.service.fakes import FakeSupply


def channel(point: str, high: float = 10.5, period_s: float = 1.0) -> ChannelSetup:
    return ChannelSetup(f"main-{point}", "rectifier", point, "A", 0.0, high, Accuracy(0, 0), period_s, 3.0)


@dataclass
class Bus:
    """A runner over one fake supply, on a clock that only the fake moves, run for a number of events."""

    driver: FakeSupply = field(default_factory=FakeSupply)
    outbox: Outbox = field(default_factory=Outbox)
    events: list[Event] = field(default_factory=list)
    planned_s: Callable[[], float | None] = lambda: None
    speed: float = 1.0
    time_out_s: float = 0.2

    async def work(self, events: int) -> list[Event]:
        """Let it work until so many events came."""
        clock = Clock(now=lambda: self.driver.now_s, wall=lambda: 0.0, speed=self.speed)
        due = turns({"rectifier": self.driver}, [channel("current"), channel("voltage", 62.0)], clock)
        runner = LinkRunner(
            self.outbox, due, {"main": Driven(self.driver, ("main-current",))}, {}, self.time_out_s, clock
        )
        enough = asyncio.Event()

        def post(event: Event) -> None:
            self.events.append(event)
            if len(self.events) >= events:
                enough.set()

        task = asyncio.create_task(runner.run(post, self.planned_s, lambda: True))
        await asyncio.wait({task, asyncio.create_task(enough.wait())}, return_when=asyncio.FIRST_COMPLETED, timeout=2.0)
        if task.done():
            task.result()
        task.cancel()
        return self.events[:events]


def quality(event: Event, name: str = "main-current") -> Quality:
    assert isinstance(event, Scanned)
    return next(reading.quality for reading in event.readings if reading.channel == name)


async def test_one_transaction_is_one_event_with_all_its_readings() -> None:
    (event,) = await Bus().work(1)
    assert isinstance(event, Scanned)
    assert {reading.channel: reading.value for reading in event.readings} == {"main-current": 1.0, "main-voltage": 15.0}


async def test_times_of_a_reading_come_in_process_time() -> None:
    (event,) = await Bus(driver=FakeSupply(now_s=100.0), speed=60.0).work(1)
    assert isinstance(event, Scanned)
    assert [event.t_sent_s, event.t_received_s] == pytest.approx([6000.0, 6000.6])


@pytest.mark.parametrize(
    ("error", "marked"),
    [
        (LinkDown("gone"), Quality.LINK_DOWN),
        (NoAnswer("silent"), Quality.NO_ANSWER),
        (BadAnswer("crc"), Quality.MALFORMED),
        (Refused("code 2", 2), Quality.REFUSED),
    ],
)
async def test_each_error_of_the_wire_marks_every_reading_and_leaves_no_number(
    error: WireError, marked: Quality
) -> None:
    (event,) = await Bus(driver=FakeSupply(fails={"read": error})).work(1)
    assert isinstance(event, Scanned)
    assert [(r.quality, r.value) for r in event.readings] == [(marked, None)] * 2


@pytest.mark.parametrize(
    ("shown", "marked"),
    [
        (None, Quality.ABSENT),
        (11.0, Quality.OUT_OF_RANGE),
        (-0.1, Quality.OUT_OF_RANGE),
        (float("nan"), Quality.OUT_OF_RANGE),
        (float("inf"), Quality.OUT_OF_RANGE),
        (10.5, Quality.GOOD),
    ],
)
async def test_a_value_outside_its_range_is_marked_and_has_no_number(shown: float | None, marked: Quality) -> None:
    (event,) = await Bus(driver=FakeSupply(shows={"current": shown})).work(1)
    assert isinstance(event, Scanned)
    reading = next(r for r in event.readings if r.channel == "main-current")
    assert reading.quality is marked
    assert (reading.value is None) == (marked is not Quality.GOOD)


async def test_an_answer_far_beyond_its_time_out_is_late() -> None:
    (event,) = await Bus(driver=FakeSupply(took_s=0.5)).work(1)
    assert quality(event) is Quality.LATE


async def test_off_goes_before_a_reading_that_is_due_and_is_read_back_at_once() -> None:
    bus = Bus()
    bus.outbox.put(SwitchOff("main", 1, 0.0))
    events = await bus.work(3)
    assert bus.driver.calls[:3] == ["off", "read", "read"]
    assert isinstance(events[0], Written)
    assert (events[0].command, events[0].ok) == ("off", True)


async def test_a_failed_off_is_told_and_what_else_waits_is_not_lost() -> None:
    bus = Bus(driver=FakeSupply(fails={"off": NoAnswer("silent")}))
    bus.outbox.put(SwitchOff("main", 7, 0.0))
    event = (await bus.work(1))[0]
    assert isinstance(event, Written)
    assert (event.number, event.ok, event.problem) == (7, False, "silent")


async def test_on_is_never_sent_after_its_set_points_failed() -> None:
    bus = Bus(driver=FakeSupply(fails={"voltage 22": NoAnswer("silent")}))
    bus.outbox.put(SetPoints("main", 1, 0.0, 1.5, 22.0))
    bus.outbox.put(SwitchOn("main", 2, 0.0))
    events = await bus.work(3)
    assert "on" not in bus.driver.calls
    fates = [(e.command, e.number, e.ok) for e in events if isinstance(e, Written)]
    assert fates == [("set points", 1, False), ("on", 2, False)]


async def test_set_points_are_told_once_when_the_last_of_their_frames_is_confirmed() -> None:
    bus = Bus()
    bus.outbox.put(SetPoints("main", 1, 0.0, 1.5, 22.0))
    events = await bus.work(2)
    assert bus.driver.calls[:2] == ["voltage 22", "current 1.5"]
    assert [e.number for e in events if isinstance(e, Written)] == [1]


async def test_a_set_point_outside_the_devices_range_fails_and_does_not_end_the_link() -> None:
    bus = Bus(driver=FakeSupply(fails={"current 99": ValueError("above 10 A")}))
    bus.outbox.put(SetPoints("main", 1, 0.0, 99.0, 22.0))
    events = await bus.work(2)
    assert isinstance(events[0], Written)
    assert not events[0].ok
    assert isinstance(events[1], Scanned)


async def test_missed_readings_are_not_made_up_for() -> None:
    bus = Bus(driver=FakeSupply(took_s=3.5), time_out_s=10.0)
    first, second = (await bus.work(2))[:2]
    assert isinstance(first, Scanned)
    assert isinstance(second, Scanned)
    assert second.t_sent_s - first.t_sent_s < 2 * 3.5


async def test_a_reading_lets_a_stop_pass_that_would_fall_into_it() -> None:
    # At this pace a reading is due all the time, each takes 10 ms, and after the first the core plans a stop in 5 ms.
    bus = Bus(speed=200.0)

    def soon() -> float | None:
        if bus.driver.calls != ["read"]:
            return None
        asyncio.get_running_loop().call_later(0.002, bus.outbox.put, SwitchOff("main", 1, 0.0))
        return 0.005

    bus.planned_s = soon
    await bus.work(2)
    assert bus.driver.calls[:2] == ["read", "off"]


async def test_a_reading_does_not_wait_for_a_stop_that_is_further_off_than_it_takes() -> None:
    bus = Bus(speed=200.0)
    bus.planned_s = lambda: 0.5
    began_s = asyncio.get_running_loop().time()
    await bus.work(3)
    assert asyncio.get_running_loop().time() - began_s < 0.5


async def test_an_on_that_waited_while_the_process_stood_still_is_not_sent() -> None:
    bus = Bus(driver=FakeSupply(on=False, now_s=100.0))
    bus.outbox.put(SwitchOn("main", 2, 94.9))
    (event,) = await bus.work(1)
    assert "on" not in bus.driver.calls
    assert isinstance(event, Written)
    assert (event.command, event.ok) == ("on", False)


async def test_an_on_in_good_time_is_sent() -> None:
    bus = Bus(driver=FakeSupply(on=False, now_s=100.0))
    bus.outbox.put(SwitchOn("main", 2, 99.0))
    await bus.work(1)
    assert bus.driver.calls[0] == "on"


async def test_a_link_on_which_nothing_is_read_still_sends_what_comes() -> None:
    driver, outbox, events = FakeSupply(), Outbox(), list[Event]()
    runner = LinkRunner(
        outbox, [], {"main": Driven(driver, ("main-current",))}, {}, 0.2, Clock(now=lambda: 0.0, wall=lambda: 0.0)
    )
    task = asyncio.create_task(runner.run(events.append, lambda: None, lambda: True))
    await asyncio.sleep(0)
    outbox.put(SwitchOff("main", 1, 0.0))
    await asyncio.sleep(0.001)
    assert not task.done()
    task.cancel()
    assert driver.calls == ["off"]
    assert len(events) == 1


async def test_on_is_not_sent_where_the_devices_own_time_out_could_not_be_armed() -> None:
    bus = Bus(driver=FakeSupply(on=False, fails={"time-out 5": NoAnswer("silent")}))
    for action in (ArmTimeOut("main", 1, 5.0), SetPoints("main", 2, 0.0, 1.5, 22.0), SwitchOn("main", 3, 0.0)):
        bus.outbox.put(action)
    events = await bus.work(4)
    assert "on" not in bus.driver.calls
    assert [(e.command, e.ok) for e in events if isinstance(e, Written)][-2:] == [("time-out", False), ("on", False)]


async def test_a_device_that_speaks_by_itself_is_left_alone_for_a_period_while_its_link_is_down() -> None:
    driver, events = FakeSupply(streams=True, fails={"read": LinkDown("gone")}, took_s=0.0), list[Event]()
    clock = Clock(now=lambda: driver.now_s, wall=lambda: 0.0, speed=1000.0)
    due = turns({"rectifier": driver}, [channel("current")], clock)
    task = asyncio.create_task(
        LinkRunner(Outbox(), due, {}, {}, 0.2, clock).run(events.append, lambda: None, lambda: True)
    )
    for _ in range(100):
        await asyncio.sleep(0)
    assert [quality(event) for event in events] == [Quality.LINK_DOWN]
    driver.now_s += 0.001  # its period, at this speed
    await asyncio.sleep(0.01)
    assert driver.calls == ["read", "read"]
    task.cancel()


class SentAgain(list[Event]):
    """Events, after each of which off is asked for again, as the core does while it is not proven."""

    def __init__(self, outbox: Outbox) -> None:
        super().__init__()
        self.outbox = outbox

    def append(self, event: Event) -> None:
        super().append(event)
        self.outbox.put(SwitchOff("main", len(self) + 1, 0.0))


async def test_an_off_that_fails_lets_one_reading_pass_before_it_is_sent_again() -> None:
    outbox = Outbox()
    silent = FakeSupply(fails={"off": NoAnswer("silent"), "read": NoAnswer("silent")}, took_s=1.0)
    bus = Bus(driver=silent, outbox=outbox, events=SentAgain(outbox))
    outbox.put(SwitchOff("main", 1, 0.0))
    await bus.work(6)
    assert silent.calls[:6] == ["off", "read"] * 3
