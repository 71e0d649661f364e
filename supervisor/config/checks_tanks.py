"""Checks of tanks: limits in order and within what the liquid can reach, heating and cooling between them."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from supervisor.config.mistakes import Told, Where, nearest
from supervisor.config.model_tanks import CoolingTable, HeatingTable, LimitsTable, TankTable
from supervisor.config.setting import channel_span, channel_unit
from supervisor.config.shape import known
from supervisor.config.wire import View
from supervisor.trade.boiling import boiling_c
from supervisor.units import System, show

COLDEST_BATH_C = -5.0
HOTTEST_BATH_C = 35.0
"""Sulfuric anodizing is done from 28 degF (hard coat) to 72 degF (dyed work): Metal Finishing Guidebook
2011-12 p. 412 and 2013 p. 425; limits a little outside serve."""

WATER_FREEZES_C = 0.0

USUAL_DEADBAND_C = (0.2, 0.3)
ORDER = ("trip_low", "warn_low", "warn_high", "trip_high")


def tanks(view: View, told: Told) -> None:
    """Run every check of tanks."""
    for name, tank in view.document.tanks.items():
        _limits_in_order(name, tank.limits, view.system, told)
        _within_reach(name, tank, view, told)
        _measured(name, tank, view, told)
        if tank.role == "anodize" and tank.acid is None:
            told(("tanks", name, "acid"), "this key is missing", 'add acid = "165 g/L", or what is true of yours')
        if tank.heating is not None:
            _heated(name, tank.heating, view, told)
        for control in ("heating", "cooling"):
            _controlled(name, tank, control, view, told)
        _apart(name, tank, view.system, told)
    _one_tank_each(view, told)


def _within_reach(name: str, tank: TankTable, view: View, told: Told) -> None:
    """A limit that the liquid cannot reach, or the thermometer not show, would never act."""
    span = channel_span(view.document.channels.get(tank.temperature), view.profiles)
    for where, limit_c in _temperatures(name, tank):
        shown = show(limit_c, "temperature", view.system)
        if tank.role == "anodize" and not COLDEST_BATH_C <= limit_c <= HOTTEST_BATH_C:
            low, high = (show(end, "temperature", view.system) for end in (COLDEST_BATH_C, HOTTEST_BATH_C))
            right = f"a limit from {low} to {high}{_fahrenheit_slip(limit_c)}"
            told(where, f"{shown} is no temperature of an anodizing bath", right)
        elif known(tank.role) and tank.role != "anodize":
            _liquid(where, limit_c, view, told)
        if span and not span[0] < limit_c < span[1]:
            low, high = (show(end, "temperature", view.system) for end in span)
            problem = f"it is outside what {tank.temperature!r} can measure, so it could never be seen"
            told(where, problem, f"stay between {low} and {high}")


def _liquid(where: Where, limit_c: float, view: View, told: Told) -> None:
    """Whatever is dissolved, water is the safe case: it boils first."""
    shown, altitude_m = show(limit_c, "temperature", view.system), view.document.line.altitude
    if limit_c < WATER_FREEZES_C:
        freezes = show(WATER_FREEZES_C, "temperature", view.system)
        told(where, f"at {shown} water is ice", f"{freezes} or more")
    if not known(altitude_m):
        return
    boils_c, altitude = boiling_c(altitude_m), show(altitude_m, "altitude", view.system)
    if limit_c >= boils_c:
        boils = show(boils_c, "temperature", view.system)
        told(where, f"{shown} is never reached: at {altitude} water boils at {boils}", f"below {boils}")


def _temperatures(name: str, tank: TankTable) -> Iterator[tuple[Where, float]]:
    for key in ORDER:
        if known(getattr(tank.limits, key)):
            yield ("tanks", name, "limits", key), getattr(tank.limits, key)
    for control, table in (("heating", tank.heating), ("cooling", tank.cooling)):
        if table is not None and known(table.hold):
            yield ("tanks", name, control, "hold"), table.hold


def _fahrenheit_slip(limit_c: float) -> str:
    meant_c = (limit_c - 32) / 1.8
    return f"; did you mean {limit_c:g} degF?" if COLDEST_BATH_C <= meant_c <= HOTTEST_BATH_C else ""


def _measured(name: str, tank: TankTable, view: View, told: Told) -> None:
    _is_temperature(tank.temperature, ("tanks", name, "temperature"), view, told)
    if tank.believe is None or tank.believe.second is None:
        return
    where, second = ("tanks", name, "believe", "second"), tank.believe.second
    if second == tank.temperature:
        told(where, "a sensor cannot be held against itself", "name the tank's other sensor, or leave second out")
    elif second not in view.document.channels:
        told(where, f"there is no channel {second!r}", nearest(second, view.document.channels, "name a channel"))
    _is_temperature(second, where, view, told)


def _is_temperature(name: str, where: Where, view: View, told: Told) -> None:
    channel = view.document.channels.get(name)
    profile = view.profiles.get(channel.device) if channel else None
    point = profile.points.get(channel.point) if channel and profile else None
    if channel and point and channel_unit(channel, point) != "degC":
        told(where, f"{name!r} is no temperature", "name a thermometer")


def _limits_in_order(tank: str, limits: LimitsTable, system: System, told: Told) -> None:
    where = ("tanks", tank, "limits")
    for lower, upper in pairwise(ORDER):
        low, high = getattr(limits, lower), getattr(limits, upper)
        if known(low, high) and low >= high:
            texts = show(low, "temperature", system), show(high, "temperature", system)
            problem = f"{lower} ({texts[0]}) is not below {upper} ({texts[1]})"
            told((*where, upper), problem, "trip_low < warn_low < warn_high < trip_high")
    ends = limits.warn_low, limits.warn_high, limits.deadband
    if known(*ends) and limits.deadband > 0 and 2 * limits.deadband >= limits.warn_high - limits.warn_low > 0:
        least, most = (show(usual_c, "temperature difference", system) for usual_c in USUAL_DEADBAND_C)
        right = f"less than half the span from warn_low to warn_high; {least} to {most} is usual"
        told((*where, "deadband"), "an alarm might never clear", right)


def _controlled(name: str, tank: TankTable, control: str, view: View, told: Told) -> None:
    """What is held, and the band around it, lie inside the warn limits; the output is one of this tank that fits."""
    table: HeatingTable | CoolingTable | None = getattr(tank, control)
    if table is None:
        return
    where, role = ("tanks", name, control), "heater" if control == "heating" else "cooling"
    if known(table.output):
        _output(name, table.output, role, (*where, "output"), view, told)
    low_c, high_c = tank.limits.warn_low, tank.limits.warn_high
    if not known(table.hold, low_c, high_c) or low_c >= high_c:
        return
    low, high = (show(end, "temperature", view.system) for end in (low_c, high_c))
    between = f"between warn_low and warn_high, {low} and {high}"
    if not low_c < table.hold < high_c:
        shown = show(table.hold, "temperature", view.system)
        told((*where, "hold"), f"{shown} is outside the tank's own band, so it would always warn", between)
    elif known(table.band) and not low_c < table.hold - table.band / 2 < table.hold + table.band / 2 < high_c:
        ends = (show(table.hold + half * table.band / 2, "temperature", view.system) for half in (-1, 1))
        problem = f"it lets the tank swing from {' to '.join(ends)}, and beyond its own limits it warns"
        told((*where, "band"), problem, f"a band around hold that stays {between}")


def _output(name: str, output: str, role: str, where: Where, view: View, told: Told) -> None:
    table = view.document.outputs.get(output)
    if table is None:
        fitting = [other for other, entry in view.document.outputs.items() if entry.role == role]
        told(where, f"there is no output {output!r}", nearest(output, fitting, f"add an output of role {role!r}"))
        return
    if known(table.role) and table.role != role:
        fitting = [other for other, entry in view.document.outputs.items() if entry.role == role]
        told(
            where, f"output {output!r} is a {table.role}", nearest(output, fitting, f"name an output of role {role!r}")
        )
    elif known(table.tank) and table.tank != name:
        told(where, f"output {output!r} belongs to tank {table.tank!r}", "name an output of this tank")


def _heated(name: str, heating: HeatingTable, view: View, told: Told) -> None:
    """A heater in the air burns: a level contact proves liquid over it, or the file says why none does."""
    where = ("tanks", name, "heating")
    if heating.level is None and heating.without_level is None:
        problem = "nothing proves liquid over the heater, and one in the air sets fire"
        told((*where, "level"), problem, "name the tank's level contact, or say why there is none in without_level")
    elif heating.level is not None and heating.without_level is not None:
        told((*where, "without_level"), "there is a level contact as well", "remove one of the two")
    if heating.level is not None:
        _level(name, heating.level, view, told)
    if heating.attended is not None and heating.unattended:
        problem = "it heats unattended anyway, whatever time is given here"
        told((*where, "attended"), problem, "remove either attended or unattended")


def _level(name: str, level: str, view: View, told: Told) -> None:
    where = ("tanks", name, "heating", "level")
    contacts = view.document.contacts
    fitting = [other for other, entry in contacts.items() if entry.role == "level" and entry.tank == name]
    right = nearest(level, fitting, f'add a contact of role "level" with tank = "{name}"')
    if level not in contacts:
        told(where, f"there is no contact {level!r}", right)
        return
    contact = contacts[level]
    if known(contact.role) and contact.role != "level":
        told(where, f"contact {level!r} is no level contact but a contact of {contact.role}", right)
    elif known(contact.role) and contact.tank != name:
        whose = f"of tank {contact.tank!r}" if contact.tank else "of no tank"
        told(where, f"contact {level!r} is {whose}, and would say nothing of the liquid here", right)


def _apart(name: str, tank: TankTable, system: System, told: Told) -> None:
    """Heater and cooling must never work against each other."""
    heating, cooling = tank.heating, tank.cooling
    if heating is None or cooling is None or not known(heating.hold, heating.band, cooling.hold, cooling.band):
        return
    warmest_c, coldest_c = heating.hold + heating.band / 2, cooling.hold - cooling.band / 2
    if warmest_c >= coldest_c:
        warmest, coldest = (show(end, "temperature", system) for end in (warmest_c, coldest_c))
        problem = f"heating goes on up to {warmest} and cooling down to {coldest}: they would work against each other"
        told(("tanks", name, "heating", "hold"), problem, f"hold and half the band together below {coldest}")


def _one_tank_each(view: View, told: Told) -> None:
    seen: dict[str, str] = {}
    for name, tank in view.document.tanks.items():
        for control, table in (("heating", tank.heating), ("cooling", tank.cooling)):
            if table is None or not known(table.output):
                continue
            if table.output in seen:
                problem = f"{seen[table.output]} has the output {table.output!r} already"
                told(("tanks", name, control, "output"), problem, "give each control its own output")
            seen.setdefault(table.output, f"tanks.{name}.{control}")
