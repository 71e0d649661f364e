"""A mains dip of a supply that comes back in its last state and takes orders only after its greeting."""

from __future__ import annotations

from dataclasses import replace

import pytest

from simulators.plan import LinePlan
from supervisor.core.anodize import State
from tests.harness.virtual import virtual_line, virtually


def comes_back_on(plan: LinePlan) -> LinePlan:
    return replace(plan, supplies={name: replace(of, after_dip="last state") for name, of in plan.supplies.items()})


@pytest.mark.parametrize("dip_s", [0.2, 2.0, 30.0])
def test_a_supply_that_came_back_on_by_itself_is_switched_off_and_stays_so(dip_s: float) -> None:
    @virtually
    async def scenario() -> None:
        async with virtual_line(base="scpi-and-board", plan=comes_back_on) as line:
            await line.start()
            await line.pass_time(70.0)  # fumes must have been drawn off, and the bath stirred
            await line.begin("20 um", ramp="10 s")
            await line.until(line.truly_on, 20.0)
            await line.pass_time(30.0)
            dip = {"what": "mains dip", "supply": "rectifier", "for_s": dip_s}
            assert line.server.order({"fault": dip}) == ""
            await line.pass_time(dip_s)
            await line.until(lambda: not line.truly_on() and line.supply.output.proven_off, 30.0)
            assert line.stands in {State.HELD, State.ABORTED}
            on_before = sum(truth["truth"] == "output" and bool(truth["on"]) for truth in line.truths)
            await line.pass_time(300.0)
            assert not line.truly_on()
            assert sum(truth["truth"] == "output" and bool(truth["on"]) for truth in line.truths) == on_before

    scenario()
