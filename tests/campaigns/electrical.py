"""The electrical watch over a thousand loads: nothing is said of sound ones, and a part that falls off is told."""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Iterator
from dataclasses import replace

from supervisor.core import electrical
from supervisor.core.electrical import BURNING, CREEPING, HOT, LOST, TOUCHED
from tests.campaigns.figures import Figure
from tests.harness.electrical_load import (
    LOAD_S,
    Draw,
    ElectricalLoad,
    Fault,
    Played,
    area_lost,
    burns,
    creeps_off,
    draw,
    heats,
    touches,
)  # fmt: skip

SEED = 1
BASE = "process time, cell and supply before the watch alone"
CONTACT = frozenset({LOST, CREEPING, HOT})
WHOLE = "current-lost"
"""What a current that is gone is named; the harness says so for the core."""

AFTER_START_S = 60.0
"""The start transient, after the soft start: plateau by 30-60 s (from memory)."""

WATCHED_S = 700.0
"""Process time for which a load with something wrong is played on."""

Making = Callable[[random.Random, Draw], Fault]


def clean(seed: int) -> Played:
    """Play one sound load to its end."""
    return ElectricalLoad(draw(random.Random(f"{seed}")), seed).play()


def broken(seed: int, making: Making) -> Played:
    """Play one load on which something goes wrong at a time drawn after the start transient."""
    chance = random.Random(f"{seed}")
    of = draw(chance)
    at_s = of.ramp_s + AFTER_START_S + chance.uniform(0.0, LOAD_S - WATCHED_S - of.ramp_s - AFTER_START_S)
    return ElectricalLoad(of, seed).play(making(chance, of), at_s, at_s + WATCHED_S)


def half_or_more(chance: random.Random, _: Draw) -> Fault:
    """Half the area at least, and up to all but a twentieth."""
    return area_lost(chance.uniform(0.5, 0.95))


def barely(chance: random.Random, of: Draw) -> Fault:
    """The least loss that is said to be detectable on this load and these meters."""
    return area_lost(electrical.least_loss(ElectricalLoad(of, 0).sight))


KINDS: dict[str, tuple[Making, frozenset[str]]] = {
    "creep": (lambda _chance, _of: creeps_off(600.0), CONTACT),
    "hot_contact": (lambda chance, _of: heats(chance.uniform(0.2, 0.4), 120.0), CONTACT),
    "touch": (lambda chance, _of: touches(chance.uniform(0.1, 3.0)), frozenset({TOUCHED})),
    "burning": (lambda chance, _of: burns(chance.uniform(1.0, 6.0)), frozenset({BURNING})),
}
"""What else is played, and what it may be called."""


def electrical_figures(quick: bool) -> Iterator[Figure]:
    """Measure false reports, how fast a loss is told, what else is found, and what one reading costs."""
    loads = 20 if quick else 1000
    false = [seed for seed in range(1, loads + 1) if clean(seed).cause]
    yield Figure("false_reports", float(len(false)), "<= 0", loads, SEED, BASE, timing=False)
    half = [broken(seed, half_or_more) for seed in range(1, loads + 1)]
    worst_s = max(played.at_s for played in half)
    yield Figure("half_area_loss_report_s", worst_s, "<= 10", loads, SEED, BASE, timing=False)
    named = all(played.cause in CONTACT | {WHOLE} for played in half)
    yield Figure("half_area_loss_named", named, "= true", loads, SEED, BASE, timing=False)
    some = loads // 5
    least = [broken(seed, barely) for seed in range(1, some + 1)]
    found = sum(played.cause in CONTACT and played.at_s <= electrical.WITHIN_S for played in least) / some
    yield Figure("least_loss_found_percent", 100 * found, ">= 90", some, SEED, BASE, timing=False)
    for what, (making, names) in KINDS.items():
        told = [broken(seed, making) for seed in range(1, some + 1)]
        share = sum(played.cause in names for played in told) / some
        yield Figure(f"{what}_named_percent", 100 * share, ">= 95", some, SEED, BASE, timing=False)
        yield Figure(f"{what}_report_s", max(played.at_s for played in told), "report", some, SEED, BASE, timing=False)
    yield update_cost()


def update_cost() -> Figure:
    """Measure what one reading costs once a load has settled."""
    load = ElectricalLoad(replace(draw(random.Random("1")), steps=()), 1)
    watch = load.play(until_s=300.0).watch
    assert watch is not None
    assert watch.settled is not None
    sample = electrical.Sample(watch.at_s, watch.settled.current_a, 15.0, watch.bath_c, 3e4)
    count = 20_000
    began_s = time.process_time()
    for _ in range(count):
        sample = sample._replace(at_s=sample.at_s + 0.1)
        watch = electrical.step(watch, sample, load.sight)
    each_us = (time.process_time() - began_s) / count * 1e6
    return Figure("electrical_update_us", each_us, "<= 20", count, SEED, "processor time")
