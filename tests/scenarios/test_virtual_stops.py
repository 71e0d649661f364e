"""How exactly a load stops at its target on a wire of true speed, where an off may have to wait for a reading."""

from __future__ import annotations

from dataclasses import replace

from simulators.plan import LinePlan
from supervisor.core.anodize import State
from tests.campaigns.stops import LINE, TARGET
from tests.harness.lines import with_true_meter
from tests.harness.virtual import virtual_line, virtually

LOADS = 6
PHASE_S = 0.037
"""Each load begins at another moment of the rhythm in which readings come."""

WITHIN_S = 0.004
"""Far less than the 17 ms of a reading that an off would have to wait for."""


def at_true_baud(plan: LinePlan) -> LinePlan:
    plan = with_true_meter(plan)
    return replace(plan, links={name: replace(link, baud_true=True) for name, link in plan.links.items()})


@virtually
async def test_no_stop_at_the_target_waits_for_a_reading() -> None:
    async with virtual_line(speed=1.0, line=LINE, plan=at_true_baud) as line:
        await line.start()
        errors_s = []
        for load in range(LOADS):
            await line.pass_time(2.0 + load * PHASE_S)
            before_c = line.true_charge_c
            await line.begin(TARGET)
            await line.until_state(State.COMPLETE)
            missed_c = line.true_charge_c - before_c - line.operation.plan.target_c
            errors_s.append(missed_c / line.operation.plan.current_a)
            assert (await line.ask("reset"))["ok"]
        assert max(map(abs, errors_s)) < WITHIN_S, errors_s
