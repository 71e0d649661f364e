"""`ampminder off`: off and its proof, with a supervisor running or not, whatever state it is in."""

from __future__ import annotations

import asyncio
import json
import sys
import time
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from supervisor.config.load import LineFile, load_line
from supervisor.config.mistakes import LineMistakes
from supervisor.config.setup import line_setup
from supervisor.edges.client import ask
from supervisor.edges.control import Answer, ControlError, socket_path
from supervisor.edges.requests import new_body
from supervisor.runtime import RuntimeFolderError
from supervisor.service.app import names_to_hold, port_names
from supervisor.service.clock import boot_clock_s
from supervisor.service.holder import AlreadyHeldError, Holder, end_holder, hold, holder_of, holders_of_file
from supervisor.service.safe import Fate, make_safe
from supervisor.service.wires import build_wires, safe_state

ASKED_S = 1.0
"""How long a running supervisor may take to prove off before it is ended."""

KILL_S = 2.0
DIRECT_S = 5.0
POLL_S = 0.02

ROUNDS = 2
"""How often the port is tried for: one that was ended may have been started again at once."""


def off(path: Path, *, as_json: bool) -> int:
    """Switch every supply of a line off and prove it; 0 when proven, 1 otherwise.

    Raises LineMistakes where the line file cannot be used and nobody who was started with it proves off.
    """
    told: list[str] = []
    try:
        line = load_line(path)
    except LineMistakes as mistakes:
        fates = asyncio.run(_without_file(path, mistakes, told))
    else:
        fates = asyncio.run(_off(line, told))
    _tell(fates, told, as_json=as_json)
    return 0 if fates and all(fate.proven for fate in fates if fate.vital) else 1


async def _without_file(path: Path, mistakes: LineMistakes, told: list[str]) -> list[Fate]:
    """A line file spoilt since its supervisor was started: that one still knows what to switch off."""
    with suppress(RuntimeFolderError):
        for holder in holders_of_file(path):
            state = await _ask_running(holder)
            if state is not None:
                told.append(f"{path} has mistakes, so process {holder.pid}, started with it before, was asked for off.")
                return [Fate(name, proven=True) for name in state["supplies"]]
    print(
        "OFF IS NOT PROVEN: the line file has mistakes, so off could not be sent from here.\n"
        "  Cut the mains of the supply by hand. Keep hands out of the tank.",
        file=sys.stderr,
    )
    raise mistakes


async def _off(line: LineFile, told: list[str]) -> list[Fate]:
    """Ask whoever supervises the line; without proof in time, end them and do it here."""
    for _ in range(ROUNDS):
        try:
            if await _by_running(line, told):
                return [Fate(name, proven=True) for name in line.document.supplies]
            with hold(port_names(line), line=line.name, line_file=line.path, wall_s=time.time(), doing="off"):
                return await _directly(line)
        except AlreadyHeldError:
            continue
        except RuntimeFolderError as problem:
            told.append(str(problem))
            break
    # Without the lock too: a port that another program has open refuses a second one by itself.
    return await _directly(line)


async def _by_running(line: LineFile, told: list[str]) -> bool:
    """Ask every supervisor that has anything of the line; end those in the way. Says whether off is proven so."""
    held = [(name, holder) for name in names_to_hold(line) if (holder := holder_of(name)) is not None]
    held += [(holder.name, holder) for holder in holders_of_file(line.path)]  # the file may have had another name then
    for holder in {holder.pid: holder for _, holder in held}.values():
        if holder.doing == "off":
            await _finished(holder)
            continue
        if holder.doing == "probe":
            told.append(f"A probe was reading the line (process {holder.pid} of {holder.user}); it was ended.")
            end_holder(holder, 0.0, KILL_S)
            continue
        told.append(f"A supervisor is running (process {holder.pid} of {holder.user}); it was asked for off.")
        names = {name for name, other in held if other.pid == holder.pid}
        state = await _ask_running(holder)
        if state is not None and _is_of(line, holder, state, names):
            return True
        if names.isdisjoint(port_names(line)) and (state is not None or holder.line_file != str(line.path)):
            told.append("It supervises other ports; it was left running, and off was sent from here.")
        elif _still(holder):
            told.append(f"It did not prove off within {ASKED_S:g} s, so it was ended and off was sent from here.")
            end_holder(holder, 0.0, KILL_S)
    return False


def _still(holder: Holder) -> bool:
    """Say whether it holds its name yet. One that gave it back is in nobody's way and may have something to tell."""
    return holder_of(holder.name) == holder


async def _finished(holder: Holder) -> None:
    """Let another off of the same port do its work, which is bounded."""
    ends_s = time.monotonic() + DIRECT_S + ASKED_S
    while _still(holder):
        if time.monotonic() >= ends_s:
            end_holder(holder, 0.0, KILL_S)
            return
        await asyncio.sleep(POLL_S)


def _is_of(line: LineFile, holder: Holder, state: Answer, held: set[str]) -> bool:
    """Say whether a supervisor's proof is one for this file: it runs it as it stands, or has its ports and supplies.

    One line's name alone says nothing: a copied file with another port has it too.
    """
    if holder.line_file == str(line.path) and state.get("line_hash") == line.line_hash:
        return True
    return held >= set(port_names(line)) and set(state["supplies"]) >= set(line.document.supplies)


async def _ask_running(holder: Holder) -> Answer | None:
    """Ask for off; return the supervisor's state once all it has is proven off, None where it did not manage in time.

    One that is only starting is asked again until it listens, and one that ends by itself is not waited for.
    """
    ends_s, asked = time.monotonic() + ASKED_S, False
    while (left_s := ends_s - time.monotonic()) > 0 and _still(holder):
        with suppress(ControlError, KeyError):
            path = socket_path(holder.line)
            if not asked:
                asked = (await ask(path, "off", new_body(boot_clock_s()), left_s))["ok"]
            state = await ask(path, "status", {}, max(POLL_S, ends_s - time.monotonic()))
            if asked and state["supplies"] and all(each["off_proven"] for each in state["supplies"].values()):
                return state
        await asyncio.sleep(POLL_S)
    return None


async def _directly(line: LineFile) -> list[Fate]:
    links, devices = build_wires(line, boot_clock_s)
    try:
        supplies, outputs = safe_state(line, devices, line_setup(line))
        return await make_safe(supplies, outputs, DIRECT_S)
    finally:
        for link in links.values():
            await link.close()


def _tell(fates: Sequence[Fate], told: Sequence[str], *, as_json: bool) -> None:
    if as_json:
        print(json.dumps(_object(fates, told)))
        return
    for text in told:
        print(text)
    tell_fates(fates)


def _object(fates: Sequence[Fate], told: Sequence[str]) -> dict[str, Any]:
    supplies = {fate.name: {"off_proven": fate.proven, "problem": fate.problem} for fate in fates if fate.supply}
    outputs = {fate.name: {"safe": fate.proven, "problem": fate.problem} for fate in fates if not fate.supply}
    ok = all(fate.proven for fate in fates if fate.vital)
    return {"version": 1, "ok": ok, "supplies": supplies, "outputs": outputs, "told": list(told)}


def tell_fates(fates: Sequence[Fate]) -> None:
    """Say how every supply was left, and every output that did not confirm its safe state."""
    for fate in fates:
        if fate.supply and fate.proven:
            print(f"{fate.name}: off is proven.")
        elif not fate.supply and not fate.proven:
            print(f"{fate.name}: its safe state is not confirmed: {fate.problem}. Look at it.", file=sys.stderr)
        elif fate.supply:
            print(
                f"{fate.name}: OFF IS NOT PROVEN: {fate.problem}.\n"
                f"  Cut the mains of {fate.name} by hand. Keep hands out of the tank.",
                file=sys.stderr,
            )
