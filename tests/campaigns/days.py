"""A day of 24 hours on the virtual clock: without a fault nobody is called, and one real fault is one alarm.

The line is the acid and seal example, read a little less often so that a day takes minutes; its sensors are noisy and
one answer in 200 is lost. A person moves the seal's float, heats the seal, anodizes loads, and goes home.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from supervisor.core.alarms import Priority
from supervisor.core.anodize import State
from supervisor.core.interlocks import CAUSES
from tests.campaigns.figures import Figure
from tests.harness.virtual import VirtualLine, virtual_line
from tests.harness.virtual_loop import run_virtual

SEED = 7
HOUR_S = 3600.0

SLOWER: dict[str, object] = {
    "devices.rectifier.period": "5 s",
    "devices.rectifier.periods": None,
    "devices.thermometer.period": "15 s",
    "devices.relays.period": "2 s",
    "supplies.main.device_time_out": "20 s",
}

NOISE: tuple[dict[str, Any], ...] = tuple(
    {"what": "answer dropped", "device": device, "share": 0.005, "at_s": 60.0}
    for device in ("rectifier", "thermometer", "relays")
)

FAULTS: dict[str, tuple[dict[str, Any], ...]] = {
    "the board is without power for half a minute": ({"what": "power lost", "device": "relays", "for_s": 30.0},),
    "the emergency stop": (
        {"what": "contact opens", "contact": "emergency-stop"},
        {"what": "mains dip", "supply": "rectifier", "for_s": 1e6},
    ),
    "the thermometer's wire is cut": ({"what": "device silent", "device": "thermometer"},),
}
"""One real fault each, in the middle of a load, half an hour before the day ends."""

LAST_S = 1800.0
LOADS = 3
"""The simulated part is the same in every load: after some hundred micrometres its supply would be at its ceiling."""

LOOKS_EVERY_S = 15.0


@dataclass
class Day:
    """Alarms above low priority by name: how often each appeared, and under which it is folded at the end."""

    count: dict[str, int]
    under: dict[str, str]
    low: int

    @property
    def heads(self) -> int:
        """How many are told for themselves."""
        return sum(not under for under in self.under.values())


def day_figures(quick: bool) -> Iterator[Figure]:
    """Play a clean day, and a day for each fault; in a quick run two hours, and one fault."""
    hours = 2 if quick else 24
    base = "virtual, as in life"
    clean = run_virtual(_day(hours, ()))
    yield Figure("clean_day_alarms", len(clean.count), "<= 0", hours, SEED, base, timing=False)
    yield Figure("clean_day_low_alarms", clean.low, "<= 1", hours, SEED, base, timing=False)
    days = [run_virtual(_day(hours, FAULTS[name])) for name in list(FAULTS)[: 1 if quick else None]]
    worst = max((day.heads for day in days), key=lambda heads: abs(heads - 1))
    yield Figure("fault_day_alarms", worst, "1..1", len(days), SEED, base, timing=False)
    folded = sum(len(day.under) - day.heads for day in days)
    yield Figure("fault_day_consequences_folded", folded, "report", len(days), SEED, base, timing=False)


async def _day(hours: int, fault: tuple[dict[str, Any], ...]) -> Day:
    """One day: the morning, loads, and what is left of it; a fault comes in one more load before its end."""
    async with virtual_line(*NOISE, base="acid-and-seal", seed=SEED, line=SLOWER) as line:
        ends_s = line.clock.now() + hours * HOUR_S
        await _morning(line)
        for _ in range(min(LOADS, hours - 1)):
            await _load(line)
            await _until(line, State.COMPLETE)
            assert (await line.ask("reset"))["ok"]
            await _wait(line, 600.0)
        assert (await line.ask("rest", tank="seal"))["ok"]
        await _wait(line, ends_s - LAST_S - 600.0 - line.clock.now())
        if fault:
            await _load(line)
            await _wait(line, 600.0)
            for one in fault:
                problem = line.server.order({"fault": one})
                assert not problem, problem
        await _wait(line, ends_s - line.clock.now())
        return _told(line)


def _told(line: VirtualLine) -> Day:
    """What appeared; nobody has reset anything, so what was folded still is."""
    appeared = [alarm for alarm in line.state.alarms.values() if alarm.count]
    above = [alarm for alarm in appeared if CAUSES[alarm.cause].priority is not Priority.LOW]
    low = max((alarm.count for alarm in appeared if alarm not in above), default=0)
    return Day({alarm.name: alarm.count for alarm in above}, {alarm.name: alarm.under for alarm in above}, low)


async def _morning(line: VirtualLine) -> None:
    """Start, lift the seal's float so that it is seen to move, and heat the seal."""
    await line.start()
    await line.pass_time(75.0)
    assert not line.server.order({"fault": {"what": "contact opens", "contact": "seal-level", "for_s": 2.6}})
    await line.pass_time(10.0)
    answer = await line.ask("heat", tank="seal")
    assert answer["ok"], answer


async def _load(line: VirtualLine) -> None:
    answer = await line.ask("start", area="600 cm^2", target="15 um")
    assert answer["ok"], answer


async def _until(line: VirtualLine, state: State) -> None:
    for _ in range(int(2 * HOUR_S / LOOKS_EVERY_S)):
        if line.stands is state:
            return
        await _wait(line, LOOKS_EVERY_S)
    raise AssertionError(line.story())


async def _wait(line: VirtualLine, seconds: float) -> None:
    """Let time pass; fail as soon as the service does."""
    ends_s = line.clock.now() + seconds
    while line.clock.now() < ends_s:
        await line.pass_time(min(LOOKS_EVERY_S, ends_s - line.clock.now()))
        await line.until(lambda: True, 1.0)
