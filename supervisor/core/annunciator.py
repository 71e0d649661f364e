"""Lamps and horn: told what `signs.py` says of the line as it stands, without any broker or network.

The horn is heard only while an alarm that is told is neither answered nor silenced; silence ends with a newer alarm, or
one that is told again. What is hidden or folded under another is neither seen nor heard. An operation that becomes
complete is sounded once, in this run or never.

Nothing is told while only watching, nor once the supervisor ends: outputs then rest in their safe state. That comes
first at a start too (R3), and until it is confirmed, or has had its time, a lamp is told nothing else.

A lamp that does not confirm must not set off the alarm that lights it again and again: its alarm follows the wire time
since which it confirmed nothing at all, whatever it was told meanwhile, and goes only with a word of its device.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from supervisor.core import switches
from supervisor.core.alarms import UNANSWERED, Alarm
from supervisor.core.anodize import State
from supervisor.core.interlocks import CAUSES
from supervisor.core.knobs import waits_for_hands
from supervisor.core.setup import Colour
from supervisor.core.signs import ASKS, LIGHTS, SOUNDS, TABLE, THREE_TIMES_S, Beat, Light, Sign, Sound

if TYPE_CHECKING:
    from supervisor.core.work import Work

TEST_S = 3.0
"""Wire time for which a test has everything on."""

PACE_S = 0.8
"""Wire time between two different words to one output, at least: a little less than the shortest part of a pattern, so
that an edge that came late does not push the next one. Only a test and silence are told at once: a person waits."""

AGAIN_S = 1.0
"""Wire time after which a word that was not confirmed is repeated, or what is wanted by now is told instead."""

FAILED_AGAIN_S = 5.0
"""The same for an output that has failed: a dead lamp must not keep its bus busy with time-outs."""


@dataclass(frozen=True, slots=True)
class AnnunciatorState:
    """What lamps, horn and buttons remember.

    Attributes:
        sound: what the horn sounds. since_wire_s: wire time at which that sound began.
        heard: the alarms told and not answered, with how often each had appeared, at the last look.
        silenced: those of them that are silenced, likewise.
        complete: ids of the operations that were complete at the last look: they are not sounded again.
        test_until_wire_s: wire time at which a test ends; None while there is none.
        pressed_s: by button, process time of the sample that showed its last press that counted.
    """

    sound: Sound = Sound.SILENT
    since_wire_s: float = 0.0
    heard: dict[str, int] = field(default_factory=dict)
    silenced: dict[str, int] = field(default_factory=dict)
    complete: frozenset[str] = frozenset()
    test_until_wire_s: float | None = None
    pressed_s: dict[str, float] = field(default_factory=dict)


def begin(work: Work) -> None:
    """Begin a run: what is complete by now has been sounded or is shown; times of an earlier boot mean nothing."""
    before = work.state.annunciator
    _put(work, AnnunciatorState(silenced=before.silenced, complete=_complete(work)))


def silence(work: Work) -> tuple[str, ...]:
    """Have the horn be silent until a newer alarm, and end a test; return every reason why not."""
    reasons = _against(work, ("horn",), "no horn")
    if not reasons:
        unanswered = {alarm.name: alarm.count for alarm in _unanswered(work)}
        state = replace(work.state.annunciator, silenced=unanswered, sound=Sound.SILENT, test_until_wire_s=None)
        _put(work, state)
    return reasons


def hear(work: Work, alarm: str) -> None:
    """End the silence of one alarm: it became graver since."""
    state = work.state.annunciator
    if alarm in state.silenced:
        _put(work, replace(state, silenced={name: n for name, n in state.silenced.items() if name != alarm}))


def test(work: Work) -> tuple[str, ...]:
    """Have every lamp and the horn on for a moment; return every reason why not."""
    reasons = _against(work, ("lamp", "horn"), "neither lamp nor horn")
    if not reasons:
        _put(work, replace(work.state.annunciator, test_until_wire_s=work.at.wire_s + TEST_S))
    return reasons


def _against(work: Work, roles: tuple[str, ...], none: str) -> tuple[str, ...]:
    reasons = []
    if work.state.watch_only:
        reasons.append("watching only: lamps and horn are left alone; start without --watch-only.")
    if work.state.ending:
        reasons.append("not ending: this supervisor was told to end.")
    if not any(work.setup.outputs[name].role in roles for name in work.state.outputs):
        reasons.append(f"outputs: this line has {none}.")
    return tuple(reasons)


def settle(work: Work) -> list[float]:
    """After an event: tell lamps and horn what they do not show yet; return the wire times to look at them again."""
    names = [name for name in work.state.outputs if switches.annunciates(work, name)]
    if not names:
        return []
    _listen(work)
    state, wire_s = work.state.annunciator, work.at.wire_s
    shown = lights(work)
    moments = [] if state.test_until_wire_s is None else [state.test_until_wire_s]
    for name in names:
        output = work.setup.outputs[name]
        beat, into_s = LIGHTS[shown[output.colour]], wire_s
        if output.role == "horn":
            beat, into_s = SOUNDS[state.sound], wire_s - state.since_wire_s
        moments += _show(work, name, beat, into_s)
    return moments


def lights(work: Work) -> dict[Colour, Light]:
    """What a lamp of each colour does now; one without a colour tells any alarm."""
    signs = [_sign(alarm) for alarm in work.state.alarms.values() if alarm.told]
    asks = [sign.blue for sign in signs] + [_asks(work, name) for name in work.state.supplies]
    return {
        "": max((sign.light for sign in signs), default=Light.DARK),
        "red": max((sign.light for sign in signs if sign.colour == "red"), default=Light.DARK),
        "yellow": max((sign.light for sign in signs if sign.colour == "yellow"), default=Light.DARK),
        "green": Light.STEADY if _all_normal(work) else Light.DARK,
        "blue": max(asks, default=Light.DARK),
        "white": Light.STEADY if _may_flow(work) else Light.DARK,
    }


def _asks(work: Work, supply: str) -> Light:
    operation = work.supply(supply).operation
    if waits_for_hands(work.supply_setup(supply), operation):
        return Light.FLASHING
    return ASKS[State.IDLE if operation is None else operation.state]


def _all_normal(work: Work) -> bool:
    """Whether nothing is wrong, hidden or told, and every output is proven off or has an operation under way."""
    wrong = any(alarm.told or alarm.active or alarm.latch for alarm in work.state.alarms.values())
    return not wrong and all(
        supply.output.proven_off or (supply.operation is not None and supply.operation.energised)
        for supply in work.state.supplies.values()
    )


def _may_flow(work: Work) -> bool:
    """Whether current flows or may flow: until off is proven it may."""
    return not all(supply.output.proven_off for supply in work.state.supplies.values())


def _sign(alarm: Alarm) -> Sign:
    return TABLE[alarm.state, CAUSES[alarm.cause].priority]


def _unanswered(work: Work) -> list[Alarm]:
    return [alarm for alarm in work.state.alarms.values() if alarm.told and alarm.state in UNANSWERED]


def _complete(work: Work) -> frozenset[str]:
    operations = (supply.operation for supply in work.state.supplies.values())
    return frozenset(one.id for one in operations if one is not None and one.state is State.COMPLETE)


def _listen(work: Work) -> None:
    """See what is to be heard, and since when."""
    before, wire_s = work.state.annunciator, work.at.wire_s
    unanswered = _unanswered(work)
    heard = {alarm.name: alarm.count for alarm in unanswered}
    silenced = {name: count for name, count in before.silenced.items() if heard.get(name) == count}
    loud = [alarm for alarm in unanswered if alarm.name not in silenced]
    complete = _complete(work)
    ended = bool(complete - before.complete)
    # Whole microseconds, as an edge is reached by: or its end a hair too soon would be a fourth sound's beginning.
    into_s = round(wire_s - before.since_wire_s, 6)
    goes_on = before.sound is Sound.THREE_TIMES and bool(complete) and into_s < THREE_TIMES_S
    sound = max((_sign(alarm).sound for alarm in loud), default=Sound.SILENT)
    if ended or goes_on:
        sound = max(sound, Sound.THREE_TIMES)
    # A newer one of the same weight is heard at once and not at the end of a pause.
    newer = any(before.heard.get(alarm.name) != alarm.count and _sign(alarm).sound is sound for alarm in loud)
    begins = sound is not before.sound or (ended and sound is Sound.THREE_TIMES) or newer
    until_s = before.test_until_wire_s
    after = replace(
        before,
        sound=sound,
        since_wire_s=wire_s if begins else before.since_wire_s,
        heard=heard,
        silenced=silenced,
        complete=complete,
        test_until_wire_s=until_s if until_s is not None and wire_s < until_s else None,
    )
    if after != before:
        _put(work, after)


def _show(work: Work, name: str, beat: Beat, into_s: float) -> list[float]:
    """Let an output follow its pattern, or a test; return the wire times to look at it again."""
    testing = work.state.annunciator.test_until_wire_s is not None
    wanted = testing or beat.is_on(into_s)
    at_once = testing or (not wanted and work.setup.outputs[name].role == "horn")
    edge_s = None if testing else beat.next_edge_s(into_s)
    edges = [] if edge_s is None else [work.at.wire_s + edge_s]
    return [*_tell(work, name, wanted, 0.0 if at_once else PACE_S), *edges]


def _tell(work: Work, name: str, wanted: bool, pace_s: float) -> list[float]:
    """Tell an output what it was not told yet, or has not confirmed, no sooner than it may be told again."""
    known, wire_s = work.state.outputs[name], work.at.wire_s
    on = known.on if _rests(work, name) else wanted
    if on is known.on and known.confirmed_s is not None:
        return []
    after_s = AGAIN_S if on is known.on else pace_s
    due_s = known.sent_wire_s + (FAILED_AGAIN_S if switches.failing(work, name) else after_s)
    if wire_s < due_s:
        return [due_s]
    switches.command(work, name, on=on, ahead=False)
    return [wire_s + AGAIN_S]


def _rests(work: Work, name: str) -> bool:
    """Whether it was told its safe state and has yet to confirm it: nothing overtakes that (R3)."""
    known = work.state.outputs[name]
    rests = known.on is work.setup.outputs[name].safe_on and known.confirmed_s is None
    return rests and work.at.wire_s < known.asked_wire_s + switches.SAFE_WITHIN_S


def _put(work: Work, state: AnnunciatorState) -> None:
    work.state = replace(work.state, annunciator=state)
