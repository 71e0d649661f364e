"""A loop that stood still is told to the core before anything that waited; a core that decides no more feeds nobody."""

from __future__ import annotations

import asyncio
from dataclasses import replace

import pytest
from pymodbus.pdu import ModbusPDU

from drivers.modbus_link import Ask, Exchange, ModbusLink
from simulators.encoding import Encoding
from simulators.plan import LinePlan
from supervisor.core.anodize import State
from supervisor.core.events import Delayed, Event, Scanned, Woken, Written
from supervisor.core.line import LATE_WIRE_S, Line, Step
from supervisor.service.app import Service
from supervisor.service.loop import BEATS_EVERY_S, LATE_S, OVERDUE_S
from tests.harness.lines import Files
from tests.harness.virtual import VirtualLine, virtual_line, virtually
from tests.harness.virtual_loop import virtual_loop

TIME_OUT_S = 2.0


def watch_events(monkeypatch: pytest.MonkeyPatch) -> list[Event]:
    """Note every event from now on, in the order in which the core takes them."""
    events: list[Event] = []
    step = Line.step

    def noting(self: Line, event: Event) -> Step:
        events.append(event)
        return step(self, event)

    monkeypatch.setattr(Line, "step", noting)
    return events


async def under_current(line: VirtualLine) -> None:
    await line.start()
    await line.begin("20 um")
    await line.until(line.truly_on, 60.0)
    await line.pass_time(120.0)


def stand_still(wire_s: float) -> None:
    """Let time pass as for a stopped process, a blocked loop or a computer that slept: nothing of the loop runs."""
    virtual_loop().jump(wire_s)


async def in_the_middle_of_a_request(monkeypatch: pytest.MonkeyPatch) -> None:
    """Wait until a request has left and its answer has not come."""
    asks, left = ModbusLink._ask, asyncio.Event()

    async def asking(link: ModbusLink, ask: Ask, unit: int) -> tuple[ModbusPDU, Exchange]:
        asyncio.get_running_loop().call_later(0.001, left.set)
        return await asks(link, ask, unit)

    monkeypatch.setattr(ModbusLink, "_ask", asking)
    await left.wait()


@pytest.mark.parametrize("in_transaction", [True, False])
def test_a_loop_that_stood_still_holds_the_load_and_off_is_the_first_thing_on_the_wire(
    in_transaction: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    @virtually
    async def scenario() -> None:
        async with virtual_line() as line:
            await under_current(line)
            events = watch_events(monkeypatch)
            if in_transaction:
                await in_the_middle_of_a_request(monkeypatch)
            went_on_s = line.clock.now() + 3.0
            stand_still(3.0)
            events.clear()
            await line.until_state(State.HELD, within_s=60.0)
            first = events[0]
            assert isinstance(first, Delayed)
            assert 3.0 - BEATS_EVERY_S <= first.by_wire_s <= 3.0
            sent = [
                (event.t_sent_s, event) for event in events
                if isinstance(event, Scanned | Written) and event.t_sent_s >= went_on_s * line.speed
            ]  # fmt: skip
            earliest = min(sent, key=lambda one: one[0])[1]
            assert isinstance(earliest, Written)
            assert (earliest.command, earliest.ok) == ("off", True)
            assert "main/loop-late" in line.alarms
            await line.until(lambda: not line.truly_on() and line.supply.output.proven_off, 60.0)

    scenario()


def test_what_waited_in_the_loop_meanwhile_is_believed_after_the_delay_only(monkeypatch: pytest.MonkeyPatch) -> None:
    @virtually
    async def scenario() -> None:
        async with virtual_line() as line:
            await under_current(line)
            events = watch_events(monkeypatch)
            stand_still(3.0)
            waited = Woken(line.clock.instant())
            line.service.steps.post(waited)  # in the very round of the loop that stood still
            assert [type(event) for event in events] == [Delayed, Woken]
            assert line.stands is State.HOLDING
            await line.pass_time(60.0)
            assert sum(isinstance(event, Delayed) for event in events) == 1

    scenario()


@pytest.mark.parametrize(
    ("stood_s", "told", "holds"),
    [
        (LATE_S - 0.01, False, False),  # of which at least 0 was meant
        (LATE_S + BEATS_EVERY_S + 0.01, True, False),
        (LATE_WIRE_S + BEATS_EVERY_S + 0.01, True, True),
    ],
)
def test_standing_still_is_told_from_half_a_second_on(
    stood_s: float, told: bool, holds: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    @virtually
    async def scenario() -> None:
        async with virtual_line() as line:
            await under_current(line)
            events = watch_events(monkeypatch)
            stand_still(stood_s)
            await line.pass_time(60.0)
            delays = [event for event in events if isinstance(event, Delayed)]
            assert len(delays) == int(told)
            assert all(LATE_S <= delay.by_wire_s <= stood_s for delay in delays)
            assert (line.stands is State.HELD) is holds

    scenario()


def test_a_loop_that_goes_round_is_never_told_to_have_stood_still(monkeypatch: pytest.MonkeyPatch) -> None:
    @virtually
    async def scenario() -> None:
        events = watch_events(monkeypatch)
        async with virtual_line() as line:
            await under_current(line)
            await line.pass_time(1200.0)
            await line.stop()
        assert len(events) > 200
        assert not any(isinstance(event, Delayed) for event in events)

    scenario()


def test_what_is_slow_before_the_first_step_makes_no_device_silent(monkeypatch: pytest.MonkeyPatch) -> None:
    """A library for the broker is loaded there, on a slow computer for more than a second."""

    @virtually
    async def scenario() -> None:
        monkeypatch.setattr(Service, "_publish", lambda _service: stand_still(1.5))
        async with virtual_line() as line:
            await line.start()
            await line.pass_time(60.0)
            assert line.told_alarms() == {}

    scenario()


def with_time_out(plan: LinePlan) -> LinePlan:
    """Give the simulated supply a communication time-out, as its bigger brother has."""
    device = plan.devices["rectifier"]
    register = replace(device.registers[-1], address=19, value="time_out_s", encoding=Encoding(step=0.1))
    devices = {**plan.devices, "rectifier": replace(device, registers=(*device.registers, register))}
    return replace(plan, devices=devices)


def name_time_out(files: Files) -> None:
    """Let the profile and the line file say so too."""
    profile = files.folder / "profiles" / "bench-supply.toml"
    point = '\n[points.time_out]\ntable = "holding register"\naddress = 19\nscale = "100 ms"\nrange = ["0 s", "60 s"]\n'
    profile.write_text(profile.read_text(encoding="utf-8") + point, encoding="utf-8")
    text = files.line.read_text(encoding="utf-8")
    named = text.replace("[supplies.main]\n", f'[supplies.main]\ndevice_time_out = "{TIME_OUT_S:g} s"\n')
    files.line.write_text(named, encoding="utf-8")


@pytest.mark.parametrize("hangs_at", ["every event", "the next wake"])
def test_a_core_that_decides_no_more_feeds_no_time_out(hangs_at: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The supply switches itself off, its own time-out after the last thing it heard."""

    @virtually
    async def scenario() -> None:
        async with virtual_line(plan=with_time_out) as line:
            name_time_out(line.files)
            await under_current(line)
            assert line.supply.armed
            steps = line.service.steps
            hung_s = line.simulated.now_s
            if hangs_at == "every event":
                monkeypatch.setattr(steps, "_stepping", True)  # as if a step had never come back
            else:
                step = type(steps)._step
                monkeypatch.setattr(steps, "_step", lambda event: isinstance(event, Woken) or step(steps, event))
                monkeypatch.setattr(steps, "_wake_in", lambda _delay_s: None)  # and no other wake is planned
            await line.pass_time(30 * line.speed)
            bytes_there = line.server.bytes_received
            await line.pass_time(30 * line.speed)
            assert line.server.bytes_received == bytes_there
            assert not line.truly_on()
            off = [truth for truth in line.truths if truth["truth"] == "output" and truth["changed"]][-1]
            assert off["cause"] == "time-out"
            # What was in flight, a wake that was due by then at the latest, and the looks at it, come on top.
            assert float(str(off["process_s"])) - hung_s <= (OVERDUE_S + TIME_OUT_S + 1.0) * line.speed
            assert not steps.goes_on()

    scenario()
