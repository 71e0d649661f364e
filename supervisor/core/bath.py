"""What is switched for a tank's temperature: its heater and its cooling, and the cut that asks neither control."""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING

from supervisor.core import causes, contacts, cooling, forecast, heating
from supervisor.core.actions import Note
from supervisor.core.events import Request

if TYPE_CHECKING:
    from supervisor.core.setup import LineSetup
    from supervisor.core.work import Work


def bears_on(setup: LineSetup) -> dict[str, tuple[str, ...]]:
    """By subject, the heated or cooled tanks to look at when something became of it."""
    table: dict[str, list[str]] = {}
    for name, tank in setup.tanks.items():
        for subject in setup.over_tank[name] if tank.heating or tank.cooling else ():
            table.setdefault(subject, []).append(name)
    return {subject: tuple(tanks) for subject, tanks in table.items()}


def judge(work: Work, tank: str) -> None:
    """Let the alarms of a tank's heating and cooling follow it, and the forecast of how it goes on."""
    heating.judge(work, tank)
    cooling.judge(work, tank)
    forecast.judge(work, tank)


def settle(work: Work, tank: str) -> tuple[list[float], list[float]]:
    """After an event: switch; return process and wire times to look again. The cut has the last word."""
    cools, heats = cooling.settle(work, tank), heating.settle(work, tank)
    causes.cut_heater(work, tank)
    return cools[0] + heats[0], cools[1] + heats[1]


def take(work: Work, request: Request) -> None:
    """Do one request about a tank, or refuse it with every reason: heat, rest (its heater is to rest) or filled."""
    heated = request.what != "filled"
    tank, reasons = _meant(work.setup, request.tank, heated=heated)
    if reasons:
        work.answer(request.id, reasons)
    elif request.what == "heat":
        reasons = heating.begin(work, tank, request.who)
        work.answer(request.id, reasons, **({} if reasons else {"tank": tank}))
    elif request.what == "rest":
        heating.end(work, tank, f"rest asked for by {request.who}")
        work.answer(request.id, tank=tank)
    else:
        _filled(work, request, tank)


def off(work: Work, why: str) -> None:
    """Off for the whole line: no tank is heated any more."""
    for name in work.setup.tanks:
        heating.forget(work, name, why)


def _filled(work: Work, request: Request, tank: str) -> None:
    """A tank was emptied and filled: nothing that was known of its level counts, so its heater goes off."""
    contacts.refilled(work, tank)
    heating.forget(work, tank, f"filled anew, says {request.who}")
    text = f"{tank}: filled anew, says {request.who}. Its level must be seen to move before it is heated again."
    work.actions.append(Note("tank", tank, text, {"filled": request.who}))
    work.answer(request.id, tank=tank)


def _meant(setup: LineSetup, asked: str, *, heated: bool) -> tuple[str, tuple[str, ...]]:
    """Name the tank meant; with several that can be, one must be named."""
    can = [name for name, tank in setup.tanks.items() if tank.heating or not heated]
    known = ", ".join(can) or "none"
    if asked in can:
        return asked, ()
    if asked in setup.tanks:
        return "", (f"tank: {asked} has no heater in the line file; heated tanks of this line: {known}.",)
    if asked:
        near = difflib.get_close_matches(asked, setup.tanks, n=1)
        hint = f" Did you mean {near[0]}?" if near else ""
        return "", (f"tank: there is no tank {asked}.{hint}",)
    if len(can) == 1:
        return can[0], ()
    return "", (f"tank: name one of {known}." if can else "tank: this line has no heated tank.",)
