"""How long an off takes from its decision in the supervisor to the last byte read by the device."""

from __future__ import annotations

import json
import random
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from supervisor.config.setup import worst_off_delays
from supervisor.service.app import journal_path
from tests.campaigns.figures import Figure, percentile
from tests.harness.journals import recorded
from tests.harness.lines import Files, short_folder, write_files
from tests.harness.wire import Running, service, simulators

SEED = 2
LINE: dict[str, object] = {"devices.rectifier.period": "200 ms", "devices.thermometer.period": "300 ms"}
PLAN: dict[str, object] = {"links.bus.baud_true": True}
SILENT = '[[fault]]\nwhat = "device silent"\ndevice = "thermometer"\nat_s = 0.0\n'

BETWEEN_S = (0.6, 1.0)
"""Real time between two requests for off, s: the one before is proven, and no two meet the same moment of polling."""


def off_latency_figures(samples: int) -> Iterator[Figure]:
    """Measure on two lines side by side, one of them with a thermometer that does not answer."""
    with short_folder() as folder, ThreadPoolExecutor(2) as pool:
        jobs = {
            "off_latency_healthy_ms": pool.submit(_measure, folder / "a", "healthy", samples, ""),
            "off_latency_neighbour_silent_ms": pool.submit(_measure, folder / "b", "silent", samples, SILENT),
        }
        for name, job in jobs.items():
            latencies_s, limit_s = job.result()
            p99_ms = 1000 * percentile(latencies_s, 0.99)
            yield Figure(name, p99_ms, f"<= {1000 * limit_s:.4g}", len(latencies_s), SEED, "wire, true baud, p99")


def _measure(folder: Path, name: str, samples: int, faults: str) -> tuple[list[float], float]:
    """Ask for off at random moments; return every latency and what `check` says of the output, s."""
    files = write_files(folder, line=LINE, plan=PLAN, name=name)
    script = folder / "faults.toml"
    script.write_text(faults, encoding="utf-8")
    with simulators(files, "--faults", str(script), "--state-every", "5") as simulated:
        with service(files, line=name) as running:
            running.until_proven()
            _ask_often(running, samples, random.Random(f"{SEED} {name}"))
        outputs = simulated.told("output")
    latencies_s = list(_latencies_s(files, [truth["wire_s"] for truth in outputs if not truth["on"]]))
    assert len(latencies_s) == samples, f"{len(latencies_s)} of {samples} offs were recorded"
    return latencies_s, worst_off_delays(files.load())["main-output"].total_s


def _ask_often(running: Running, samples: int, chance: random.Random) -> None:
    for _ in range(samples):
        time.sleep(chance.uniform(*BETWEEN_S))
        assert running.ask("off")["ok"]
    time.sleep(BETWEEN_S[1])


def _latencies_s(files: Files, offs_wire_s: list[float]) -> Iterator[float]:
    """For every off that a person asked for: from its decision to the next off that the device read."""
    for event, actions in recorded(journal_path(files.load())):
        if json.loads(event)["event"] != "request":
            continue
        for action in json.loads(actions):
            if action["action"] == "switch off":
                yield _next_off_s(action, offs_wire_s)


def _next_off_s(action: dict[str, Any], offs_wire_s: list[float]) -> float:
    decided_s = float(action["decided_wire_s"])
    return min((off_s for off_s in offs_wire_s if off_s >= decided_s), default=float("inf")) - decided_s
