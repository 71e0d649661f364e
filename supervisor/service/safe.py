"""The safe state by the shortest way: off to every supply and its proof, with nothing of the core in between."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from drivers.ports import Device, SupplyDevice, SwitchDevice, WireError
from supervisor.core.output import PROOF_READINGS

BETWEEN_TRIES_S = 0.05

READS_FOR_ONE = 10
"""Readings a device that speaks by itself is listened to for one current: what it says next may be another value."""


@dataclass(slots=True)
class Fate:
    """What came of one supply or output.

    Attributes:
        name: its own. proven: a supply's off is proven, or an output confirmed its safe state.
        sent: how often that was commanded. problem: the last thing that went wrong.
        vital: whether it counts for how the whole went: supplies, contactors and heaters do.
        supply: whether it is a supply.
    """

    name: str
    proven: bool = False
    sent: int = 0
    problem: str = ""
    vital: bool = True
    supply: bool = True


@dataclass(slots=True)
class SafeOutput:
    """One output as far as its safe state needs it: driver and point, that state, and the link it is on."""

    name: str
    driver: SwitchDevice
    point: str
    safe_on: bool
    link: str
    vital: bool
    fate: Fate = field(init=False)

    def __post_init__(self) -> None:
        self.fate = Fate(self.name, vital=self.vital, supply=False)


@dataclass(slots=True)
class SafeSupply:
    """One supply as far as its safe state needs it.

    Attributes:
        driver: switches it off; None where it has knobs only. meter: reads its current. link: that both are on.
        off_threshold_a: a reading below is off, A.
        contactor: what breaks its circuit, where it has knobs only; None where nothing does.
    """

    name: str
    driver: SupplyDevice | None
    meter: Device
    off_threshold_a: float
    link: str
    contactor: SafeOutput | None = None
    fate: Fate = field(init=False)

    def __post_init__(self) -> None:
        self.fate = Fate(self.name)


Each = TypeVar("Each", SafeSupply, SafeOutput)


async def make_safe(supplies: Sequence[SafeSupply], outputs: Sequence[SafeOutput], deadline_s: float) -> list[Fate]:
    """Command every supply off and every output to its safe state, and prove what can be; until `deadline_s` loop time.

    On each link one after another, the supplies first and all of them once before any a second time; the links side by
    side, so that none waits for another's silence. Raises nothing: what fails for one, even in a way nobody foresaw,
    must not keep another from its off.
    """
    fates = [supply.fate for supply in supplies] + [output.fate for output in outputs]
    ends_s = asyncio.get_running_loop().time() + deadline_s
    while True:
        await _on_each_link(_off, supplies)
        await _on_each_link(_switch, outputs)  # after the offs: a contactor is better not opened under current
        await _on_each_link(_prove, supplies)
        if all(fate.proven for fate in fates) or asyncio.get_running_loop().time() >= ends_s:
            return fates
        await asyncio.sleep(BETWEEN_TRIES_S)


async def _on_each_link(do: Callable[[Each], Coroutine[object, object, None]], all_of: Sequence[Each]) -> None:
    links: dict[str, list[Each]] = {}
    for each in all_of:
        links.setdefault(each.link, []).append(each)
    await asyncio.gather(*(_one_after_another(do, on_link) for on_link in links.values()))


async def _one_after_another(do: Callable[[Each], Coroutine[object, object, None]], on_link: Sequence[Each]) -> None:
    for each in on_link:
        if not each.fate.proven:
            await _told(do, each)


async def _told(do: Callable[[Each], Coroutine[object, object, None]], each: Each) -> None:
    try:
        await do(each)
    except Exception as error:  # noqa: BLE001 - told as its fate
        each.fate.problem = str(error) if isinstance(error, WireError) else f"{type(error).__name__}: {error}"


async def _off(supply: SafeSupply) -> None:
    """Switch it off over its own wire. One with knobs is ended by its contactor, which is among the outputs."""
    supply.fate.problem = ""
    if supply.driver is not None:
        supply.fate.sent += 1
        await supply.driver.switch_off()


async def _switch(output: SafeOutput) -> None:
    output.fate.sent += 1
    await output.driver.set_switch(output.point, on=output.safe_on)
    output.fate.proven, output.fate.problem = True, ""


async def _prove(supply: SafeSupply) -> None:
    """Two good readings below the threshold, after an off that the device, or the contactor, confirmed."""
    if supply.contactor is not None and supply.driver is None and not supply.contactor.fate.proven:
        supply.fate.problem = f"its contactor {supply.contactor.name} did not open: {supply.contactor.fate.problem}"
    if supply.fate.problem:
        return
    for _ in range(PROOF_READINGS):
        current_a = await _current_a(supply.meter)
        if current_a is None or not 0 <= abs(current_a) < supply.off_threshold_a:
            shows = "no reading of its current" if current_a is None else f"it still shows {current_a:.3g} A"
            supply.fate.problem = shows
            return
    supply.fate.proven = True


async def _current_a(meter: Device) -> float | None:
    """The newest current, A; None where the device itself has none."""
    for _ in range(READS_FOR_ONE):
        values = (await meter.read({"current"})).values
        if "current" in values:
            return values["current"]
    return None
