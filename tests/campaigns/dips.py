"""Mains dips under current: on the supply, on the relay board, on both; afterwards nothing flows without a person.

On the virtual clock, with the line of the acid and seal example as its file has it. A supply that comes back in its
last state gives current by itself until the next reading tells: for how long is reported.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import product

from simulators.plan import LinePlan
from supervisor.core.anodize import State
from tests.campaigns.figures import Figure
from tests.harness.virtual import VirtualLine, virtual_line
from tests.harness.virtual_loop import run_virtual

SEED = 6
LASTS_S = (0.2, 2.0, 30.0)
STRIKES = {
    "supply": ({"what": "mains dip", "supply": "rectifier"},),
    "board": ({"what": "power lost", "device": "relays"},),
    "both": ({"what": "mains dip", "supply": "rectifier"}, {"what": "power lost", "device": "relays"}),
}
COMES_BACK = ("off", "last state")

SETTLES_S = 5.0
"""Time after a dip in which a boot, a reading, off and its proof fit, s."""

FLOWS_A = 0.05


@dataclass(frozen=True)
class Outcome:
    """What became of one load: its state, charge that flowed long after the dip, C, and by itself after it, s."""

    state: State
    later_c: float
    by_itself_s: float
    restarted: bool


def dip_figures(quick: bool) -> Iterator[Figure]:
    """Strike every combination; in a quick run the shortest dips alone."""
    lasts_s = LASTS_S[:1] if quick else LASTS_S
    cases = list(product(STRIKES, lasts_s, COMES_BACK))
    outcomes = [run_virtual(_dip(*case)) for case in cases]
    held = sum(_safe(outcome) for outcome in outcomes)
    base = "virtual, as in life"
    yield Figure("mains_dip_cases", held, f">= {len(cases)}", len(cases), SEED, base, timing=False)
    longest_s = max(outcome.by_itself_s for outcome in outcomes)
    yield Figure("mains_dip_on_by_itself_s", longest_s, "report", len(cases), SEED, base, timing=False)


def _safe(outcome: Outcome) -> bool:
    ended = outcome.state in {State.HELD, State.STOPPED, State.ABORTED}
    return ended and outcome.later_c == 0.0 and not outcome.restarted


async def _dip(strikes: str, lasts_s: float, comes_back: str) -> Outcome:
    def plan(given: LinePlan) -> LinePlan:
        supplies = {name: replace(supply, after_dip=comes_back) for name, supply in given.supplies.items()}
        return replace(given, supplies=supplies)

    faults = tuple({**fault, "after_current_s": 60.0, "for_s": lasts_s} for fault in STRIKES[strikes])
    async with virtual_line(*faults, base="acid-and-seal", seed=SEED, plan=plan, line={"anodize.ramp": "10 s"}) as line:
        await line.start()
        await line.pass_time(70.0)  # the ventilation must have run, and the agitation
        answer = await line.ask("start", area="600 cm^2", target="15 um")
        assert answer["ok"], answer
        await line.until(lambda: line.true_charge_c > 0.0, 30.0)
        await line.pass_time(59.0)
        assert line.stands is State.RUNNING, line.story()
        await line.pass_time(1.0 + lasts_s)
        by_itself_s = await _flows_s(line, SETTLES_S)
        before_c = line.true_charge_c
        await line.pass_time(120.0)
        restarted = (await line.ask("restart"))["ok"]
        await line.pass_time(10.0)
        return Outcome(line.stands, line.true_charge_c - before_c, by_itself_s, bool(restarted))


async def _flows_s(line: VirtualLine, within_s: float) -> float:
    """For how long current truly flows within this time, s."""
    step_s, flows_s = 0.01, 0.0
    for _ in range(round(within_s / step_s)):
        await line.pass_time(step_s)
        flows_s += step_s * (line.simulated_supply.current_a > FLOWS_A)
    return flows_s
