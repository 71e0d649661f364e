"""Cooling of a tank: by itself, because it protects; in its safe state while the bath's temperature is not known.

A single bad reading leaves it as it is: a compressor would pay for it with its whole rest.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from supervisor.core import permissives, switches
from supervisor.core.two_position import Told, look, tell, wants

if TYPE_CHECKING:
    from supervisor.core.tank_setup import CoolingSetup
    from supervisor.core.work import Work


@dataclass(frozen=True, slots=True)
class CoolingState:
    """One tank's cooling.

    Attributes:
        cooler: what its control told the output.
        fell_s: process time at which the bath last fell with the cooling on, or that came on; None while it is off.
        highest_c: the highest temperature since then, degC.
    """

    cooler: Told = field(default_factory=Told)
    fell_s: float | None = None
    highest_c: float = 0.0


def state_of(work: Work, tank: str) -> CoolingState:
    """Return the state of a tank's cooling."""
    return work.state.cooling.get(tank, CoolingState())


def judge(work: Work, tank: str) -> None:
    """Let the alarm of a tank's cooling follow whether its bath falls while it is on."""
    setup, state = work.setup.tanks[tank].cooling, state_of(work, tank)
    if setup is None:
        return
    now_s, now_c = work.at.process_s, _temperature_c(work, tank)
    if not work.state.outputs[setup.output].on:
        state = replace(state, fell_s=None)
    elif now_c is not None and _fell(work, tank, setup, now_c):
        state = replace(state, fell_s=now_s, highest_c=now_c)
    elif now_c is not None:
        state = replace(state, highest_c=max(now_c, state.highest_c))
    if state != state_of(work, tank):
        _put(work, tank, state)
    late = state.fell_s is not None and now_s - state.fell_s >= setup.fall_within_s
    if late or now_c is not None:  # a cooling that rests because nothing is known of its bath cured nothing (R9)
        work.alarm(tank, "no-fall", late)


def _fell(work: Work, tank: str, setup: CoolingSetup, now_c: float) -> bool:
    """Whether a bath has fallen, or its cooling has only come on: by more than a reading wavers, less than its band."""
    state = state_of(work, tank)
    wavers_c = min(work.setup.tanks[tank].band.deadband_c, setup.band_c / 2)
    return state.fell_s is None or now_c <= state.highest_c - wavers_c


def settle(work: Work, tank: str) -> tuple[list[float], list[float]]:
    """After an event: switch the cooling as its bath asks for; return process and wire times to look at it again."""
    setup = work.setup.tanks[tank].cooling
    if setup is None or work.state.watch_only or work.state.ending:
        return [], []
    before = state_of(work, tank)
    cooler = look(work, setup.output, before.cooler)
    on = _wants(work, tank, setup, cooler)
    if on is not work.state.outputs[setup.output].on:
        cooler = tell(work, setup.output, on=on)
    if cooler != before.cooler:
        _put(work, tank, replace(before, cooler=cooler))
    least_s = setup.least_on_s if on else setup.least_off_s
    fall = [] if before.fell_s is None else [before.fell_s + setup.fall_within_s]
    return [cooler.since_s + least_s, *fall], switches.keep_telling(work, setup.output)


def _wants(work: Work, tank: str, setup: CoolingSetup, cooler: Told) -> bool:
    """Whether the cooling is to be on; its safe state does not wait for any least time."""
    on, now_c = work.state.outputs[setup.output].on, _temperature_c(work, tank)
    channel = work.setup.channels[work.setup.tanks[tank].temperature]
    if work.at.process_s >= permissives.last_good_s(work.state, channel.name) + channel.age_limit_s:
        return work.setup.outputs[setup.output].safe_on
    if now_c is None:
        return on
    for_s = work.at.process_s - cooler.since_s
    return wants(on, setup.hold_c - now_c, setup.band_c, for_s, setup.least_on_s, setup.least_off_s)


def _temperature_c(work: Work, tank: str) -> float | None:
    channel = work.setup.channels[work.setup.tanks[tank].temperature]
    return permissives.fresh(work.state, channel.name, work.at.process_s, channel.age_limit_s)


def _put(work: Work, tank: str, state: CoolingState) -> None:
    work.state = replace(work.state, cooling={**work.state.cooling, tank: state})
