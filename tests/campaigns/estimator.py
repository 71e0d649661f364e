"""What a pair of readings costs the estimate of a load: charge, coat, electrical watch; early and after very many."""

from __future__ import annotations

import gc
import random
import time
from collections.abc import Iterator
from dataclasses import replace

from supervisor.config.setup import line_setup
from supervisor.core import coat, dose, electrical
from supervisor.core.coat import Coat
from supervisor.core.dose import Dose, Metering
from supervisor.core.electrical import Sample, Watch
from supervisor.trade.dissolution import wall_loss_nm_per_s
from tests.campaigns.figures import Figure
from tests.campaigns.loads import line_files
from tests.harness.electrical_load import ElectricalLoad, draw

SEED = 1
PERIOD_S, SHOWN_V = 0.1, 15.0
BATCH, BATCHES = 100, 200
FEW, MANY = 10, 100_000


class Estimate:
    """The estimate of a settled load, as `core/readings.py`, `core/in_acid.py` and `core/watching.py` bring it on."""

    def __init__(self) -> None:
        load = ElectricalLoad(replace(draw(random.Random(f"{SEED}")), steps=()), SEED)
        watch = load.play(until_s=300.0).watch
        assert watch is not None
        assert watch.settled is not None
        self.watch: Watch = watch
        self._sight, self._settled = load.sight, watch.settled
        setup = line_setup(line_files()[0], 1.0)
        supply = setup.supplies["main"]
        channel = setup.channels[supply.current]
        self._metering = Metering(channel.accuracy, PERIOD_S, supply.rated_current_a, meter=supply.meter, doubt_s=0.001)
        self.now_s = watch.at_s
        self.dose = dose.begin(Dose(), self.now_s)
        self.coat = Coat()

    def update(self) -> None:
        """Take in one pair of readings."""
        self.now_s += PERIOD_S
        self.dose = dose.read(self.dose, self._settled.current_a, self.now_s, self._metering)
        loss_nm_per_s = wall_loss_nm_per_s(self.watch.bath_c, under_current=True)
        charge = self.dose.charge
        outer_nm, layers_nm_c, barren = coat.older(self.coat, self.now_s, loss_nm_per_s, charge, grows=True)
        self.coat = Coat(self.now_s, outer_nm, layers_nm_c, charge, barren, worked_v=SHOWN_V)
        sample = Sample(self.now_s, self._settled.current_a, SHOWN_V, self.watch.bath_c, 3e4)
        self.watch = electrical.step(self.watch, sample, self._sight)


def estimator_figures(quick: bool) -> Iterator[Figure]:
    """Measure an update after ten readings and after a hundred thousand; the dearer one counts."""
    many = MANY // 10 if quick else MANY
    few_us, many_us = _cost_us(FEW), _cost_us(many)
    base, count = "processor time, least of batches", BATCH * BATCHES
    yield Figure("estimator_update_us", max(few_us, many_us), "<= 20", count, SEED, base)
    for readings, cost_us in ((FEW, few_us), (many, many_us)):
        yield Figure(f"estimator_update_us_after_{readings}", cost_us, "report", count, SEED, base)


def _cost_us(after: int) -> float:
    """Processor time of one update after so many, us: the batch least disturbed by other programs."""
    estimate = Estimate()
    for _ in range(after):
        estimate.update()
    gc.collect()
    return min(_batch_us(estimate) for _ in range(BATCHES))


def _batch_us(estimate: Estimate) -> float:
    began_s = time.process_time()
    for _ in range(BATCH):
        estimate.update()
    return (time.process_time() - began_s) / BATCH * 1e6
