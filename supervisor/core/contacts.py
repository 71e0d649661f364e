"""Contacts: closed when healthy, and what an open one means by its role (R9: a broken wire is no proof).

Of an acid tank's lid the healthy contact is closed while the lid is open: under a shut one hydrogen gathers. Of a hot
tank's it is closed while the lid is shut. Hydrogen is kept below a quarter of its lower explosive limit of 4 % (29 CFR
1910.124 and state parallels).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from supervisor.core.setup import ChannelSetup, ContactSetup, LineSetup

if TYPE_CHECKING:
    from supervisor.core.state import LineState
    from supervisor.core.work import Work


@dataclass(frozen=True, slots=True)
class ContactState:
    """What a contact showed, by good readings alone.

    Attributes:
        closed: at the newest good reading; None before the first since the start.
        since_s: process time of the sample at which that began, seen without a gap since.
        moved: whether a level contact was seen to close since its tank was last emptied and filled: it is not stuck.
    """

    closed: bool | None = None
    since_s: float = 0.0
    moved: bool = False


def causes_of(setup: LineSetup, contact: ContactSetup) -> tuple[str, ...]:
    """The causes an open contact is, by its role; none for a button's and an auxiliary one."""
    if contact.role == "lid":
        acid = contact.tank and setup.tanks[contact.tank].role == "anodize"
        return ("lid-shut",) if acid else ("lid-open",)
    if contact.proves == "ventilation":
        return ("ventilation-lost",)
    if contact.proves == "agitation":
        return ("agitation-lost", "agitation-long-lost")
    role_causes = {"level": ("level-low",), "guard": ("guard-open",), "emergency stop": ("emergency-stop",)}
    return role_causes.get(contact.role, ())


def read(work: Work, name: str, closed: bool, sampled_s: float, before_s: float | None) -> None:
    """Take one good reading, sampled at process time `sampled_s`; `before_s` is the sample of the good one before it.

    Where that is too old to count nobody knows what the contact showed between: what it shows begins anew.
    """
    before = work.state.contacts.get(name, ContactState())
    age_limit_s = work.setup.channels[work.setup.contacts[name].channel].age_limit_s
    unseen = before_s is None or sampled_s - before_s > age_limit_s
    if before.closed is closed and not unseen:
        return
    moved = before.moved or (closed and before.closed is False)
    after = ContactState(closed, sampled_s, moved)
    work.state = replace(work.state, contacts={**work.state.contacts, name: after})


def refilled(work: Work, tank: str) -> None:
    """A tank was emptied and filled: its level contacts must be seen to move anew before they are believed."""
    for name, contact in work.setup.contacts.items():
        if contact.tank == tank and contact.role == "level" and name in work.state.contacts:
            state = replace(work.state.contacts[name], moved=False)
            work.state = replace(work.state, contacts={**work.state.contacts, name: state})


def due_s(setup: LineSetup, state: LineState, name: str) -> float:
    """Process time from which what a contact showed last no longer counts."""
    channel = setup.channels[setup.contacts[name].channel]
    latest = state.channels.get(channel.name)
    seen_s = state.heard_from_s if latest is None or latest.good_s is None else latest.good_s
    return seen_s + channel.age_limit_s


def told_s(setup: LineSetup, state: LineState, name: str) -> float:
    """Process time from which a contact that says nothing is told: later, where nobody could have heard it."""
    age_limit_s = setup.channels[setup.contacts[name].channel].age_limit_s
    return max(due_s(setup, state, name), state.heard_from_s + age_limit_s)


def healthy(setup: LineSetup, state: LineState, name: str, now_s: float) -> bool | None:
    """Whether a contact is surely closed; None within the first moments of a run, when nobody can know yet."""
    if now_s >= due_s(setup, state, name):
        return False
    known = state.contacts.get(name)
    return None if known is None else known.closed


def judge(work: Work, name: str) -> None:
    """Let the alarms of a contact follow it.

    One that is not read any more because its whole device says nothing is the device's alarm: its own stay as they are.
    """
    contact, known, now_s = work.setup.contacts[name], work.state.contacts.get(name), work.at.process_s
    unread = now_s >= told_s(work.setup, work.state, name)
    blind = known is None or known.closed is None or now_s >= due_s(work.setup, work.state, name)
    if blind and not unread:
        return  # in the first moments nobody can know, and no alarm is cleared by that (R9)
    if unread and _device_silent(work, work.setup.channels[contact.channel]):
        return
    is_open = known is not None and known.closed is False
    for cause in causes_of(work.setup, contact):
        work.alarm(name, cause, is_open or unread)


def _device_silent(work: Work, channel: ChannelSetup) -> bool:
    """Whether a device that is watched, or beats, has answered nothing for as long as this contact of it may be old."""
    watch, beat = work.setup.watches.get(channel.device), work.setup.heartbeats.get(channel.device)
    watched = watch.channels if watch is not None else (beat.channel,) if beat is not None else ()
    latest = [work.state.channels[name] for name in watched if name in work.state.channels]
    newest_s = max((one.heard_s for one in latest if one.heard_s is not None), default=-float("inf"))
    return bool(watched) and work.at.process_s - newest_s >= channel.age_limit_s


def against(setup: LineSetup, state: LineState, supply: str, now_s: float) -> tuple[str, ...]:
    """Every contact that stands against switching a supply on: open, unknown, or not closed for long enough."""
    over = (setup.contacts[name] for name in setup.contacts if name in setup.over_supply[supply])
    reasons = (_against(setup, state, contact, now_s) for contact in over if causes_of(setup, contact))
    return tuple(reason for reason in reasons if reason)


def _against(setup: LineSetup, state: LineState, contact: ContactSetup, now_s: float) -> str:
    if healthy(setup, state, contact.name, now_s) is not True:
        return _OPEN[contact.role].format(name=contact.name)
    wait_s = setup.ventilation.before_s - (now_s - state.contacts[contact.name].since_s)
    if contact.proves == "ventilation" and wait_s > 0:
        return f"ventilation proven: {contact.name} must show moving air for {wait_s:.0f} s more; then ask again."
    return ""


def against_level(setup: LineSetup, state: LineState, name: str, now_s: float) -> tuple[str, ...]:
    """Everything against believing that a level contact shows liquid: it is open, unknown, or may be stuck."""
    reasons = []
    if healthy(setup, state, name, now_s) is not True:
        reasons.append(_OPEN["level"].format(name=name))
    if not state.contacts.get(name, ContactState()).moved:
        reasons.append(
            f"level moved: {name} was not seen to open and close since its tank was filled last, so that it may be "
            "stuck. Move its float by hand, out of the liquid and back, until it has shown both; then ask again."
        )
    return tuple(reasons)


def air_missing(setup: LineSetup, state: LineState, supply: str, now_s: float) -> bool:
    """Whether a supply waits for air to be proven, for fumes or for the bath, before it may be switched on."""
    over = (setup.contacts[name] for name in setup.contacts if name in setup.over_supply[supply])
    return any(_against(setup, state, contact, now_s) for contact in over if contact.proves)


_OPEN = {
    "level": "level proven: {name} shows too little liquid, or its wire is broken.",
    "air flow": "air proven: {name} shows no moving air, or its wire is broken.",
    "air pressure": "air proven: {name} shows no air pressure, or its wire is broken.",
    "lid": "lid open: {name} shows the acid tank's lid shut, or its wire is broken.",
    "guard": "guard shut: {name} shows the guard open, or its wire is broken.",
    "emergency stop": "emergency stop released: {name} shows it pressed, or its wire is broken.",
}
