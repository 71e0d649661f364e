"""The one cause x effect table: what each cause does to the operation it touches, and what the person is told.

Source: which cause holds, stops or aborts is common practice for an unattended rectifier over an acid tank, no source;
priorities after EEMUA 191's advice that few alarms be of the highest.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

from supervisor.core.alarms import Priority


class Effect(IntEnum):
    """What a cause does; the strongest of several wins."""

    WARN = 0
    HOLD = 1
    STOP = 2
    ABORT = 3


@dataclass(frozen=True, slots=True)
class Row:
    """One cause.

    Attributes:
        effect: on the operation of the supply it touches; anything above WARN is a trip, commands off and latches.
        what: what happened. follows: what the program does and what comes of it. first: what to do first.
            Each may name {subject}.
        by_hand: what to do first instead where no second means can break the circuit (R7); "" where it makes no
            difference.
        suspect: whether the load is marked suspect.
        latch: whether it stays until reset after its cause is gone; always so for a trip.
    """

    effect: Effect
    priority: Priority
    what: str
    follows: str
    first: str
    suspect: bool = False
    latch: bool = False
    by_hand: str = ""

    @property
    def latches(self) -> bool:
        """A trip always waits for a person (R2)."""
        return self.latch or self.effect > Effect.WARN

    def told(self, subject: str, *, second_means: bool) -> tuple[str, str, str]:
        """Tell a person what happened to `subject`, what follows and what to do first, a sentence or more each."""
        first = self.first if second_means or not self.by_hand else self.by_hand
        return self.what.format(subject=subject), self.follows.format(subject=subject), first.format(subject=subject)


_CUT_THE_MAINS = "No second means to break its circuit is fitted: cut the mains of {subject} by hand now. "


CAUSES: dict[str, Row] = {
    "heartbeat-lost": Row(
        Effect.HOLD,
        Priority.HIGH,
        "The heartbeat of {subject} stopped, or began anew: the device lost its power, its wire, or was reset.",
        "What it switches rests by itself; loads that hang on it are held with the output off.",
        "Check its power and its cable, then reset this alarm and restart.",
    ),
    "contactor-dropped": Row(
        Effect.HOLD,
        Priority.HIGH,
        "The contactor of {subject} opened by itself while it was to be closed.",
        "The load is held with the output off and marked suspect; it is not closed again by itself.",
        "Look for an emergency stop, a fuse or a loose wire at the contactor's coil.",
        suspect=True,
    ),
    "contactor-failed": Row(
        Effect.HOLD,
        Priority.HIGH,
        "The contactor of {subject} did not close within 2 s.",
        "The load is held; nothing was switched on.",
        "Check the contactor's coil, its fuse and its auxiliary contact, then reset this alarm and restart.",
    ),
    "not-ready": Row(
        Effect.HOLD,
        Priority.MEDIUM,
        "When the contactor of {subject} had closed, not everything was as it must be any more.",
        "The load is held; nothing was switched on.",
        "See what `ampminder status` shows, then reset this alarm and restart.",
    ),
    "bath-low": Row(
        Effect.WARN,
        Priority.MEDIUM,
        "The bath of {subject} is colder than its band.",
        "The coat grows harder and the voltage rises.",
        "Check the cooling; let the bath warm before the next load.",
    ),
    "bath-high": Row(
        Effect.WARN,
        Priority.MEDIUM,
        "The bath of {subject} is warmer than its band.",
        "If it goes on rising the load is stopped at the high-high limit.",
        "Check cooling and agitation now.",
    ),
    "bath-low-low": Row(
        Effect.HOLD,
        Priority.HIGH,
        "The bath of {subject} is far too cold.",
        "The load is held with the output off.",
        "Warm the bath, then reset this alarm and restart.",
    ),
    "bath-high-high": Row(
        Effect.STOP,
        Priority.HIGH,
        "The bath of {subject} is far too hot.",
        "The load is stopped with the output off; a hot bath dissolves and burns the coat.",
        "Once off is shown as proven, take the load out and rinse it; then find out why the cooling failed.",
    ),
    "temperature-lost": Row(
        Effect.HOLD,
        Priority.HIGH,
        "No good temperature comes from {subject}.",
        "The load is held with the output off; nobody would see the bath overheat.",
        "Check the thermocouple and its plug, then reset this alarm and restart.",
    ),
    "supply-silent": Row(
        Effect.ABORT,
        Priority.HIGH,
        "The supply {subject} does not answer.",
        "Wherever a wire leads to it, off is sent again and again until good readings prove it.",
        "Go to the supply and look whether current flows.",
        by_hand=_CUT_THE_MAINS + "Go to the supply and look whether current flows.",
    ),
    "supply-absent": Row(
        Effect.WARN,
        Priority.MEDIUM,
        "The supply {subject} does not answer; its output was proven off before.",
        "Nothing can be started until it answers.",
        "Check its mains switch and the wire to it.",
    ),
    "current-lost": Row(
        Effect.HOLD,
        Priority.HIGH,
        "The current of {subject} is gone while it is commanded on: a contact is lost.",
        "The load is held with the output off and marked suspect.",
        "Do not touch the rack until off is shown as proven; then check clamps and rack.",
        suspect=True,
    ),
    "output-dropped": Row(
        Effect.HOLD,
        Priority.HIGH,
        "The supply {subject} reports its output off while it is commanded on.",
        "The load is held and marked suspect; it is not switched on again by itself.",
        "Look for a trip or a mains dip at the supply.",
        suspect=True,
    ),
    "settings-differ": Row(
        Effect.HOLD,
        Priority.HIGH,
        "The supply {subject} holds other settings than it was given.",
        "The load is held with the output off.",
        "Check whether somebody turned a knob at the supply.",
    ),
    "command-failed": Row(
        Effect.HOLD,
        Priority.HIGH,
        "The supply {subject} did not confirm being switched on.",
        "The load is held; off is sent and proven.",
        "Check the wire to the supply, then reset this alarm and restart.",
    ),
    "over-current": Row(
        Effect.ABORT,
        Priority.HIGH,
        "More current flows from {subject} than it was set to.",
        "The load is aborted with the output off.",
        "Look for a short in the tank and for a wrong setting at the supply.",
        suspect=True,
    ),
    "current-without-operation": Row(
        Effect.WARN,
        Priority.HIGH,
        "Current flows from {subject} although nothing was started.",
        "Wherever a wire leads to it, off is sent until good readings prove it.",
        "Look at the supply; keep hands out of the tank.",
        latch=True,
        by_hand=_CUT_THE_MAINS + "Look at the supply; keep hands out of the tank.",
    ),
    "off-not-proven": Row(
        Effect.WARN,
        Priority.HIGH,
        "The output of {subject} is not proven off.",
        "Wherever a wire leads to it, off is sent again until good readings prove it.",
        "Keep hands out of the tank.",
        latch=True,
        by_hand=_CUT_THE_MAINS + "Keep hands out of the tank.",
    ),
    "longest-time": Row(
        Effect.STOP,
        Priority.HIGH,
        "The operation of {subject} reached its longest time before its target.",
        "It is stopped with the output off.",
        "Look at current and area: the plan does not fit what happened.",
    ),
    "largest-charge": Row(
        Effect.STOP,
        Priority.HIGH,
        "The operation of {subject} reached its largest charge before its target.",
        "It is stopped with the output off.",
        "Compare the supply's meter with another: one of them is wrong.",
        suspect=True,
    ),
    "interrupted": Row(
        Effect.HOLD,
        Priority.HIGH,
        "The supervisor ended in the middle of the operation of {subject} and was started again.",
        "Off was sent first; the load is held and its charge is less certain by the gap.",
        "Look at the load; restart or stop it.",
    ),
    "contactor-stuck": Row(
        Effect.WARN,
        Priority.HIGH,
        "The contactor {subject} was told to open, and its auxiliary contact still shows it closed.",
        "It cannot break its circuit; nothing is started behind it.",
        "Cut the mains of the supply behind it by hand. Keep hands out of the tank; then replace the contactor.",
        latch=True,
    ),
    "urgent-switch-failed": Row(
        Effect.WARN,
        Priority.HIGH,
        "The output {subject} does not confirm its safe state.",
        "That is sent again until it does.",
        "Look at what it drives and cut its mains by hand if it is on; check the wire to its device.",
    ),
    "switch-failed": Row(
        Effect.WARN,
        Priority.MEDIUM,
        "The output {subject} does not confirm its safe state.",
        "That is sent again until it does.",
        "Look at what it drives; check the wire to its device.",
    ),
    "ramp-not-confirmed": Row(
        Effect.WARN,
        Priority.MEDIUM,
        "Nobody has said that the knobs of {subject} are set.",
        "Charge is counted, but a lost contact is not looked for until then.",
        "Turn the knobs to what was named, then: ampminder anodize confirm",
    ),
    "current-off-plan": Row(
        Effect.WARN,
        Priority.MEDIUM,
        "The current of {subject} is more than a tenth off its plan.",
        "The load goes on; it takes a longer or shorter time, and its coat may differ.",
        "Set the knob to the planned current; check area and contacts.",
    ),
    "switch-off-by-hand": Row(
        Effect.WARN,
        Priority.HIGH,
        "The supply {subject} must be switched off now.",
        "Nothing here can do it: current flows until you do.",
        "Switch {subject} off by hand now.",
    ),
    "voltage-ceiling": Row(
        Effect.WARN,
        Priority.MEDIUM,
        "The supply {subject} is at its voltage ceiling and gives less than its set current.",
        "The load takes longer; at its longest time it is stopped.",
        "Check contacts and the bath's temperature.",
    ),
}


def strongest(causes: list[str]) -> str | None:
    """Name the cause with the strongest effect, of equals the first in the table; None where there is none.

    So a device that fell silent is named before what is missed because of it.
    """
    standing = [cause for cause in CAUSES if cause in causes]
    return max(standing, key=lambda cause: CAUSES[cause].effect, default=None)
