"""The service as a process: how soon it reads, how much memory it holds, how its charge agrees with the truth."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree as ET

from supervisor.config.setup import line_setup
from supervisor.service.clock import boot_clock_s
from tests.campaigns.figures import Figure
from tests.harness.lines import ROOT, SPEED, Files, short_folder, write_files
from tests.harness.wire import service, simulators, until


def core_suite() -> Figure:
    """Time the tests of the core and of the trade's formulas by pytest's own measure, compiled before as on any day."""
    compiled = {**os.environ, "PYTHONDONTWRITEBYTECODE": ""}
    with tempfile.TemporaryDirectory() as folder:
        report = Path(folder) / "report.xml"
        command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "tests/core", "tests/trade"]
        subprocess.run([*command, "--collect-only"], cwd=ROOT, capture_output=True, env=compiled, check=False)
        done = subprocess.run(
            [*command, f"--junit-xml={report}"],
            cwd=ROOT, capture_output=True, text=True, env=compiled, check=False,
        )  # fmt: skip
        if done.returncode != 0:
            raise RuntimeError(f"The core's tests fail:\n{done.stdout[-2000:]}")
        suite = ET.parse(report).getroot()[0]
        return Figure("core_suite_s", float(suite.attrib["time"]), "<= 2", int(suite.attrib["tests"]), None, "real")


def first_reading(runs: int) -> Figure:
    """Time from the start of the process to the first good reading of the current; the slowest run counts."""
    took_s = []
    with short_folder() as folder:
        files = write_files(folder)
        with simulators(files):
            for _ in range(runs):
                with service(files) as running:
                    until(lambda: running.supply().get("current_a") is not None, 20.0, every_s=0.01)
                    took_s.append(boot_clock_s() - running.began_s)
    return Figure("first_reading_s", max(took_s), "<= 2", runs, None, "wire")


def demo_load_figures(target: str) -> Iterator[Figure]:
    """Run the demo's load at the demo's speed, its meter within its stated accuracy and no better."""
    with short_folder() as folder:
        files = write_files(folder)
        with simulators(files, speed=SPEED) as simulated, service(files, speed=SPEED) as running:
            running.until_proven()
            running.begin(target)
            operation = running.until("complete", 200.0)["operation"]
            truth_c = simulated.last_switch(on=False)["charge_c"]
            resident_mb = running.resident_mb()
        charge, current_a = operation["charge_c"], operation["set_current_a"]
        stated = _stated_percent(files, current_a)
    apart = 100 * abs(charge["best"] / truth_c - 1)
    base = f"process, at {SPEED:g} x"
    yield Figure("charge_agreement_percent", apart, f"<= {0.2 + stated:.4g}", 1, 0, base, timing=False)
    within = bool(charge["low"] <= truth_c <= charge["high"])
    yield Figure("charge_contains_truth", within, "= true", 1, 0, base, timing=False)
    yield Figure("resident_mb", resident_mb, "<= 60", 1, None, "at the end of that load")


def _stated_percent(files: Files, current_a: float) -> float:
    """The meter's stated accuracy at this current, percent of it."""
    setup = line_setup(files.load(), SPEED)
    accuracy = setup.channels[setup.supplies["main"].current].accuracy
    return 100 * (accuracy.of_reading + accuracy.absolute / current_a)
