"""Readings of a tank's temperature on their way in: what is doubted is marked and told, with the reason."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from supervisor.core import believe, permissives, words
from supervisor.core.actions import Note
from supervisor.core.events import Quality, Reading

if TYPE_CHECKING:
    from supervisor.core.tank_setup import TankSetup
    from supervisor.core.work import Work


def judge(work: Work, tank: TankSetup, reading: Reading, sampled_s: float) -> str:
    """Hold a reading of the tank's own sensor against those before it; return why it is doubted, "" where it is not."""
    if tank.believe is None or reading.quality is not Quality.GOOD or reading.value is None:
        return ""
    before = work.state.believed.get(tank.name)
    if before is None:
        after = believe.first(reading.value, sampled_s)
    else:
        after = believe.read(before, reading.value, sampled_s, tank.believe, work.state.switched, _second_c(work, tank))
    work.state = replace(work.state, believed={**work.state.believed, tank.name: after})
    if after.why != (before.why if before is not None else ""):
        _tell(work, tank, reading.value, after.why)
    return after.why


def _second_c(work: Work, tank: TankSetup) -> float | None:
    if not tank.second:
        return None
    age_limit_s = work.setup.channels[tank.second].age_limit_s
    return permissives.fresh(work.state, tank.second, work.at.process_s, age_limit_s)


def _tell(work: Work, tank: TankSetup, shown_c: float, why: str) -> None:
    shown = words.temperature(shown_c, work.setup.units)
    text = f"{tank.temperature}: {shown} is not believed: {why}." if why else f"{tank.temperature}: believed again."
    work.actions.append(Note("tank", tank.name, text))
