"""The rows of the cause x effect table that current, voltage and bath tell of a load and its contacts."""

from __future__ import annotations

from supervisor.core.alarms import Priority
from supervisor.core.effects import Also, Effect, Row

_OPEN: frozenset[Also] = frozenset({"contactor open"})

_HANDS_OFF = "Do not touch the rack until off is shown as proven; then "

_GOES_ON = (
    "current-lost",
    "output-dropped",
    "over-voltage",
    "settings-differ",
    "meters-differ",
    "voltage-ceiling",
    "current-off-plan",
)
"""What a contact that fails comes to in the end: current that is gone, or volts at the supply's ceiling."""

ROWS: dict[str, Row] = {
    "cathode-touched": Row(
        Effect.HOLD,
        Priority.HIGH,
        "The load of {subject} takes its current almost without volts: rack or part touches the cathode.",
        "No coat grows while it does. The load is held with the output off and marked suspect.",
        _HANDS_OFF + "free the rack, look for burnt spots, then reset this alarm and restart.",
        "Minutes: a part held off current in acid loses coat slowly.",
        suspect=True,
        also=_OPEN,
        least=Effect.HOLD,
        brings=("over-current", "output-dropped", "current-off-plan", "settings-differ", "meters-differ"),
    ),
    "no-growth": Row(
        Effect.HOLD,
        Priority.HIGH,
        "The load of {subject} takes its current at fewer volts than any coat needs.",
        "No coat grows. The load is held with the output off and marked suspect.",
        "Check the area, that the part is the anode, and that current goes through it, not through bare metal.",
        "Minutes: nothing is lost yet.",
        suspect=True,
        brings=("current-off-plan", "meters-differ"),
    ),
    "contact-lost-part": Row(
        Effect.HOLD,
        Priority.HIGH,
        "Part of the load of {subject} has lost its contact: what still carries the current has shrunk at once.",
        "The load is held with the output off and marked suspect: some parts get too much current, some none.",
        _HANDS_OFF + "look for fallen parts and loose clamps, and whether a meter jumped.",
        "Minutes: a part held off current in acid loses coat slowly.",
        suspect=True,
        also=_OPEN,
        brings=(*_GOES_ON, "contact-creeping", "contact-hot"),
    ),
    "contact-creeping": Row(
        Effect.HOLD,
        Priority.HIGH,
        "A contact of the load of {subject} is getting worse: what carries the current shrinks more and more.",
        "The load is held with the output off and marked suspect.",
        _HANDS_OFF + "tighten and clean clamps and rack.",
        "Minutes: a part held off current in acid loses coat slowly.",
        suspect=True,
        also=_OPEN,
        brings=(*_GOES_ON, "contact-lost-part"),
    ),
    "contact-hot": Row(
        Effect.HOLD,
        Priority.HIGH,
        "A contact or lead of {subject} takes ever more volts, enough to make it hot.",
        "The load is held with the output off and marked suspect.",
        _HANDS_OFF + "feel for heat at clamps and leads with care, then clean and tighten them.",
        "Minutes: a hot clamp burns wood, plastic and skin.",
        suspect=True,
        also=_OPEN,
        brings=(*_GOES_ON, "contact-lost-part"),
    ),
    "burning": Row(
        Effect.HOLD,
        Priority.HIGH,
        "The load of {subject} takes more current, or needs fewer volts, than its bath explains: it may be burning.",
        "The load is held with the output off and marked suspect.",
        "Check agitation and the load once off is shown as proven; go on with a lower density only.",
        "Minutes: a part held off current in acid loses coat slowly.",
        suspect=True,
        brings=("over-current", "current-off-plan"),
    ),
    "area-wrong": Row(
        Effect.WARN,
        Priority.MEDIUM,
        "Current and volts of {subject} tell of an area more than 30 % off the one given.",
        "The load goes on; its coat is thinner or thicker than planned by as much, if the area given is wrong.",
        "Measure the area again; check alloy, contacts and acid. If it is wrong, stop and start with the right one.",
        "Minutes: before much coat has grown.",
        brings=("voltage-ceiling", "current-off-plan"),
    ),
}
