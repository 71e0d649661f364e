"""A day of 24 hours on the virtual clock: without a fault nobody is called, and one real fault is one alarm.

The line is the acid and seal example, read a little less often so that a day takes minutes; its sensors are noisy and
one answer in 200 is lost. A person moves the seal's float, heats the seal, anodizes loads, and goes home.
"""

from __future__ import annotations

from collections.abc import Iterator
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
    "devices.rectifier.period": "2 s",
    "devices.rectifier.periods": None,
    "devices.thermometer.period": "5 s",
    "devices.relays.period": "1 s",
}

NOISE: tuple[dict[str, Any], ...] = tuple(
    {"what": "answer dropped", "device": device, "share": 0.005, "at_s": 60.0}
    for device in ("rectifier", "thermometer", "relays")
)

FAULTS: dict[str, tuple[dict[str, Any], ...]] = {
    "the fan stops": ({"what": "fan stops", "switch": "fan"},),
    "the board is without power for half a minute": ({"what": "power lost", "device": "relays", "for_s": 30.0},),
    "the thermometer's wire is cut": ({"what": "device silent", "device": "thermometer"},),
    "a mains dip of 2 s": ({"what": "mains dip", "supply": "rectifier", "for_s": 2.0},),
    "the cooling fails": ({"what": "bath heats", "tank": "acid", "rate_c_per_min": 0.2},),
    "the emergency stop": (
        {"what": "contact opens", "contact": "emergency-stop"},
        {"what": "supply trips", "supply": "rectifier"},
    ),
}
"""One real fault each, in the middle of the second load."""


def day_figures(quick: bool) -> Iterator[Figure]:
    """Play a clean day, and a day for each fault; in a quick run two hours, and two faults."""
    hours = 3 if quick else 24
    base = "virtual, as in life"
    alarms = run_virtual(_clean(hours))
    wrong = [name for name, count in alarms.items() if count > 1 or _priority(name) is not Priority.LOW]
    yield Figure("clean_day_alarms", len(wrong), "<= 0", hours, SEED, base, timing=False)
    yield Figure("clean_day_low_alarms", len(alarms) - len(wrong), "report", hours, SEED, base, timing=False)
    names = list(FAULTS)[:2] if quick else list(FAULTS)
    told, folded = zip(*(run_virtual(_with_fault(FAULTS[name], hours)) for name in names), strict=True)
    yield Figure("fault_day_alarms", max(told, key=lambda count: abs(count - 1)), "1..1", len(names), SEED, base, False)
    yield Figure("fault_day_folded", sum(folded), "report", len(names), SEED, base, timing=False)


def _priority(alarm: str) -> Priority:
    return CAUSES[alarm.partition("/")[2]].priority


async def _clean(hours: int) -> dict[str, int]:
    """How often each alarm appeared."""
    async with virtual_line(*NOISE, base="acid-and-seal", seed=SEED, line=SLOWER) as line:
        ends_s = line.clock.now() + hours * HOUR_S
        await _morning(line)
        for _ in range(2 if hours < 8 else 8):
            await _load(line)
            await line.until_state(State.COMPLETE, within_s=2 * HOUR_S)
            assert (await line.ask("reset"))["ok"]
            await _wait(line, 900.0)
        assert (await line.ask("rest", tank="seal"))["ok"]
        await _wait(line, ends_s - line.clock.now())
        return {name: alarm.count for name, alarm in line.state.alarms.items() if alarm.count}


async def _with_fault(fault: tuple[dict[str, Any], ...], hours: int) -> tuple[int, int]:
    """How many alarms were told for themselves, and how many were folded under them."""
    async with virtual_line(*NOISE, base="acid-and-seal", seed=SEED, line=SLOWER) as line:
        ends_s = line.clock.now() + hours * HOUR_S
        await _morning(line)
        await _load(line)
        await _wait(line, 600.0)
        for one in fault:
            problem = line.server.order({"fault": one})
            assert not problem, problem
        await _wait(line, ends_s - line.clock.now())
        appeared = [one for one in line.state.alarm_log if one.what == "cause appears"]
        above_low = [one for one in appeared if _priority(one.alarm) is not Priority.LOW]
        return sum(not one.under for one in above_low), sum(bool(one.under) for one in above_low)


async def _morning(line: VirtualLine) -> None:
    """Start, lift the seal's float so that it is seen to move, and heat the seal."""
    await line.start()
    await line.pass_time(30.0)
    assert not line.server.order({"fault": {"what": "contact opens", "contact": "seal-level", "for_s": 2.2}})
    await line.pass_time(10.0)
    answer = await line.ask("heat", tank="seal")
    assert answer["ok"], answer


async def _load(line: VirtualLine) -> None:
    answer = await line.ask("start", area="600 cm^2", target="15 um")
    assert answer["ok"], answer


async def _wait(line: VirtualLine, seconds: float) -> None:
    """Let time pass; fail as soon as the service does."""
    ends_s = line.clock.now() + seconds
    while line.clock.now() < ends_s:
        await line.pass_time(min(30.0, ends_s - line.clock.now()))
        await line.until(lambda: True, 1.0)
