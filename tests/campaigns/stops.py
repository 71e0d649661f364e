"""How exactly an operation stops at its target: several lines side by side, each with processes of its own."""

from __future__ import annotations

import random
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from tests.campaigns.figures import Figure, percentile
from tests.harness.lines import short_folder, write_files
from tests.harness.wire import Running, Simulators, service, simulators, until

SEED = 1
LINE: dict[str, object] = {
    "devices.rectifier.period": "200 ms",
    "devices.thermometer.period": "1 s",
    "anodize.ramp": "3 s",
    "anodize.ramp_step": "500 ms",
}
PLAN: dict[str, object] = {"supplies.rectifier.meter_gain_error": 0.0, "links.bus.baud_true": True}

TARGET = "0.234 um"
"""Takes 30 s at 1.95 A on 1.3 dm2 with a soft start of 3 s."""


@dataclass(frozen=True)
class Stop:
    """One stop: how far the truth was from the target, as time at the set current, and whether the charge held it."""

    error_s: float
    within: bool


def stop_figures(lines: int, rounds: int) -> Iterator[Figure]:
    """Anodize small loads on several lines at once; every stop counts."""
    with short_folder() as folder, ThreadPoolExecutor(lines) as pool:
        jobs = [pool.submit(_line, folder, number, rounds) for number in range(lines)]
        stops = [stop for job in jobs for stop in job.result()]
    p99_ms = 1000 * percentile([abs(stop.error_s) for stop in stops], 0.99)
    base = "wire and process alike, true baud, p99"
    yield Figure("stop_error_ms", p99_ms, "<= 20", len(stops), SEED, base)
    within = all(stop.within for stop in stops)
    yield Figure("stop_charge_contains_truth", within, "= true", len(stops), SEED, base, timing=False)


def _line(folder: Path, number: int, rounds: int) -> list[Stop]:
    name, chance = f"stop{number}", random.Random(f"{SEED} {number}")
    files = write_files(folder / name, line=LINE, plan=PLAN, name=name)
    with (
        simulators(files, "--state-every", "5", seed=number) as simulated,
        service(files, line=name) as running,
    ):
        running.until_proven(20.0)
        time.sleep(2.0)
        return [_stop(running, simulated, chance) for _ in range(rounds)]


def _stop(running: Running, simulated: Simulators, chance: random.Random) -> Stop:
    """Run one load; the truth is asked, not the supervisor, until the output is off, so that nothing disturbs it."""
    time.sleep(chance.uniform(0.0, 1.0))
    switched = len(simulated.told("output"))
    running.begin(TARGET)

    def ended() -> bool:
        changes = [truth["on"] for truth in simulated.told("output")[switched:] if truth["changed"]]
        return changes == [True, False]

    until(ended, 60.0, every_s=0.2)
    operation = running.until("complete", 5.0)["operation"]
    began_c = simulated.last_switch(on=True)["charge_c"]
    charge_c = simulated.last_switch(on=False)["charge_c"] - began_c
    assert running.ask("reset")["ok"]
    charge = operation["charge_c"]
    return Stop(
        (charge_c - operation["target"]["charge_c"]) / operation["set_current_a"],
        bool(charge["low"] <= charge_c <= charge["high"]),
    )
