"""The sentences of R1-R11, as DEVELOPERS.md has them, and what is raised where a step breaks one."""

from __future__ import annotations

from typing import Never

from tests.exploration.seen import Seen

SENTENCES = {
    "R1": "On is commanded only while the operation is running or restarting, every permissive holds at that moment, "
    "and the intention is durable in the journal.",
    "R2": "A trip commands off in the same step. Off stays until the cause has cleared and a person has reset it.",
    "R3": "The first command to every output after start and the last before exit is its safe state.",
    "R4": "No message that is retained, expired, repeated, malformed or unauthorised changes an output.",
    "R5": "The charge interval contains the true charge, whatever is lost, late, repeated or restarted, under the "
    "stated assumptions.",
    "R6": "The set current never exceeds the least of rating, cap and area x highest density; rounded down to the "
    "device's step.",
    "R7": "Off is proven only by good current readings below a threshold within the deadline; else off is sent again "
    "and the highest alarm is raised.",
    "R8": "Reaching the target ends the operation exactly once; a longest time and a largest charge end it too, "
    "whatever meter and model say.",
    "R9": "A reading that is not good satisfies no permissive and clears no alarm.",
    "R10": "Wall-clock changes move no dose and no dwell.",
    "R11": "Off never waits for disk, broker, log or lock. Only what raises energy waits, and no record within 1 s "
    "refuses it.",
}


class BrokenRuleError(AssertionError):
    """A step broke rules; `numbers` says which."""

    def __init__(self, found: list[tuple[str, str]], seen: Seen | None = None) -> None:
        self.numbers = frozenset(number for number, _ in found)
        told = [f"{number}: {SENTENCES[number]} Here: {why}." for number, why in found]
        super().__init__("\n".join([*told, *([f"{seen.event}", f"{seen.actions}"] if seen else [])]))


class NoDate(float):
    """A wall-clock moment that may be kept and shown, and raises where anything decides or counts by it."""

    def _no(self, *_: object) -> Never:
        raise BrokenRuleError([("R10", "something counts by the wall clock")])

    __lt__ = __le__ = __gt__ = __ge__ = _no
    __add__ = __radd__ = __sub__ = __rsub__ = __mul__ = __rmul__ = __truediv__ = __rtruediv__ = _no
    __floordiv__ = __rfloordiv__ = __mod__ = __rmod__ = __pow__ = __neg__ = __abs__ = __int__ = __bool__ = _no
