"""How a line stands, in plain words and the units the line shows."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from supervisor.cli.ahead import end_text, hydrogen_text, ready_text
from supervisor.cli.folding import Head, fold, hidden_text, told
from supervisor.core.alarms import HIDDEN, AlarmState
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
        yield from (f"    {text}" for text in (ready_text(tank, system), end_text(tank, system)) if text)
    yield from (f"  {text}" for text in calibration_texts(status))
    if unhealthy := unhealthy_text(status):
        yield f"  {unhealthy}"
    yield from (f"  {text}" for text in switch_texts(status))
    yield from alarm_lines(status)
    if not status["journal"]["healthy"]:
        yield f"  record: {status['journal']['problem']}"


def calibration_texts(status: dict[str, Any]) -> Iterator[str]:
    """Tell until when instruments are calibrated, what is overdue by name first; nothing where none is."""
    known = status["calibrations"]
    overdue = [f"{name} since {one['due']}" for name, one in known.items() if one["overdue"]]
    holds = [f"{name} until {one['due']}" for name, one in known.items() if not one["overdue"]]
    if overdue:
        yield f"calibration OVERDUE: {', '.join(overdue)}"
    if holds:
        yield f"calibrated: {', '.join(holds)}"


def _supply_lines(name: str, supply: dict[str, Any], system: System) -> Iterator[str]:
    off = "off proven" if supply["off_proven"] else "on" if supply["wanted_on"] else "off NOT proven"
    current, voltage = figure(supply["current_a"], "current", system), figure(supply["voltage_v"], "voltage", system)
    by_hand = f" ({BY_HAND[supply['control']]})" if BY_HAND[supply["control"]] else ""
    yield f"  {name}{by_hand}: {supply['state']}, output {off}, {current}, {voltage}"
    if waited := waits_text(supply, system):
        yield f"    {waited}"
    if gas := hydrogen_text(supply, system):
        yield f"    {gas}"
    operation = supply["operation"]
    if operation:
        yield f"    load {operation['load']}: {progress_text(operation, system)}"
        yield f"    {coat_text(operation, system)}"
        if operation["why"]:
            yield f"    because: {operation['why']}"
        if operation["suspect"]:
            yield f"    the load is suspect: {operation['suspect']}"
        if operation["gauge"]:
            yield f"    gauge its coat: {operation['gauge']}"


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
    system: System = status["units"]
    controls = [(kind, name, tank[kind]) for kind in ("heating", "cooling") for name, tank in status["tanks"].items()]
    # What has a line of its own is not told a second time; lamps and horn flash, and their states say nothing.
    others = {control["output"] for _, _, control in controls if control} | _signs(status)
    parts = {
        kind: ", ".join(_control_text(name, of, system) for which, name, of in controls if which == kind and of)
        for kind in ("heating", "cooling")
    }
    parts["outputs"] = ", ".join(
        f"{name} {switch_text(output)}" for name, output in status["outputs"].items() if name not in others
    )
    parts["contacts"] = ", ".join(_contact_text(name, status) for name in status["contacts"])
    parts["heartbeats"] = ", ".join(f"{name} {_beat_text(beat)}" for name, beat in status["heartbeats"].items())
    parts["signs"] = _signs_text(status)
    parts["alarms hidden"] = hidden_text(fold(status["alarms"]))
    yield from (f"{kind}: {text}" for kind, text in parts.items() if text)


def _signs(status: dict[str, Any]) -> set[str]:
    """The lamps and horns that are told by alarms now."""
    roles = {name: output["role"] for name, output in status["outputs"].items()}
    return {name for name, role in roles.items() if role in {"lamp", "horn"} and status["annunciation"]}


def _signs_text(status: dict[str, Any]) -> str:
    """Tell what lamps and horn show; "" where they show nothing."""
    signs = status["annunciation"]
    if not signs:
        return ""
    if signs["test"]:
        return "all lamps and the horn are on, for a test"
    lamps = [f"{name} {light}" for name, light in signs["lamps"].items() if light != "dark"]
    silenced = ["horn silenced"] if signs["silenced"] and signs["horn"] == "silent" else []
    horn = [f"horn {signs['horn']}"] if signs["horn"] not in {None, "silent"} else silenced
    return ", ".join((*lamps, *horn))


def _control_text(name: str, control: dict[str, Any], system: System) -> str:
    """Tell what heats or cools a tank; a heater is on only where somebody asked for heat."""
    does = "on" if control["on"] else "off" if control.get("asked_for", True) else "rests until asked for"
    return f"{name} {does} (holds {show(control['hold_c'], 'temperature', system)})"


def unhealthy_text(status: dict[str, Any]) -> str:
    """Name the contacts that are not as they must be; "" where all are."""
    names = [name for name, contact in status["contacts"].items() if contact["healthy"] is False]
    return f"NOT HEALTHY: {', '.join(_contact_text(name, status) for name in names)}" if names else ""


def switch_word(role: str, *, on: bool) -> str:
    """Name a state of an output: contactors close and open."""
    return ("closed" if on else "open") if role == "contactor" else "on" if on else "off"


def switch_text(output: dict[str, Any]) -> str:
    """Tell what an output was told, and whether its device has not confirmed it."""
    return switch_word(output["role"], on=output["on"]) + ("" if output["confirmed"] else " (NOT confirmed)")


CONTACT_WORDS = {
    "level": ("enough", "LOW"),
    "air flow": ("proven", "NOT proven"),
    "air pressure": ("proven", "NOT proven"),
    "guard": ("shut", "OPEN"),
    "emergency stop": ("released", "PRESSED"),
    "auxiliary contact": ("closed", "open"),
    "button": ("pressed", "let go"),
}
"""What a closed and an open contact mean, by role. Of a lid it depends on its tank."""


def _contact_text(name: str, status: dict[str, Any]) -> str:
    """Tell what a contact says of its thing: whether the contact itself is closed could be taken for the lid."""
    contact = status["contacts"][name]
    if contact["closed"] is None:
        return f"{name} {NOTHING} (reading {contact['reading']})"
    if contact["role"] == "lid":
        acid = contact["tank"] is not None and status["tanks"][contact["tank"]]["role"] == "anodize"
        closed, opened = ("open", "SHUT") if acid else ("shut", "OPEN")
    else:
        closed, opened = CONTACT_WORDS[contact["role"]]
    return f"{name} {closed if contact['closed'] else opened}"


def _beat_text(beat: dict[str, Any]) -> str:
    return "beats" if beat["reading"] == "good" else f"{NOTHING} (reading {beat['reading']})"


def progress_text(operation: dict[str, Any], system: System) -> str:
    """Tell charge and thickness with their bands, the target, and the time to go."""
    grown, charge, target = operation["band_um"], operation["charge_c"], operation["target"]
    band = f"90 % band {show(grown['low'], 'thickness', system)} to {show(grown['high'], 'thickness', system)}"
    text = (
        f"{show(grown['best'], 'thickness', system)} ({band}) of {show(target['thickness_um'], 'thickness', system)}, "
        f"{show(charge['best'], 'charge', system)} of {show(target['charge_c'], 'charge', system)}"
    )
    if operation["stops_on"] != "best":
        text += f" (stops on the {operation['stops_on']} bound)"
    if operation["charge_unbounded"]:
        text += ", more may have flowed while nobody watched"
    return text if operation["to_go_s"] is None else f"{text}, {duration(operation['to_go_s'])} to go"


def coat_text(operation: dict[str, Any], system: System) -> str:
    """Tell the coat beside its mean thickness: where it is thinnest, how it spreads, what it weighs and has lost."""
    least, spread, mass = operation["least_local_um"], operation["spread_um"], operation["mass_g_per_m2"]
    alloy = f"{operation['alloy']}, " if operation["alloy"] else ""
    wanted = ", which the target means" if operation["target"]["means"] == "least local" else ""
    text = (
        f"{alloy}thinnest {show(least['best'], 'thickness', system)} ({show(least['low'], 'thickness', system)} to "
        f"{show(least['high'], 'thickness', system)}){wanted}, across the rack "
        f"{show(spread['low'], 'thickness', system)} to {show(spread['high'], 'thickness', system)}, "
        f"{show(mass['best'], 'mass per area', system)} unsealed, lost to acid "
        f"{show(operation['mass_lost_share'], 'fraction', system)}, porosity "
        f"{show(operation['porosity_share'], 'fraction', system)}"
    )
    barren = operation["barren_c"]
    return f"{text}, {show(barren, 'charge', system)} grew no coat" if barren > 0 else text


def alarm_lines(status: dict[str, Any]) -> Iterator[str]:
    """Tell every alarm that is told: what happened, what follows, what to do first; consequences by name."""
    for head in told(fold(status["alarms"])):
        alarm = head.alarm
        yield f"  {alarm['priority'].upper()} {alarm['name']} ({alarm['state']})"
        yield f"    {alarm['what']} {alarm['follows']}"
        yield f"    First: {alarm['first']}"
        if head.consequences:
            yield f"    {consequences_text(head)}"


def consequences_text(head: Head) -> str:
    """Name what an alarm brought along."""
    return f"{head.brought}: {', '.join(one['name'] for one in head.consequences)}"


def state_text(status: dict[str, Any]) -> Iterator[str]:
    """Tell how each supply and its tanks stand, a line a supply."""
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


def output_text(supply: dict[str, Any]) -> str:
    """Tell how an output stands: only a proof makes it off."""
    return "off, proven" if supply["off_proven"] else "on" if supply["wanted_on"] else "off, NOT proven"


def alarm_text(alarm: dict[str, Any], *, known: bool) -> str:
    """Tell one alarm in one line: in full while its cause stands or where it was not `known` before.

    What is another's consequence, or hidden, is only named; what is suppressed by design is nothing to tell: "".
    """
    if alarm["state"] in HIDDEN:
        why = f", because: {alarm['why']}" if alarm["why"] else ""
        return "" if alarm["state"] == AlarmState.SUPPRESSED else f"alarm {alarm['name']}: {alarm['state']}{why}"
    if alarm["under"]:
        return f"alarm {alarm['name']}: {alarm['state']}, a consequence of {alarm['under']}"
    gone = "" if alarm["active"] else f"its cause is gone ({alarm['state']})"
    if gone and known:
        return f"alarm {alarm['name']}: {gone}"
    if known and alarm["state"] == AlarmState.ACKNOWLEDGED:
        return f"alarm {alarm['name']}: acknowledged"
    head = f"alarm {alarm['name']}, {alarm['priority']} priority" + (f", {gone}" if gone else "")
    return f"{head}: {alarm['what']} {alarm['follows']} First: {alarm['first']}"
