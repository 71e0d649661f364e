"""The driver of the docs, installed as a package of its own, is found and reads a thermometer."""

from __future__ import annotations

import asyncio
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from importlib.metadata import EntryPoint
from pathlib import Path

import pytest

from drivers import catalog
from tests.drivers.text_peer import TextPeer

ROOT = Path(__file__).parents[2]
EXAMPLE = ROOT / "docs" / "examples" / "own-driver"
MODULE = EXAMPLE / "plain_thermometer.py"

READS = """
import asyncio, json, sys, time
from drivers.catalog import build_device, build_link, drivers
from drivers.points import DeviceMap, Field, SerialSettings
from drivers.ports import WireError

async def main() -> None:
    settings = SerialSettings("wire", "serial text", 1.0, 0.01, port=sys.argv[1], baud=9600)
    point = Field("tank", label="T", unit="degC", low=-20.0, high=120.0)
    device_map = DeviceMap("glass", "plain thermometer", 0, {"tank": point}, 0.2)
    link = build_link(settings, time.monotonic)
    device = build_device(link, device_map)
    got = []
    for _ in range(3):
        try:
            got.append((await device.read({"tank"})).values["tank"])
        except WireError as error:
            got.append(type(error).__name__)
    await link.close()
    longest_s = drivers()[device_map.driver].times(settings, device_map).longest_s
    print(json.dumps({"got": got, "module": type(device).__module__, "longest_s": longest_s}))

asyncio.run(main())
"""


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the example in it as pip installs a package."""
    folder = tmp_path_factory.mktemp("own")
    source, target = folder / "source", folder / "installed"
    shutil.copytree(EXAMPLE, source)
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "install", "--quiet", "--no-index"]
    subprocess.run([*pip, "--no-deps", "--no-build-isolation", "--target", target, source], check=True)
    return target


async def test_an_installed_package_brings_its_driver(installed: Path) -> None:
    environment = os.environ | {"PYTHONPATH": f"{installed}{os.pathsep}{ROOT}"}
    with TextPeer() as far:
        far.answer("T=20.56", "T=", "T=warm")
        process = await asyncio.create_subprocess_exec(
            sys.executable, "-c", READS, far.port, env=environment, cwd=installed, stdout=subprocess.PIPE
        )
        out, _ = await process.communicate()
        assert process.returncode == 0
        assert far.heard == ["T?"] * 3
    told = json.loads(out)
    assert told["got"] == [20.56, None, "BadAnswer"]
    assert told["module"] == "plain_thermometer"
    assert told["longest_s"] == pytest.approx(15 * 10 / 9600 + 0.2)


def test_the_docs_show_the_files_that_are_tested_and_the_driver_has_fifty_lines_at_most() -> None:
    docs = (ROOT / "docs" / "own-driver.md").read_text(encoding="utf-8")
    module = MODULE.read_text(encoding="utf-8")
    assert f"```python\n{module}```" in docs
    assert f"```toml\n{(EXAMPLE / 'pyproject.toml').read_text(encoding='utf-8')}```" in docs
    assert len(module.splitlines()) <= 50


@pytest.fixture
def anew() -> Iterator[None]:
    """The catalog looks for packages anew, before the test and after it."""
    catalog.drivers.cache_clear()
    yield
    catalog.drivers.cache_clear()


def name(monkeypatch: pytest.MonkeyPatch, value: str) -> None:
    """Let a package be there that names this as its driver."""
    entry = EntryPoint("some driver", value, catalog.ENTRY_POINTS)
    monkeypatch.setattr(catalog, "entry_points", lambda *, group: [entry] if group == "ampminder.drivers" else [])


@pytest.mark.usefixtures("anew")
def test_an_entry_that_is_no_driver_is_told_as_such(monkeypatch: pytest.MonkeyPatch) -> None:
    name(monkeypatch, "drivers.catalog:OURS")
    with pytest.raises(TypeError, match=r"catalog:OURS is no Driver; the package that names it must be mended"):
        catalog.drivers()


@pytest.mark.usefixtures("anew")
def test_a_package_cannot_take_the_name_of_a_driver_that_is_there(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(catalog, "SAME", catalog.OURS[0], raising=False)
    name(monkeypatch, "drivers.catalog:SAME")
    with pytest.raises(ValueError, match="names the driver `modbus supply`, which there is already"):
        catalog.drivers()
