"""Everything the core can ask for. Nothing else reaches a wire, a record or a person."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal


@dataclass(frozen=True, slots=True)
class SwitchOff:
    """Switch a supply output off, ahead of everything else on its link (R11).

    Attributes:
        number: rises by one with every action that reaches a wire.
        decided_wire_s: wire time of the step that decided it.
    """

    supply: str
    number: int
    decided_wire_s: float
    action: Literal["switch off"] = "switch off"


@dataclass(frozen=True, slots=True)
class SetPoints:
    """Send current (A) and voltage (V) limits to a supply."""

    supply: str
    number: int
    decided_wire_s: float
    current_a: float
    voltage_v: float
    action: Literal["set points"] = "set points"


@dataclass(frozen=True, slots=True)
class SwitchOn:
    """Switch a supply output on. Dropped, never delayed, if the set points before it failed or an off overtook it."""

    supply: str
    number: int
    decided_wire_s: float
    action: Literal["switch on"] = "switch on"


@dataclass(frozen=True, slots=True)
class Switch:
    """Switch an output that is no supply output. A newer one for the same output takes an older one's place.

    Where `safe`, towards the output's safe state, it goes ahead of everything but a supply's off (R11). Else, away from
    that, in the pattern of a lamp or horn or told again for good measure, it is dropped, never delayed, if it waited
    too long for its turn.
    """

    output: str
    number: int
    decided_wire_s: float
    on: bool
    safe: bool
    action: Literal["switch"] = "switch"


@dataclass(frozen=True, slots=True)
class ArmTimeOut:
    """Arm the device's own communication time-out, s of wire time: without traffic it switches itself off."""

    supply: str
    number: int
    time_out_s: float
    action: Literal["arm time-out"] = "arm time-out"


@dataclass(frozen=True, slots=True)
class Record:
    """Make an intent durable and answer with Recorded(intent). One covers a ramp up to its highest set points (R1)."""

    intent: str
    supply: str
    operation: str
    highest_current_a: float
    highest_voltage_v: float
    action: Literal["record"] = "record"


@dataclass(frozen=True, slots=True)
class Answer:
    """The answer to a request: accepted, or refused with every reason."""

    request: str
    ok: bool
    reasons: tuple[str, ...] = ()
    data: dict[str, str] = field(default_factory=dict)
    action: Literal["answer"] = "answer"


@dataclass(frozen=True, slots=True)
class Note:
    """Something a person may want to know, for the record and the live view.

    Attributes:
        kind: `operation` (a state changed), `alarm` (an alarm changed), `crossover`, `output`, `tank` (its heating).
        subject: the supply, output, alarm, operation or tank it is about.
        text: one plain sentence.
        data: name to value, as text, for programs.
    """

    kind: Literal["operation", "alarm", "crossover", "output", "tank"]
    subject: str
    text: str
    data: dict[str, str] = field(default_factory=dict)
    action: Literal["note"] = "note"


Action = SwitchOff | SetPoints | SwitchOn | Switch | ArmTimeOut | Record | Answer | Note
"""Told apart by their `action` field when read back."""
