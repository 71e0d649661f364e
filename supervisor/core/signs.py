"""What lamps show and the horn sounds, as data: by an alarm's state and priority, and by what runs.

Sources: colours after IEC 60073 (from memory): red danger, act at once; yellow abnormal; green normal; blue a person
must do something; white information. Flashing while nobody has answered, steady while answered but there: the basic
sequence of ISA-18.1 (from memory). Half a hertz is the slow flashing of IEC 60073 (from memory) and slow enough for a
serial bus.
The horn's patterns and the three sounds at the end of a load are common practice, no source.

Lit is always the output's on, whichever its safe state is: a lamp whose safe state is on is lit while nobody decides,
and so shows that the supervisor is gone; a green one must rest dark.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

from supervisor.core.alarms import HIDDEN, UNANSWERED, AlarmState, Priority
from supervisor.core.anodize import State
from supervisor.core.setup import Colour


class Light(IntEnum):
    """What a lamp does; the strongest of several wins."""

    DARK = 0
    STEADY = 1
    FLASHING = 2


class Sound(IntEnum):
    """What the horn does; the strongest of several wins."""

    SILENT = 0
    NOW_AND_THEN = 1
    THREE_TIMES = 2
    URGENT = 3


@dataclass(frozen=True, slots=True)
class Beat:
    """A pattern in wire time, for it is made for people: on for `on_s`, then off for `off_s`, s, and again."""

    on_s: float
    off_s: float

    def is_on(self, into_s: float) -> bool:
        """Whether it is on `into_s` after its beginning."""
        return self._phase_s(into_s) < self.on_s

    def next_edge_s(self, into_s: float) -> float | None:
        """Wire time, s, from there to its next change; None where it never changes."""
        if not self.on_s or not self.off_s:
            return None
        phase_s = self._phase_s(into_s)
        return (self.on_s if phase_s < self.on_s else self.on_s + self.off_s) - phase_s

    def _phase_s(self, into_s: float) -> float:
        # Whole microseconds: an edge that a sum of floats misses by a hair has been reached.
        cycle_s = self.on_s + self.off_s
        phase_s = round(into_s % cycle_s, 6)
        return phase_s if phase_s < cycle_s else 0.0


LIGHTS: dict[Light, Beat] = {
    Light.DARK: Beat(0.0, 1.0),
    Light.STEADY: Beat(1.0, 0.0),
    Light.FLASHING: Beat(1.0, 1.0),
}

SOUNDS: dict[Sound, Beat] = {
    Sound.SILENT: Beat(0.0, 1.0),
    Sound.NOW_AND_THEN: Beat(1.0, 9.0),
    Sound.THREE_TIMES: Beat(1.0, 1.0),
    Sound.URGENT: Beat(1.0, 1.0),
}

THREE_TIMES_S = 6.0
"""Wire time that three sounds take."""


@dataclass(frozen=True, slots=True)
class Sign:
    """What one alarm is shown as.

    Attributes:
        colour: of the lamp that tells it; one without a colour tells every alarm. light: what that lamp does.
        sound: what the horn does until it is silenced. blue: what the lamp does that asks for a person.
    """

    colour: Colour
    light: Light
    sound: Sound
    blue: Light


COLOURS: dict[Priority, Colour] = {Priority.HIGH: "red", Priority.MEDIUM: "yellow", Priority.LOW: "yellow"}

_HEARD = {Priority.HIGH: Sound.URGENT, Priority.MEDIUM: Sound.NOW_AND_THEN, Priority.LOW: Sound.SILENT}
"""A low alarm waits for whoever comes by: it is seen and not heard."""

_RESET_AWAITED = frozenset({AlarmState.LATCHED_UNACKNOWLEDGED, AlarmState.LATCHED_ACKNOWLEDGED})


def _light(state: AlarmState) -> Light:
    if state is AlarmState.NORMAL or state in HIDDEN:
        return Light.DARK
    return Light.FLASHING if state in UNANSWERED else Light.STEADY


# Every state has a row for every priority.
TABLE: dict[tuple[AlarmState, Priority], Sign] = {
    (state, priority): Sign(
        COLOURS[priority],
        _light(state),
        _HEARD[priority] if state in UNANSWERED else Sound.SILENT,
        Light.STEADY if state in _RESET_AWAITED else Light.DARK,
    )
    for state in AlarmState
    for priority in Priority
}

# What the blue lamp makes of an operation: its load waits in the acid, or its reset is all that is missing.
ASKS: dict[State, Light] = {
    State.IDLE: Light.DARK,
    State.RUNNING: Light.DARK,
    State.HOLDING: Light.DARK,
    State.HELD: Light.STEADY,
    State.RESTARTING: Light.DARK,
    State.STOPPING: Light.DARK,
    State.STOPPED: Light.STEADY,
    State.ABORTING: Light.DARK,
    State.ABORTED: Light.STEADY,
    State.COMPLETE: Light.FLASHING,
}
