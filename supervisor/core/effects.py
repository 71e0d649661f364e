"""What a row of the cause x effect table says: what a cause does to operation, heater and contactor, and to the person.

Source: which cause holds, stops or aborts is common practice for an unattended rectifier over an acid tank, no source;
priorities after EEMUA 191's advice that few alarms be of the highest; delays of flow and pressure 15 s and of level and
temperature 60 s as starting values (IEC 62682 practice, from memory), shorter where what follows cannot wait.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import Literal

from supervisor.core.alarms import Priority


class Effect(IntEnum):
    """What a cause does to an operation; the strongest of several wins."""

    WARN = 0
    HOLD = 1
    STOP = 2
    ABORT = 3


Also = Literal["heater off", "contactor open"]
"""What a cause does beside its effect on an operation."""

About = Literal["supply", "tank", "contact", "device", "output", "channel"]

When = Literal["always", "with current"]
"""When a cause counts; at other times its alarm is suppressed by design."""

_NOTHING: frozenset[Also] = frozenset()


@dataclass(frozen=True, slots=True)
class Interlock:
    """What a cause does on one line.

    Attributes:
        effect: on the operation of every supply it touches; above WARN it is a trip, commands off and latches.
        also: what it does beside that, to the heater of its tank and to the contactors of its supplies.
        on_delay_s: process time for which the cause must be there before it counts.
        off_delay_s: process time for which it must be gone before it has gone.
    """

    effect: Effect
    also: frozenset[Also] = _NOTHING
    on_delay_s: float = 0.0
    off_delay_s: float = 0.0

    @property
    def trips(self) -> bool:
        """Whether it switches anything off."""
        return self.effect > Effect.WARN or bool(self.also)


@dataclass(frozen=True, slots=True)
class Row:
    """One cause.

    Attributes:
        effect, also, on_delay_s, off_delay_s: see Interlock; the line file may change them, as `least` and `longest_s`
            allow.
        what: what happened. follows: what the program does and what comes of it. first: what to do first.
            Each may name {subject}. time: how long there is for it.
        by_hand: what to do first instead where no second means can break the circuit (R7); "" where it makes no
            difference.
        suspect: whether the load is marked suspect.
        latch: whether it stays until reset after its cause is gone; always so for what trips.
        about: what its subject is. when: when it counts.
        least: the weakest effect the line file may give it. longest_s: the longest on-delay it may give it.
        brings: causes that this one brings along; where it came first they are told as its consequences.
        shelvable: whether it may be shelved or taken out of service; never what asks for hands at once (R7).
    """

    effect: Effect
    priority: Priority
    what: str
    follows: str
    first: str
    time: str
    suspect: bool = False
    latch: bool = False
    by_hand: str = ""
    also: frozenset[Also] = _NOTHING
    on_delay_s: float = 0.0
    off_delay_s: float = 0.0
    about: About = "supply"
    when: When = "always"
    least: Effect = Effect.WARN
    longest_s: float = 0.0
    brings: tuple[str, ...] = ()
    shelvable: bool = True

    @property
    def standard(self) -> Interlock:
        """What it does where the line file says nothing."""
        return Interlock(self.effect, self.also, self.on_delay_s, self.off_delay_s)

    def latches(self, interlock: Interlock) -> bool:
        """What switches something off always waits for a person (R2)."""
        return self.latch or interlock.trips

    def told(self, subject: str, *, second_means: bool) -> tuple[str, str, str]:
        """Tell a person what happened to `subject`, what follows and what to do first, a sentence or more each."""
        first = self.first if second_means or not self.by_hand else self.by_hand
        return self.what.format(subject=subject), self.follows.format(subject=subject), first.format(subject=subject)
