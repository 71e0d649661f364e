"""How long a trip takes, from the limit crossed at the simulated device to off read by the supply, on true wires.

Against what `check` printed for that tank: its poll period, the filter's delay (there is none) and the worst delay of
off. A contact of the same line is measured beside it, against its own board's period.
"""

from __future__ import annotations

import random
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from supervisor.config.latency import trip_latencies
from supervisor.config.setup import line_setup, worst_off_delays
from tests.campaigns.figures import Figure, percentile
from tests.harness.lines import Files, short_folder, write_files
from tests.harness.wire import Running, Simulators, service, simulators, until

SEED = 8
LINE: dict[str, object] = {
    "devices.thermometer.period": "300 ms",
    "anodize.ramp": "0 s",
    "ventilation.before": "1 s",
    "tanks.acid.believe.stirred": "1 s",
    "tanks.acid.believe.jump": "50 degC",  # the bath is to cross its limit and come back at once, and be believed
}
PLAN: dict[str, object] = {
    "links.bus.baud_true": True,
    "sensors.acid-middle.lag_s": 0.0,
    "sensors.acid-middle.noise_c": 0.0,
}
FAULTS: dict[str, dict[str, Any]] = {
    "bath": {"what": "sensor shows", "sensor": "acid-middle", "value_c": 25.0},
    "contact": {"what": "contact opens", "contact": "guard"},
}
TRIPPED = {"bath": "stopped", "contact": "held"}
ALARMS = {"bath": "acid/bath-high-high", "contact": "guard/guard-open"}


def trip_latency_figures(quick: bool) -> Iterator[Figure]:
    """Trip again and again on two lines side by side, one by its bath and one by a contact."""
    trips = 5 if quick else 200
    with short_folder() as folder, ThreadPoolExecutor(2) as pool:
        jobs = {what: pool.submit(_measure, folder / what, what, trips) for what in FAULTS}
        for what, job in jobs.items():
            latencies_s, limit_s = job.result()
            name = "trip_latency_ms" if what == "bath" else "trip_latency_contact_ms"
            p99_ms = 1000 * percentile(latencies_s, 0.99)
            yield Figure(name, p99_ms, f"<= {1000 * limit_s:.4g}", len(latencies_s), SEED, "wire, true baud, p99")


def _measure(folder: Path, what: str, trips: int) -> tuple[list[float], float]:
    files = write_files(folder, base="acid-and-seal", line=LINE, plan=PLAN, name=what)
    with simulators(files, "--state-every", "60") as simulated:
        files.set_hosts(simulated.told("ready")[0]["links"])
        with service(files, line=what) as running:
            running.until_proven()
            chance = random.Random(f"{SEED} {what}")
            latencies_s = [_trip(running, simulated, what, chance) for _ in range(trips)]
    return latencies_s, _limit_s(files, what)


def _limit_s(files: Files, what: str) -> float:
    line = files.load()
    if what == "bath":
        return trip_latencies(line)["acid"].total_s
    period_s = line_setup(line).channels["guard"].period_s
    return period_s + worst_off_delays(line)["main-output"].total_s


def _trip(running: Running, simulated: Simulators, what: str, chance: random.Random) -> float:
    """Bring current to flow, cross the limit at a moment of chance, and see how long off took, s."""
    until(lambda: running.ask("start", area="600 cm^2", target="15 um")["ok"], 20.0, every_s=0.2)
    running.until("running", 5.0)
    until(lambda: simulated.told("output")[-1]["on"], 5.0)
    time.sleep(chance.uniform(0.3, 0.9))
    before = len(simulated.truths)
    simulated.order({"fault": FAULTS[what]})
    running.until(TRIPPED[what], 10.0)
    crossed_s, off_s = _moments(simulated.truths[before:])
    simulated.order({"clear": FAULTS[what]["what"]})
    _tidy(running, what)
    return off_s - crossed_s


def _moments(truths: list[dict[str, Any]]) -> tuple[float, float]:
    crossed_s = next(truth["wire_s"] for truth in truths if truth["truth"] == "fault" and truth["begins"])
    off_s = next(truth["wire_s"] for truth in truths if truth["truth"] == "output" and not truth["on"])
    return crossed_s, off_s


def _tidy(running: Running, what: str) -> None:
    """Reset alarm and operation, as a person does before the next load."""
    until(lambda: running.ask("alarm reset", alarm=ALARMS[what])["ok"], 20.0, every_s=0.1)
    if what == "contact":
        running.ask("stop")
    until(lambda: running.ask("reset")["ok"], 10.0, every_s=0.1)
