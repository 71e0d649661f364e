"""Line files and simulators' plans for tests: a plain line's or an example's, changed only where a test says so."""

from __future__ import annotations

import json
import os
import shutil
import tempfile
import tomllib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from simulators.faults import Fault, read_faults
from simulators.line import names_of
from simulators.plan import LinePlan, read_plan
from simulators.tables import Reader
from supervisor.config.load import LineFile, load_line

ROOT = Path(__file__).parents[2]
CONFIG = ROOT / "config"
LINE_FILE = ROOT / "tests" / "harness" / "plain-line.toml"
PLAN_FILE = ROOT / "tests" / "harness" / "plain-line.sim.toml"
"""One supply and one thermometer on one bus: the line of every test that needs no other."""

SPEED = 60.0
"""The demo's speed; the periods in its line file are set for it."""


@dataclass(frozen=True)
class Base:
    """Files a test's line is made from, and the speed that its periods are set for. Profiles are those of config."""

    line: Path
    plan: Path
    speed: float


BASES = {
    "plain": Base(LINE_FILE, PLAN_FILE, SPEED),
    "knob-supply": Base(CONFIG / "knob-supply.toml", ROOT / "simulators" / "lines" / "knob.toml", 1.0),
    "scpi-and-board": Base(CONFIG / "scpi-and-board.toml", ROOT / "simulators" / "lines" / "scpi.toml", 1.0),
    "acid-and-seal": Base(CONFIG / "acid-and-seal.toml", ROOT / "simulators" / "lines" / "acid-and-seal.toml", 1.0),
}


@dataclass(frozen=True)
class Files:
    """A line in a folder of its own.

    Attributes:
        folder: which also serves as run-time folder of its supervisor (locks and socket).
        line: the line file; each serial link is its name under `links` beside it.
        plan: the simulators' own file.
    """

    folder: Path
    line: Path
    plan: Path

    @property
    def links(self) -> Path:
        """Where the line file looks for its ports."""
        return self.folder / "links"

    def set_hosts(self, places: Mapping[str, str]) -> None:
        """Let the links over TCP lead to these hosts, by link name; paths of ptys are left out."""
        over_tcp = {name: place for name, place in places.items() if not place.startswith("/")}
        hosts: dict[str, object] = {f"links.{name}.host": place for name, place in over_tcp.items()}
        self.line.write_text(_changed(self.line, hosts), encoding="utf-8")

    def load(self) -> LineFile:
        """Read the line file."""
        return load_line(self.line)

    def read_plan(self) -> LinePlan:
        """Read the simulators' file."""
        return read_plan(self.plan)


def write_files(
    folder: Path,
    *,
    line: dict[str, object] | None = None,
    plan: dict[str, object] | None = None,
    name: str = "demo",
    base: str | Base = "plain",
) -> Files:
    """Write the file and plan of a base, or one of the `BASES` by name, into a folder, some of their values changed.

    `line` and `plan` map keys such as `devices.rectifier.period` to new values, or a key or a whole table to None,
    which leaves it out. Raises ValueError for one that the file does not have, so that no change is lost when that
    file changes.
    """
    folder.mkdir(parents=True, exist_ok=True)
    files, made_from = Files(folder, folder / "line.toml", folder / "plan.toml"), base_of(base)
    shutil.copytree(CONFIG / "profiles", folder / "profiles", dirs_exist_ok=True)
    changes = {"line.name": name, **_ports(made_from.line), **(line or {})}
    files.line.write_text(_changed(made_from.line, changes), encoding="utf-8")
    files.plan.write_text(_changed(made_from.plan, plan or {}), encoding="utf-8")
    return files


def base_of(base: str | Base) -> Base:
    """Return a base, or the one of the `BASES` of this name."""
    return BASES[base] if isinstance(base, str) else base


def _ports(path: Path) -> dict[str, object]:
    links = tomllib.loads(path.read_text(encoding="utf-8"))["links"]
    return {f"links.{name}.port": f"links/{name}" for name, link in links.items() if "port" in link}


def _changed(path: Path, changes: dict[str, object]) -> str:
    """The file's text with the values of some keys replaced; only what stands alone on its line can be."""
    table, missing, lines = "", set(changes), []
    for given in path.read_text(encoding="utf-8").splitlines():
        key = f"{table}.{given.partition('=')[0].strip()}"
        if given.startswith("["):
            table = key = given.partition("#")[0].strip("[] ")
        missing.discard(key)
        if changes.get(table, given) is None or changes.get(key, given) is None:
            continue
        lines.append(given if key not in changes else f"{key.rpartition('.')[2]} = {json.dumps(changes[key])}")
    if missing:
        raise ValueError(f"{path} has no {', '.join(sorted(missing))}")
    return "\n".join(lines) + "\n"


@contextmanager
def short_folder() -> Iterator[Path]:
    """Make a folder for one run whose path is short enough for a socket, and the run-time folder of this process."""
    before = os.environ.get("AMPMINDER_RUNTIME")
    with tempfile.TemporaryDirectory(prefix="ampm-") as name:
        os.environ["AMPMINDER_RUNTIME"] = name
        try:
            yield Path(name)
        finally:
            if before is None:
                del os.environ["AMPMINDER_RUNTIME"]
            else:
                os.environ["AMPMINDER_RUNTIME"] = before


def faults_of(plan: LinePlan, *tables: dict[str, Any], speed: float = SPEED) -> list[Fault]:
    """Faults as a script would have them."""
    names = names_of(plan, speed)
    return [fault for table in tables for fault in read_faults(Reader(table, "fault"), names)]


def with_true_meter(plan: LinePlan) -> LinePlan:
    """The same line with meters that read exactly."""
    return replace(plan, supplies={name: replace(of, meter_gain_error=0.0) for name, of in plan.supplies.items()})
