"""How a line stands, in plain words and the units the line shows."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from supervisor.units import Kind, System, show

NOTHING = "---"
"""Shown where there is no good reading: a bad one has no number."""

BY_HAND = {"remote": "", "contactor": "set by its knobs", "none": "set and switched by hand"}
"""What of a supply is done by a person's hands, by what controls it."""


def figure(value: float | None, kind: Kind, system: System) -> str:
    """Show a value in the line's units, or that there is none."""
    return NOTHING if value is None else show(value, kind, system)


def duration(seconds: float | None) -> str:
    """Show a time as minutes and seconds."""
    if seconds is None:
        return NOTHING
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes} min {rest:02d} s" if minutes else f"{rest} s"


def clock(seconds: float | None) -> str:
    """Show a time as on a clock: minutes and seconds, from an hour on hours, minutes and seconds."""
    if seconds is None:
        return NOTHING
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"


def status_lines(status: dict[str, Any]) -> Iterator[str]:
    """Tell how the line stands, a few plain lines."""
    system: System = status["units"]
    yield f"line {status['line']}" + (" (watching only)" if status["watch_only"] else "")
    for name, supply in status["supplies"].items():
        yield from _supply_lines(name, supply, system)
    for name, tank in status["tanks"].items():
        low, high = show(tank["low_c"], "temperature", system), show(tank["high_c"], "temperature", system)
        note = "" if tank["reading"] == "good" else f" (reading {tank['reading']})"
        yield f"  {name}: {figure(tank['temperature_c'], 'temperature', system)}, band {low} to {high}{note}"
    yield from (f"  {text}" for text in switch_texts(status))
    yield from alarm_lines(status)
    if not status["journal"]["healthy"]:
        yield f"  record: {status['journal']['problem']}"


def _supply_lines(name: str, supply: dict[str, Any], system: System) -> Iterator[str]:
    off = "off proven" if supply["off_proven"] else "on" if supply["wanted_on"] else "off NOT proven"
    current, voltage = figure(supply["current_a"], "current", system), figure(supply["voltage_v"], "voltage", system)
    by_hand = f" ({BY_HAND[supply['control']]})" if BY_HAND[supply["control"]] else ""
    yield f"  {name}{by_hand}: {supply['state']}, output {off}, {current}, {voltage}"
    if waited := waits_text(supply, system):
        yield f"    {waited}"
    operation = supply["operation"]
    if operation:
        yield f"    load {operation['load']}: {progress_text(operation, system)}"
        if operation["why"]:
            yield f"    because: {operation['why']}"
        if operation["suspect"]:
            yield f"    the load is suspect: {operation['suspect']}"


def waits_text(supply: dict[str, Any], system: System) -> str:
    """Tell what a supply with knobs waits for a person to do; "" where it waits for nothing."""
    if not supply["waits_for_hands"]:
        return ""
    operation = supply["operation"]
    current = figure(operation["set_current_a"], "current", system)
    voltage = figure(operation["set_voltage_v"], "voltage", system)
    return f"waits for: turn up to {current}, {voltage} at most, then ampminder anodize confirm"


def switch_texts(status: dict[str, Any]) -> Iterator[str]:
    """Tell how outputs, contacts and heartbeats stand, a text for each kind that the line has any of."""
    if status["exercise"]:
        yield f"exercising {status['exercise']}: away from its safe state for a moment"
    outputs = ", ".join(f"{name} {switch_text(output)}" for name, output in status["outputs"].items())
    contacts = ", ".join(f"{name} {_contact_text(contact)}" for name, contact in status["contacts"].items())
    beats = ", ".join(f"{name} {_beat_text(beat)}" for name, beat in status["heartbeats"].items())
    yield from (
        f"{kind}: {text}"
        for kind, text in (("outputs", outputs), ("contacts", contacts), ("heartbeats", beats))
        if text
    )


def switch_word(role: str, *, on: bool) -> str:
    """Name a state of an output: contactors close and open."""
    return ("closed" if on else "open") if role == "contactor" else "on" if on else "off"


def switch_text(output: dict[str, Any]) -> str:
    """Tell what an output was told, and whether its device has not confirmed it."""
    return switch_word(output["role"], on=output["on"]) + ("" if output["confirmed"] else " (NOT confirmed)")


def _contact_text(contact: dict[str, Any]) -> str:
    if contact["closed"] is None:
        return f"{NOTHING} (reading {contact['reading']})"
    return "closed" if contact["closed"] else "open"


def _beat_text(beat: dict[str, Any]) -> str:
    return "beats" if beat["reading"] == "good" else f"{NOTHING} (reading {beat['reading']})"


def progress_text(operation: dict[str, Any], system: System) -> str:
    """Tell charge and thickness with their bands, the target, and the time to go."""
    grown, charge, target = operation["thickness_um"], operation["charge_c"], operation["target"]
    band = f"{show(grown['low'], 'thickness', system)} to {show(grown['high'], 'thickness', system)}"
    text = (
        f"{show(grown['best'], 'thickness', system)} ({band}) of {show(target['thickness_um'], 'thickness', system)}, "
        f"{show(charge['best'], 'charge', system)} of {show(target['charge_c'], 'charge', system)}"
    )
    if operation["charge_unbounded"]:
        text += ", more may have flowed while nobody watched"
    return text if operation["to_go_s"] is None else f"{text}, {duration(operation['to_go_s'])} to go"


def alarm_lines(status: dict[str, Any]) -> Iterator[str]:
    """Tell every alarm that is not normal: what happened, what follows, what to do first."""
    for alarm in status["alarms"]:
        yield f"  {alarm['priority'].upper()} {alarm['name']} ({alarm['state']})"
        yield f"    {alarm['what']} {alarm['follows']}"
        yield f"    First: {alarm['first']}"


def state_text(status: dict[str, Any]) -> Iterator[str]:
    """Tell how each supply and its tanks stand, a line a supply, and all that is switched in one more."""
    system: System = status["units"]
    baths = ", ".join(
        f"{name} {figure(tank['temperature_c'], 'temperature', system)}"
        + ("" if tank["reading"] == "good" else f" (reading {tank['reading']})")
        for name, tank in status["tanks"].items()
    )
    for name, supply in status["supplies"].items():
        operation = supply["operation"]
        progress = f" {progress_text(operation, system)};" if operation else ""
        why = f" because of {operation['why']}" if operation and operation["why"] else ""
        current, voltage = (
            figure(supply["current_a"], "current", system),
            figure(supply["voltage_v"], "voltage", system),
        )
        waited = waits_text(supply, system)
        yield (
            f"{name}: {supply['state']}{why}, output {output_text(supply)};{progress} {current}, {voltage}, {baths}"
            + (f"; {waited}" if waited else "")
        )
    if switches := "; ".join(switch_texts(status)):
        yield switches


def output_text(supply: dict[str, Any]) -> str:
    """Tell how an output stands: only a proof makes it off."""
    return "off, proven" if supply["off_proven"] else "on" if supply["wanted_on"] else "off, NOT proven"


def alarm_text(alarm: dict[str, Any], *, known: bool) -> str:
    """Tell one alarm in one line: in full while its cause stands or where it was not `known` before."""
    gone = "" if alarm["standing"] else f"its cause is gone ({alarm['state']})"
    if gone and known:
        return f"alarm {alarm['name']}: {gone}"
    head = f"alarm {alarm['name']}, {alarm['priority']} priority" + (f", {gone}" if gone else "")
    return f"{head}: {alarm['what']} {alarm['follows']} First: {alarm['first']}"
