"""The line of acid and seal: the example and its simulation are of one line, and nothing of it alarms by itself."""

from __future__ import annotations

from supervisor.core.anodize import State
from tests.harness.virtual import VirtualLine, virtual_line, virtually

AIR_S = 75.0
"""The fan starts with the supervisor's first safe state, and air must be proven for 30 s, process time, s."""


def unread(line: VirtualLine) -> set[str]:
    """Channels of which nothing good came."""
    known = line.state.channels
    return {name for name in line.service.setup.channels if name not in known or known[name].good_s is None}


@virtually
async def test_everything_the_example_reads_is_there_and_well() -> None:
    async with virtual_line(base="acid-and-seal") as line:
        await line.start()
        await line.pass_time(AIR_S)
        assert unread(line) == set()
        assert line.alarms == set()


@virtually
async def test_a_load_runs_to_its_target_under_all_that_watches() -> None:
    async with virtual_line(base="acid-and-seal") as line:
        await line.start()
        await line.pass_time(AIR_S)
        answer = await line.ask("start", area="600 cm^2", target="1 um", ramp="20 s")
        assert answer["ok"], answer
        await line.until_state(State.COMPLETE, within_s=400.0)
        charge = line.operation.dose.charge
        assert charge.low <= line.true_charge_c <= charge.high
        assert line.alarms == set()
        assert all(fate.proven for fate in await line.stop())
