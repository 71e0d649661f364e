"""A still bath lies in layers: what its sensor shows is its temperature only once the agitation has run.

Source: still baths stratify by 2 to 5 degC; the reading after minutes of agitation is the bath's (from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from supervisor.core.setup import LineSetup
    from supervisor.core.state import LineState
    from supervisor.core.tank_setup import TankSetup


def missing_s(setup: LineSetup, state: LineState, tank: TankSetup, now_s: float) -> float:
    """Process time for which a tank's agitation must still run before its temperature counts, s; 0 where it does."""
    if tank.stirred_s <= 0:
        return 0.0
    since_s = max(_proven_since_s(setup, state, tank) or _switched_on_s(setup, state, tank), default=-float("inf"))
    return max(0.0, tank.stirred_s - (now_s - min(since_s, now_s)))


def _proven_since_s(setup: LineSetup, state: LineState, tank: TankSetup) -> list[float]:
    """Since when each contact that proves the agitation has been closed; not at all is for ever."""
    found = []
    for name, contact in setup.contacts.items():
        if contact.proves == "agitation" and contact.tank in {tank.name, ""}:
            known = state.contacts.get(name)
            found.append(known.since_s if known is not None and known.closed else float("inf"))
    return found


def _switched_on_s(setup: LineSetup, state: LineState, tank: TankSetup) -> list[float]:
    """Since when each agitation of the tank has been on, where nothing proves it."""
    found = []
    for name, output in setup.outputs.items():
        if output.role == "agitation" and output.tank in {tank.name, ""}:
            known = state.outputs.get(name)
            on_s = known.confirmed_s if known is not None and known.on else None
            found.append(float("inf") if on_s is None else on_s)
    return found
