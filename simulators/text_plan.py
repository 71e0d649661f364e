"""What the simulated text devices are built from: an SCPI supply and a microcontroller board."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Condition = Literal["over voltage", "over temperature", "voltage held", "current held"]
NumberForm = Literal["NR2", "NR3"]
Choke = Literal["late", "silent"]
FieldForm = Literal["celsius", "microvolts", "contact"]
ThermocoupleType = Literal["K", "J", "T"]

LONGEST_SENTENCE = 250
# Sign, seven figures, point and comma: no value of a line is longer.
_LONGEST_VALUE = 10


def _usual_bits() -> Mapping[Condition, int]:
    """SCPI-1999, volume 2, STATus:QUEStionable (from memory): 0 voltage, 4 temperature."""
    return {"over voltage": 0, "over temperature": 4}


@dataclass(frozen=True, slots=True)
class ScpiPlan:
    """An SCPI bench supply.

    Attributes:
        identity: the four fields of *IDN?.
        number_form: how it writes numbers: 1.950 (NR2) or +1.95000E+00 (NR3).
        end: what ends its answers.
        answer_delay_s: wire time from a message's end to its answer's beginning, s.
        chokes_above_per_s: more queries than this within a second choke it; 0 means never.
        choke: what it does then: answers late, by choke_delay_s, or not at all.
        choke_delay_s: wire time, s.
        needs_remote: settings are refused until SYST:REM.
        current_step_a, voltage_step_v: steps of set points and meters, A and V.
        condition_bits: bit of STAT:QUES:COND? by condition; what is not named shows nowhere.
        charge_query: header of the query for its counter of ampere-hours, what may be left out in small letters as
            in MEASure; empty where it has none.
    """

    identity: str = "AMPMINDER,SIMULATED SUPPLY,0,1.0"
    number_form: NumberForm = "NR3"
    end: bytes = b"\n"
    answer_delay_s: float = 0.005
    chokes_above_per_s: float = 0.0
    choke: Choke = "late"
    choke_delay_s: float = 1.0
    needs_remote: bool = False
    current_step_a: float = 0.001
    voltage_step_v: float = 0.001
    condition_bits: Mapping[Condition, int] = field(default_factory=_usual_bits)
    charge_query: str = ""


@dataclass(frozen=True, slots=True)
class FieldPlan:
    """One value of a board's sentence.

    Attributes:
        name: as the sentence carries it.
        form: degC with two decimals, microvolts with one, or a contact as 1 (closed) or 0.
        thermocouple: type of a value in microvolts.
        cold_junction: the field that holds the temperature of its cold junction, in the same group.
    """

    name: str
    form: FieldForm
    thermocouple: ThermocoupleType = "K"
    cold_junction: str = ""


@dataclass(frozen=True, slots=True)
class GroupPlan:
    """The values that go in one sentence, every period_s of wire time. Raises ValueError where that cannot be."""

    period_s: float
    fields: tuple[FieldPlan, ...]

    def __post_init__(self) -> None:
        names = {of.name for of in self.fields}
        for of in self.fields:
            if of.form == "microvolts" and of.cold_junction not in names:
                raise ValueError(f"{of.name}: its cold junction {of.cold_junction!r} must come in the same sentence.")
        if sum(len(name) + 1 + _LONGEST_VALUE for name in names) + len("$READ,65535,*HH\r\n") > LONGEST_SENTENCE:
            raise ValueError(f"{', '.join(sorted(names))}: too much for one sentence of {LONGEST_SENTENCE} bytes.")


@dataclass(frozen=True, slots=True)
class BoardPlan:
    """A microcontroller board.

    Attributes:
        groups: what it sends unasked.
        relays: whether each one is on at rest, by name.
        beat_period_s: wire time between two heartbeats, s.
        boot_s: wire time for which it is deaf and dumb after a reset, s.
        answer_delay_s: wire time from a sentence's end to its answer's beginning, s.
    """

    groups: tuple[GroupPlan, ...]
    relays: Mapping[str, bool] = field(default_factory=dict)
    beat_period_s: float = 1.0
    boot_s: float = 1.5
    answer_delay_s: float = 0.002
