"""Devices that speak in text, as a line's file tells: what they are and what of the line they show and drive."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import cast, get_args

from simulators.tables import FileError, Reader
from simulators.text_plan import (
    BoardPlan,
    Choke,
    Condition,
    FieldForm,
    FieldPlan,
    GroupPlan,
    NumberForm,
    ScpiPlan,
    ThermocoupleType,
)

_HEADER = re.compile(r"[A-Z]+[a-z]*(:[A-Z]+[a-z]*)*")


@dataclass(frozen=True, slots=True)
class ScpiDevicePlan:
    """An SCPI supply on a link of its own; `supply` is the one that it is. It boots for `boot_s` of wire time."""

    link: str
    supply: str
    plan: ScpiPlan
    boot_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Shown:
    """What a field of a board shows: a sensor or a contact, by name; neither is a socket with nothing in it."""

    sensor: str = ""
    contact: str = ""


@dataclass(frozen=True, slots=True)
class BoardDevicePlan:
    """A microcontroller on a link of its own; `shows` by field and `drives` by relay name the line's own things."""

    link: str
    plan: BoardPlan
    shows: Mapping[str, Shown]
    drives: Mapping[str, str]


def read_scpi(table: Reader) -> ScpiDevicePlan:
    """An SCPI supply as its table tells. Raises FileError."""
    usual = ScpiPlan()
    bits = table.table("condition_bits") if table.has("condition_bits") else None
    plan = ScpiPlan(
        number_form=cast("NumberForm", table.text("number_form", usual.number_form, get_args(NumberForm))),
        answer_delay_s=table.number("answer_delay_ms", 5.0, 0.0) / 1000.0,
        chokes_above_per_s=table.number("chokes_above_per_s", 0.0, 0.0),
        choke=cast("Choke", table.text("choke", usual.choke, get_args(Choke))),
        choke_delay_s=table.number("choke_delay_ms", 1000.0, 0.0) / 1000.0,
        needs_remote=table.flag("needs_remote", default=False),
        current_step_a=table.number("current_step_a", 0.001, 1e-6),
        voltage_step_v=table.number("voltage_step_v", 0.001, 1e-6),
        condition_bits=usual.condition_bits if bits is None else _bits(bits),
        charge_query=table.text("charge_query", "").removesuffix("?"),
    )
    boot_s = table.number("boot_ms", 500.0, 0.0) / 1000.0
    device = ScpiDevicePlan(table.text("link"), table.text("supply"), plan, boot_s)
    table.finish()
    if plan.charge_query and not _HEADER.fullmatch(plan.charge_query):
        raise FileError(f"charge_query: {plan.charge_query!r} is no header such as MEASure:CHARge?.")
    return device


def _bits(table: Reader) -> dict[Condition, int]:
    conditions = {name: table.whole(name, high=15) for name in table.keys()}  # noqa: SIM118 - a method, not a mapping's
    unknown = sorted(set(conditions) - set(get_args(Condition)))
    if unknown:
        raise FileError(f"condition_bits: there is no condition {unknown[0]!r}. Known are: {get_args(Condition)}.")
    return {cast("Condition", name): bit for name, bit in conditions.items()}


def read_board(table: Reader) -> BoardDevicePlan:
    """A microcontroller as its table tells. Raises FileError."""
    shows: dict[str, Shown] = {}
    try:
        groups = tuple(_group(entry, shows) for entry in table.listed_tables("groups"))
    except ValueError as problem:
        raise FileError(f"groups: {problem}") from problem
    relays, drives = dict[str, bool](), dict[str, str]()
    for entry in table.listed_tables("relays"):
        name = entry.text("name")
        relays[name], drives[name] = entry.flag("rests_on", default=False), entry.text("switch")
        entry.finish()
    plan = BoardPlan(
        groups,
        relays,
        beat_period_s=table.number("beat_period_ms", 1000.0, 10.0) / 1000.0,
        boot_s=table.number("boot_ms", 1500.0, 0.0) / 1000.0,
        answer_delay_s=table.number("answer_delay_ms", 2.0, 0.0) / 1000.0,
    )
    device = BoardDevicePlan(table.text("link"), plan, shows, drives)
    table.finish()
    return device


def _group(table: Reader, shows: dict[str, Shown]) -> GroupPlan:
    fields = []
    for entry in table.listed_tables("fields"):
        name = entry.text("name")
        shows[name] = Shown(entry.text("sensor", ""), entry.text("contact", ""))
        usual = "contact" if shows[name].contact else "celsius"
        fields.append(
            FieldPlan(
                name,
                cast("FieldForm", entry.text("form", usual, get_args(FieldForm))),
                cast("ThermocoupleType", entry.text("thermocouple", "K", get_args(ThermocoupleType))),
                entry.text("cold_junction", ""),
            )
        )
        entry.finish()
    plan = GroupPlan(table.number("period_ms", low=10.0) / 1000.0, tuple(fields))
    table.finish()
    return plan
