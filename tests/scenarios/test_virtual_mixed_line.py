"""A line of an SCPI supply, a microcontroller board and a contactor on the network: one load from start to end."""

from __future__ import annotations

from supervisor.core.anodize import State
from tests.harness.virtual import VirtualLine, virtual_line, virtually

AIR_S = 75.0
"""The fan starts with the supervisor's first safe state, and air must be proven for 30 s, process time, s."""


def changes(line: VirtualLine) -> list[tuple[str, bool]]:
    """Every true change of the contactor and the supply's output, in the order in which they came."""
    return [
        (str(truth.get("switch", "output")), bool(truth["on"]))
        for truth in line.truths
        if truth["truth"] in {"switch", "output"}
        and truth["changed"]
        and truth.get("switch", "main-contactor") == "main-contactor"
    ]


@virtually
async def test_a_load_completes_with_the_contactor_closed_first_and_opened_last() -> None:
    async with virtual_line(base="scpi-and-board") as line:
        await line.start()
        await line.pass_time(AIR_S)
        assert line.alarms == set()
        await line.begin("1 um", ramp="20 s")
        await line.until_state(State.COMPLETE, within_s=400.0)
        await line.until(lambda: not line.simulated.switches["main-contactor"].is_on, 10.0)
        assert changes(line) == [
            ("main-contactor", True), ("output", True), ("output", False), ("main-contactor", False),
        ]  # fmt: skip
        charge = line.operation.dose.charge
        assert charge.low <= line.true_charge_c <= charge.high
        assert line.service.status()["supplies"]["main"]["off_proven"]
        assert line.alarms == set()
        assert all(fate.proven for fate in await line.stop())


@virtually
async def test_a_board_that_resets_in_the_middle_of_a_load_holds_it_and_names_the_heartbeat() -> None:
    async with virtual_line(base="scpi-and-board") as line:
        await line.start()
        await line.pass_time(AIR_S)
        await line.begin("1 um", ramp="20 s")
        await line.until_state(State.RUNNING, within_s=10.0)
        await line.until(line.truly_on, 10.0)
        assert line.server.order({"fault": {"what": "board resets", "device": "board"}}) == ""
        await line.until_state(State.HELD, within_s=30.0)
        assert "board/heartbeat-lost" in line.alarms
        assert not line.truly_on()
        await line.until(lambda: not line.simulated.switches["main-contactor"].is_on, 10.0)
