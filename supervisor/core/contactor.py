"""The contactor in a supply's circuit: closed first and opened last, and what its auxiliary contact shows.

A contactor of a remote supply is its second means (R7): it closes before the output is switched on, opens once off is
proven, and at once when that proof is late or a cause asks for it. That it opened is no proof that the supply is off:
only good low current readings are, because nobody knows what else feeds the tank. Of a supply with knobs it is the only
means, and off then counts as carried out when it has opened, as its auxiliary contact shows where one is fitted.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from supervisor.core import dose, output, switches

if TYPE_CHECKING:
    from supervisor.core.work import Work

CLOSES_WITHIN_S = 2.0
"""Wire time in which a contactor must have closed, by its device's word and its auxiliary contact's."""

STUCK_AFTER_S = 0.5
"""Process time after a confirmed opening at which an auxiliary contact that is still closed is believed."""


@dataclass(frozen=True, slots=True)
class Closing:
    """A contactor on its way to closed, before anything is switched on: since which wire time."""

    since_wire_s: float


def close(work: Work, name: str) -> None:
    """Begin to energise a supply by closing its contactor."""
    contactor = work.supply_setup(name).contactor
    assert contactor is not None
    work.put(name, replace(work.supply(name), closing=Closing(work.at.wire_s)))
    switches.command(work, contactor, on=True)


def shows(work: Work, contactor: str) -> bool | None:
    """What a contactor does by all that is known: True closed, False open, None while nobody can say.

    Its device must have confirmed what it was told, and the auxiliary contact shown it since, where one is fitted.
    """
    state, setup = work.state.outputs[contactor], work.setup.outputs[contactor]
    if state.confirmed_s is None:
        return None
    if setup.auxiliary is None:
        return state.on
    shown = _auxiliary_since(work, setup.auxiliary, state.confirmed_s)
    return None if shown is None or shown is not state.on else state.on


def _auxiliary_since(work: Work, channel: str, since_s: float) -> bool | None:
    """What a good auxiliary reading sampled after process time `since_s` shows; None where there is none (R9)."""
    latest = work.state.channels.get(channel)
    if latest is None or latest.good_s is None or latest.good_s <= since_s or latest.reading.value is None:
        return None
    return latest.good_value >= 1


def settle(work: Work, name: str) -> None:
    """After an event: see what the contactor of a supply came to, and open it where nothing needs it closed."""
    contactor = work.supply_setup(name).contactor
    if contactor is None:
        return
    supply, state = work.supply(name), work.state.outputs[contactor]
    energised = supply.operation is not None and supply.operation.energised
    if supply.closing is not None and not energised:
        work.put(name, replace(supply, closing=None))
    if energised and state.on and supply.closing is None and _shows_open(work, contactor):
        work.fault(name, "contactor-dropped")
    tried = work.state.exercise is not None and work.state.exercise.output == contactor
    if state.on and not energised and not tried and _may_open(work, name):
        switches.command(work, contactor, on=False)
    if work.supply_setup(name).control == "contactor":
        _carried_out(work, name, contactor)
    work.alarm(contactor, "contactor-stuck", _is_stuck(work, contactor))


def failed(work: Work, name: str) -> bool:
    """Whether a contactor on its way has not closed in time."""
    closing = work.supply(name).closing
    return closing is not None and work.at.wire_s - closing.since_wire_s >= CLOSES_WITHIN_S


def _may_open(work: Work, name: str) -> bool:
    """Once off is proven, or its proof is late; a supply with knobs has no other off."""
    setup, at = work.supply_setup(name), work.supply(name).output
    late = output.overdue(at, work.at.wire_s, setup.proof_deadline_s)
    return setup.control == "contactor" or at.proven_off or late


def _shows_open(work: Work, contactor: str) -> bool:
    state, setup = work.state.outputs[contactor], work.setup.outputs[contactor]
    if setup.auxiliary is None or state.confirmed_s is None:
        return False
    return _auxiliary_since(work, setup.auxiliary, state.confirmed_s) is False


def _is_stuck(work: Work, contactor: str) -> bool:
    """Told open, confirmed, and its auxiliary contact still shows closed; a reading that is not good clears nothing."""
    state, setup = work.state.outputs[contactor], work.setup.outputs[contactor]
    if setup.auxiliary is None or state.on or state.confirmed_s is None:
        return False
    shown = _auxiliary_since(work, setup.auxiliary, state.confirmed_s + STUCK_AFTER_S)
    if shown is None:
        known = work.state.alarms.get(f"{contactor}/contactor-stuck")
        return known is not None and known.standing
    return shown


def _carried_out(work: Work, name: str, contactor: str) -> None:
    """Of a supply with knobs: off is carried out when the contactor has opened; the current's readings prove it."""
    supply = work.supply(name)
    at = supply.output
    if at.asked_wire_s is None or at.confirmed_s is not None or shows(work, contactor) is not False:
        return
    operation, opened_s = supply.operation, work.state.outputs[contactor].confirmed_s
    if operation is not None and not operation.over and opened_s is not None:
        operation = replace(operation, dose=dose.stepped(operation.dose, opened_s))
    work.put(name, replace(supply, output=output.confirmed(at, work.at.process_s), operation=operation))
