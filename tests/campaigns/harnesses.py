"""How fast the virtual and the direct harness are, and whether they agree."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass

from supervisor.core.anodize import State
from supervisor.core.events import Order
from tests.campaigns.figures import Figure
from tests.harness.direct import DirectLine
from tests.harness.lines import SPEED, short_folder, write_files
from tests.harness.virtual import virtual_line
from tests.harness.virtual_loop import run_virtual

# 20 um at 1 A/dm2 take 61 min by the 720 rule.
AREA_M2 = 0.013
TARGET_UM = 20.0
DENSITY_A_PER_M2 = 100.0


@dataclass(frozen=True)
class Hour:
    """One load of about an hour: its process time, the real time it took, and its true charge."""

    process_s: float
    real_s: float
    charge_c: float

    @property
    def speedup(self) -> float:
        """Process seconds per real second."""
        return self.process_s / self.real_s


async def _virtual(seed: int) -> Hour:
    async with virtual_line(seed=seed) as line:
        await line.start()
        began_s, real_s = line.clock.now(), time.perf_counter()
        await line.begin(f"{TARGET_UM} um", density=f"{DENSITY_A_PER_M2} A/m^2")
        await line.until_state(State.COMPLETE, within_s=7200.0)
        process_s = (line.clock.now() - began_s) * line.speed
        return Hour(process_s, time.perf_counter() - real_s, line.true_charge_c)


def _direct(seed: int) -> Hour:
    with short_folder() as folder:
        files = write_files(folder)
        line = DirectLine(files.load(), files.read_plan(), seed=seed)
        line.start()
        began_s, real_s = line.now_s, time.perf_counter()
        answer = line.ask("start", order=Order(AREA_M2, TARGET_UM, density_a_per_m2=DENSITY_A_PER_M2))
        assert answer.ok, answer.reasons
        line.until_state(State.COMPLETE, within_s=7200.0)
        process_s = (line.now_s - began_s) * line.speed
        return Hour(process_s, time.perf_counter() - real_s, line.true_charge_c)


def harness_figures(loads: int) -> Iterator[Figure]:
    """Measure both harnesses on the same loads; the slowest load and the largest difference count."""
    pairs = [(run_virtual(_virtual(seed)), _direct(seed)) for seed in range(loads)]
    base = f"process s per real s, at {SPEED:g} x"
    yield Figure("virtual_speedup", min(virtual.speedup for virtual, _ in pairs), ">= 100", loads, 0, base)
    yield Figure("direct_speedup", min(direct.speedup for _, direct in pairs), ">= 2000", loads, 0, base)
    difference = max(abs(virtual.charge_c / direct.charge_c - 1) for virtual, direct in pairs)
    yield Figure(
        "harness_difference_percent", 100 * difference, "<= 0.01", loads, 0, f"process, at {SPEED:g} x", timing=False
    )
