"""`ampminder off`: off and its proof, with a supervisor running or not, whatever state it is in."""

from __future__ import annotations

import asyncio
import json
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import cast

from drivers.catalog import build_device, build_link
from drivers.ports import SupplyDevice
from supervisor.config.load import LineFile, load_line
from supervisor.config.setup import device_maps, line_setup, link_settings
from supervisor.edges.client import ask
from supervisor.edges.control import ControlError, socket_path
from supervisor.edges.requests import new_body
from supervisor.runtime import RuntimeFolderError
from supervisor.service.app import names_to_hold
from supervisor.service.clock import boot_clock_s
from supervisor.service.holder import Holder, end_holder, hold, holder_of
from supervisor.service.safe import Fate, SafeSupply, make_safe

ASKED_S = 1.0
"""How long a running supervisor may take to prove off before it is ended."""

KILL_S = 2.0
DIRECT_S = 5.0
POLL_S = 0.02


def off(path: Path, *, as_json: bool) -> int:
    """Switch every supply of a line off and prove it; 0 when proven, 1 otherwise. Raises LineMistakes."""
    line = load_line(path)
    told: list[str] = []
    try:
        fates = asyncio.run(_off(line, told))
    except RuntimeFolderError as problem:
        told.append(str(problem))
        fates = [Fate(name, problem=str(problem)) for name in line.document.supplies]
    _tell(fates, told, as_json=as_json)
    return 0 if fates and all(fate.proven for fate in fates) else 1


async def _off(line: LineFile, told: list[str]) -> list[Fate]:
    """Ask whoever supervises the line; without proof in time, end them and do it here."""
    holders = [holder for name in names_to_hold(line) if (holder := holder_of(name)) is not None]
    if holders:
        told.append(f"A supervisor is running (process {holders[0].pid} of {holders[0].user}); it was asked for off.")
        proven = await _ask_running(line)
        if proven:
            return [Fate(name, proven=True) for name in proven]
        told.append(f"It did not prove off within {ASKED_S:g} s, so it was ended and off was sent from here.")
        _end_all(holders)
    with hold(names_to_hold(line), line=line.name, line_file=line.path, wall_s=time.time()):
        return await _directly(line)


async def _ask_running(line: LineFile) -> list[str]:
    """Return the supplies, all proven off by the running supervisor; empty where it did not manage in time."""
    ends_s = time.monotonic() + ASKED_S
    try:
        path = socket_path(line.name)
        await ask(path, "off", new_body(boot_clock_s()), ASKED_S)
        while time.monotonic() < ends_s:
            supplies = (await ask(path, "status", {}, max(POLL_S, ends_s - time.monotonic())))["supplies"]
            if all(supply["off_proven"] for supply in supplies.values()):
                return list(supplies)
            await asyncio.sleep(POLL_S)
    except (ControlError, KeyError):
        return []
    return []


def _end_all(holders: Sequence[Holder]) -> None:
    """End every process that holds something of the line; usually they are one."""
    for holder in {holder.pid: holder for holder in holders}.values():
        end_holder(holder, 0.0, KILL_S)


async def _directly(line: LineFile) -> list[Fate]:
    setup, maps, devices = line_setup(line), device_maps(line), line.document.devices
    links = {name: build_link(settings, boot_clock_s) for name, settings in link_settings(line).items()}
    supplies = []
    for name, supply in setup.supplies.items():
        driver = build_device(links[devices[supply.device].link], maps[supply.device])
        supplies.append(SafeSupply(name, cast("SupplyDevice", driver), supply.off_threshold_a))
    try:
        return await make_safe(supplies, DIRECT_S)
    finally:
        for link in links.values():
            await link.close()


def _tell(fates: Sequence[Fate], told: Sequence[str], *, as_json: bool) -> None:
    if as_json:
        supplies = {fate.name: {"off_proven": fate.proven, "problem": fate.problem} for fate in fates}
        print(json.dumps({"version": 1, "ok": all(f.proven for f in fates), "supplies": supplies, "told": list(told)}))
        return
    for text in told:
        print(text)
    tell_fates(fates)


def tell_fates(fates: Sequence[Fate]) -> None:
    """Say how every supply was left."""
    for fate in fates:
        if fate.proven:
            print(f"{fate.name}: off is proven.")
        else:
            print(
                f"{fate.name}: OFF IS NOT PROVEN: {fate.problem}.\n"
                f"  Cut the mains of {fate.name} by hand. Keep hands out of the tank.",
                file=sys.stderr,
            )
