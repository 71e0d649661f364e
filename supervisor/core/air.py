"""Fans and agitation that rest while nothing runs: on before current, with an operation, and for minutes after it.

Source: fumes are drawn off before current and for some minutes after it, common practice, no source. That air moves is
proven by a contact alone. A start that is refused for want of it has it switched on, so that the second one finds it.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from supervisor.core import contacts, stirring, switches
from supervisor.core.actions import Note

if TYPE_CHECKING:
    from supervisor.core.setup import LineSetup
    from supervisor.core.work import Work


def driven(setup: LineSetup) -> tuple[str, ...]:
    """Outputs that move air and are off in their safe state; one that is on there is always on."""
    return tuple(name for name, of in setup.outputs.items() if of.role in {"fan", "agitation"} and not of.safe_on)


def ask(work: Work, supply: str) -> None:
    """A start was refused: where air is missing for it, have that on for a while."""
    tank = work.setup.tanks[work.setup.supplies[supply].tank]
    still = stirring.missing_s(work.setup, work.state, tank, work.at.process_s) > 0
    missing = still or contacts.air_missing(work.setup, work.state, supply, work.at.process_s)
    if work.state.watch_only or not missing:
        return
    for name in driven(work.setup):
        if _serves(work.setup, name, supply):
            _needed(work, name)
            text = f"{name}: on for the start that was asked for; ask again once the air is proven."
            work.actions.append(Note("output", name, text))


def settle(work: Work, names: tuple[str, ...]) -> tuple[list[float], list[float]]:
    """After an event: switch what moves air. Returns process and wire times at which that must be looked at again."""
    process: list[float] = []
    wire: list[float] = []
    for name in () if work.state.watch_only or work.state.ending else names:
        runs = any(_runs(work, supply) for supply in work.setup.supplies if _serves(work.setup, name, supply))
        if runs:
            _needed(work, name)
        needed_s = work.state.air.get(name)
        until_s = None if needed_s is None else needed_s + work.setup.ventilation.after_s
        on = runs or (until_s is not None and work.at.process_s < until_s)
        if on is not work.state.outputs[name].on:
            switches.command(work, name, on=on)
        process += [] if until_s is None else [until_s]
        wire += switches.keep_telling(work, name, refreshed=True)
    return process, wire


def _serves(setup: LineSetup, name: str, supply: str) -> bool:
    return setup.outputs[name].tank in {"", setup.supplies[supply].tank}


def _runs(work: Work, supply: str) -> bool:
    operation = work.supply(supply).operation
    return operation is not None and not operation.over


def _needed(work: Work, name: str) -> None:
    work.state = replace(work.state, air={**work.state.air, name: work.at.process_s})
