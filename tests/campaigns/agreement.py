"""Whether loads of the five worlds run over ptys, through drivers and service, as they do by plain calls."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Executor
from dataclasses import dataclass

from simulators.plan import LinePlan
from supervisor.core import coat
from supervisor.core.anodize import State
from supervisor.trade.charge import Interval
from tests.campaigns.figures import Figure
from tests.campaigns.loads import FILE, LOADS_OF_A_LINE, line_files, order_of, planned, world_of, written
from tests.campaigns.worlds import WORLDS, DrawnLine, DrawnLoad, draw_line, draw_load
from tests.harness.direct import DirectLine
from tests.harness.lines import short_folder
from tests.harness.standing import Standing
from tests.harness.virtual import virtual_line
from tests.harness.virtual_loop import run_virtual

SEED = 1
BASE = "process, as in life"


@dataclass(frozen=True)
class End:
    """How a load ended: true charge, C, and thickness, um; its charge, C, and its band, um, as told."""

    true_c: float
    true_um: float
    charge_c: Interval
    band_um: Interval

    def apart_percent(self, other: End) -> float:
        """The largest difference of any of these."""
        mine, others = self._all(), other._all()
        return 100 * max(abs(one / another - 1) for one, another in zip(mine, others, strict=True))

    def _all(self) -> tuple[float, ...]:
        charge, band = self.charge_c, self.band_um
        return self.true_c, self.true_um, charge.low, charge.best, charge.high, band.low, band.best, band.high


def apart_percent(number: int) -> float:
    """Play the first load of a line, with nothing lost, both ways; return how far they are apart."""
    seed = number * LOADS_OF_A_LINE + 1
    line = draw_line(WORLDS[world_of(number)], number)
    load = draw_load(line, seed)
    return _direct(line, load, seed).apart_percent(run_virtual(_virtual(line, load, seed)))


def _end(line: Standing) -> End:
    operation = line.operation
    charge, growth = operation.dose.charge, operation.plan.growth
    assert growth is not None
    told = coat.told(operation, line.supply.coat, charge, growth)
    return End(line.true_charge_c, line.simulated_supply.thickness_um, charge, told.band_um)


def _direct(drawn: DrawnLine, load: DrawnLoad, seed: int) -> End:
    file, plan = line_files()
    line = DirectLine(file, planned(plan, drawn, load), speed=1.0, seed=seed)
    line.start()
    answer = line.ask("start", order=order_of(drawn, load))
    assert answer.ok, answer.reasons
    line.until_state(State.COMPLETE, within_s=3 * 3600.0)
    return _end(line)


async def _virtual(drawn: DrawnLine, load: DrawnLoad, seed: int) -> End:
    def plan(base: LinePlan) -> LinePlan:
        return planned(base, drawn, load)

    order = order_of(drawn, load)
    with short_folder() as folder:
        async with virtual_line(seed=seed, line=FILE, base=written(folder), plan=plan) as line:
            await line.start()
            answer = await line.ask(
                "start", area=f"{order.area_m2} m^2", target=f"{order.target_um} um", alloy=order.alloy,
                density=f"{order.density_a_per_m2} A/m^2",
            )  # fmt: skip
            assert answer["ok"], answer
            await line.pass_time(line.operation.plan.expected_s - 60.0)
            await line.until_state(State.COMPLETE, within_s=3600.0)
            return _end(line)


def agreement_figures(loads: int, pool: Executor) -> Iterator[Figure]:
    """Measure the load on which both are furthest apart."""
    apart = max(pool.map(apart_percent, range(loads)))
    yield Figure("harness_difference_percent", apart, "<= 0.01", loads, SEED, BASE, timing=False)
