"""Simulated lines for tests: a few lines of a plan, read as the simulators read their files."""

from __future__ import annotations

from pathlib import Path

from simulators.plan import LinePlan, read_plan

BASE = """
version = 1
name = "test"

[tanks.acid]
volume_l = 8.0
acid_g_per_l = 165.0
start_c = 20.5
loss_w_per_c = 0.0

[supplies.main]
tank = "acid"
rated_current_a = 10.0
rated_voltage_v = 60.0
load = { area_dm2 = 1.3, alloy = "6061" }
"""


def made(folder: Path, text: str, base: str = BASE) -> LinePlan:
    """The plan of this text behind the usual tank and supply."""
    path = folder / "line.toml"
    path.write_text(base + text, encoding="utf-8")
    return read_plan(path)
