"""The safe state by the shortest way: off to every supply and its proof, with nothing of the core in between."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from dataclasses import dataclass

from drivers.ports import SupplyDevice, WireError
from supervisor.core.output import PROOF_READINGS

BETWEEN_TRIES_S = 0.05


@dataclass(frozen=True, slots=True)
class SafeSupply:
    """One supply as far as its safe state needs it: its driver, and the threshold, A, below which a reading is off."""

    name: str
    driver: SupplyDevice
    off_threshold_a: float


@dataclass(slots=True)
class Fate:
    """What came of one supply: whether off is proven, how often it was sent, and the last thing that went wrong."""

    name: str
    proven: bool = False
    sent: int = 0
    problem: str = ""


async def make_safe(supplies: Sequence[SafeSupply], deadline_s: float) -> list[Fate]:
    """Send off to every supply, each at least once, and prove it by good readings; try until `deadline_s` of loop time.

    The supplies may share links, so they are taken one after another, all of them once before any a second time.
    Raises nothing: what fails for one supply, even in a way nobody foresaw, must not keep another from its off.
    """
    fates = [Fate(supply.name) for supply in supplies]
    ends_s = asyncio.get_running_loop().time() + deadline_s
    while True:
        for supply, fate in zip(supplies, fates, strict=True):
            if not fate.proven:
                await _off(supply, fate)
        for supply, fate in zip(supplies, fates, strict=True):
            if not fate.proven:
                await _prove(supply, fate)
        if all(fate.proven for fate in fates) or asyncio.get_running_loop().time() >= ends_s:
            return fates
        await asyncio.sleep(BETWEEN_TRIES_S)


async def _off(supply: SafeSupply, fate: Fate) -> None:
    try:
        fate.sent += 1
        await supply.driver.switch_off()
        fate.problem = ""
    except Exception as error:  # noqa: BLE001 - told as the supply's fate
        fate.problem = _told(error)


async def _prove(supply: SafeSupply, fate: Fate) -> None:
    """Two good readings below the threshold, after an off that the device confirmed."""
    if fate.problem:
        return
    try:
        for _ in range(PROOF_READINGS):
            current_a = (await supply.driver.read({"current"})).values["current"]
            if current_a is None or not 0 <= abs(current_a) < supply.off_threshold_a:
                fate.problem = "no reading of its current" if current_a is None else f"it still shows {current_a:.3g} A"
                return
    except Exception as error:  # noqa: BLE001 - told as the supply's fate
        fate.problem = _told(error)
        return
    fate.proven = True


def _told(error: Exception) -> str:
    return str(error) if isinstance(error, WireError) else f"{type(error).__name__}: {error}"
