"""A programmable DC supply that speaks SCPI over a serial line. From SCPI-1999 and IEEE 488.2, from memory.

Whether its power came on anew is bit 7 of the standard event status register, `*ESR?` (IEEE 488.2, 11.5.1.2). Reading
that register clears it, and so does the `*CLS` behind every off: an answer lost on the wire is news lost for good. So
nothing rests on that bit alone. A supply that comes back off shows it by its output state and by the missing current,
one that comes back at other set points by those as read back; both refuse what is set next where they must be greeted
first, and an uptime or a charge counter, where there is one, begins anew. Only one that comes back on, just as it was,
between two readings, in the very moment in which that one answer is lost, is not seen; where the supply has a register
that keeps the news when it is read, the profile names that one as the query.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Coroutine
from dataclasses import replace
from typing import TypeVar

from drivers import scpi_text
from drivers.points import DeviceMap, Field, SerialSettings
from drivers.ports import BadAnswer, Refused, Scan, Sent, Times, WireError
from drivers.text_link import Answer, Ask, TextLink
from drivers.text_times import line_s

DEFAULTS = {
    "current": ("MEAS:CURR?", ""),
    "voltage": ("MEAS:VOLT?", ""),
    "output": ("OUTP?", "OUTP"),
    "mode": ("STAT:QUES:COND?", ""),
    "set_current": ("CURR?", "CURR"),
    "set_voltage": ("VOLT?", "VOLT"),
    "time_out": ("", ""),
    "uptime": ("", ""),
    "restarted": ("*ESR?", ""),
    "charge": ("", ""),
}
"""Query and command of each point, where its profile names no other."""

MODES = {"current held": 0.0, "voltage held": 1.0}

COUNTED = ("uptime", "charge")
"""Points whose numbers the supply tells in a unit of its own, such as A*h; the scale is what one of it is in theirs."""

NOT_GREETED = 0
"""No link that is open was opened so few times."""

MOST_ENTRIES = 3
"""So many entries of the error queue are read after one command; what is left shows after the next."""

NUMBER_CHARACTERS = 18
ENTRY_CHARACTERS = 255 + 11
"""Of the longest answers, line end included. An entry's text has at most 255 (SCPI-1999, volume 1, 21.8.2)."""

_T = TypeVar("_T")


class SupplyScpi:
    """Every call is one transaction; each raises WireError and never retries.

    Values stand in the device's answers in the unit of their point, but for what it counts; the scale of a set point is
    its step.
    Raises ValueError at once for a map by which the supply could not be driven.
    """

    streams = False

    def __init__(self, link: TextLink, device_map: DeviceMap) -> None:
        self.name = device_map.name
        self._link = link
        self._opening = device_map.opening
        self._greeted = NOT_GREETED
        self._fields = _fields(device_map)
        self.groups: tuple[frozenset[str], ...] = tuple(
            frozenset({name}) for name, field in self._fields.items() if field.query
        )

    async def read(self, due: Collection[str]) -> Scan:
        """Ask for one point. Raises WireError; ValueError for anything but one point that can be asked for."""
        if frozenset(due) not in self.groups:
            raise ValueError(f"{self.name}: {sorted(due)} is not one point that can be asked for")
        (name,) = due
        field = self._fields[name]

        async def work(ask: Ask) -> Answer:
            await self._greet(ask)
            return await ask(field.query)

        answer = await self._transact(work)
        value, raw = self._understood(field.query, answer, lambda text: _value(field, text))
        if name == "restarted" and value:
            self._greeted = NOT_GREETED
        return Scan({name: value}, {name: raw}, answer.t_sent_s, answer.t_received_s)

    async def set_current(self, current_a: float) -> Sent:
        """Set the current limit, A, rounded down to the device's step. Raises ValueError outside its range."""
        return await self._set("set_current", current_a)

    async def set_voltage(self, voltage_v: float) -> Sent:
        """Set the voltage limit, V, rounded down to the device's step. Raises ValueError outside its range."""
        return await self._set("set_voltage", voltage_v)

    async def arm_time_out(self, time_out_s: float) -> Sent | None:
        """Arm the device's own communication time-out, s, rounded down; None where the profile names none.

        Raises ValueError outside its range, and for less than one step: nought would disarm it.
        """
        field = self._fields.get("time_out")
        if field is None:
            return None
        if math.floor(time_out_s / field.scale + 1e-9) < 1:
            raise ValueError(f"{self.name}: a time-out of {time_out_s} s is below its step and would switch it off")
        return await self._set("time_out", time_out_s)

    async def switch_on(self) -> Sent:
        """Switch the output on. Anything in the error queue makes it fail."""
        output = self._fields["output"]
        return await self._transact(lambda ask: self._commanded(ask, output, "ON", 1.0, 0.0))

    async def switch_off(self) -> Sent:
        """Switch the output off: the first thing on the wire, even before a greeting that is due.

        It counts as done once the device says that the output is off, whatever stands in the error queue. That is
        then cleared, so that an old error does not refuse the next start.
        """
        output = self._fields["output"]

        async def work(ask: Ask) -> Sent:
            first = await ask(f"{output.command} OFF", answers=False)
            if await self._greet(ask):  # a device that heeds nothing before its greeting has not heard the first
                await ask(f"{output.command} OFF", answers=False)
            answer = await ask(output.query)
            if self._understood(output.query, answer, lambda text: _value(output, text))[0] != 0.0:
                await self._check_errors(ask, f"{output.command} OFF")
                raise BadAnswer(f"{self.name} answered `{answer.text}` to `{output.query}`: the output is still on")
            await ask("*CLS", answers=False)
            return Sent(first.t_sent_s, answer.t_received_s)

        return await self._transact(work)

    async def _set(self, name: str, value: float) -> Sent:
        field = self._fields[name]
        if not math.isfinite(value) or not field.low <= value <= field.high:
            raise ValueError(
                f"{self.name}: {name}: {value} {field.unit} is outside {field.low} to {field.high} {field.unit}"
            )
        text = scpi_text.rounded_down(value, field.scale)
        return await self._transact(lambda ask: self._commanded(ask, field, text, float(text), field.scale / 2))

    async def _commanded(self, ask: Ask, field: Field, text: str, meant: float, apart: float) -> Sent:
        """Send a command, read the error queue, and read back what was set, at most `apart` from what was meant."""
        await self._greet(ask)
        command = f"{field.command} {text}"
        sent = await ask(command, answers=False)
        checked = await self._check_errors(ask, command)
        if not field.query:
            return Sent(sent.t_sent_s, checked.t_received_s)
        answer = await ask(field.query)
        value = self._understood(field.query, answer, lambda answered: _value(field, answered))[0]
        if value is None or not abs(value - meant) <= apart + abs(meant) * 1e-9:
            raise BadAnswer(f"{self.name} was told `{command}` and answers `{answer.text}` to `{field.query}`")
        return Sent(sent.t_sent_s, answer.t_received_s)

    async def _check_errors(self, ask: Ask, command: str) -> Answer:
        """Read the error queue until it is empty or a few were read. Raises Refused with the first of them."""
        found: list[scpi_text.Entry] = []
        for _ in range(MOST_ENTRIES):
            answer = await ask("SYST:ERR?")
            entry = self._understood("SYST:ERR?", answer, scpi_text.entry)
            if entry.code == 0:
                break
            found.append(entry)
        if found:
            first = found[0]
            raise Refused(f"{self.name} refused `{command}`: {first.text} (error {first.code})", first.code)
        return answer

    async def _transact(self, work: Callable[[Ask], Coroutine[object, object, _T]]) -> _T:
        """One transaction. After a failure the device is greeted anew: it may have been without power meanwhile."""
        try:
            return await self._link.transact(work)
        except WireError:
            self._greeted = NOT_GREETED
            raise

    async def _greet(self, ask: Ask) -> bool:
        """Send the texts that are due after an opening or a failure; tell whether there were any."""
        if self._greeted == self._link.openings:
            return False
        for text in self._opening:
            await ask(text, answers=False)
        self._greeted = self._link.openings
        return bool(self._opening)

    def _understood(self, query: str, answer: Answer, read: Callable[[str], _T]) -> _T:
        try:
            return read(answer.text)
        except ValueError as exc:
            raise BadAnswer(f"{self.name} answered `{query}` with something else: {exc}") from None


def scpi_times(settings: SerialSettings, device_map: DeviceMap) -> Times:
    """Work out the longest transaction, a command and its checks, and how long an off takes. No opening is counted.

    No exchange takes longer than the response time-out.
    """

    def exchange_s(sent: int, answered: int) -> float:
        wait_s = device_map.worst_answer_s if answered else 0.0
        return min(line_s(settings, sent + answered) + wait_s, settings.response_time_out_s) + device_map.quiet_s

    fields = _fields(device_map).values()
    query_s = exchange_s(max(len(field.query) for field in fields) + 1, NUMBER_CHARACTERS)
    command_s = exchange_s(max(len(field.command) for field in fields) + 1 + NUMBER_CHARACTERS, 0)
    error_s = exchange_s(len("SYST:ERR?\n"), ENTRY_CHARACTERS)
    return Times(
        command_s + max(MOST_ENTRIES * error_s, error_s + query_s),
        command_s + query_s + exchange_s(len("*CLS\n"), 0),
        max(query_s, error_s),
    )


def _value(field: Field, answer: str) -> tuple[float | None, tuple[int, ...]]:
    """The value of an answer, and the whole number it stood for, if it did. Raises ValueError."""
    if field.name == "output":
        state = scpi_text.whole_number(answer)
        if state not in {0, 1}:
            raise ValueError(f"`{answer}` is neither 0 nor 1")
        return float(state), (state,)
    if field.name == "mode":
        bits = scpi_text.whole_number(answer)
        words = {word for bit, word in field.bits.items() if bits >> bit & 1}
        if len(words) > 1:
            raise ValueError(f"`{answer}` says that both current and voltage are held")
        return MODES[words.pop()] if words else None, (bits,)
    if field.name == "restarted":
        return _restarted(field, answer)
    return scpi_text.number(answer) * (field.scale if field.name in COUNTED else 1.0), ()


def _restarted(field: Field, answer: str) -> tuple[float, tuple[int, ...]]:
    """Read whether power came on anew, 1 or 0: by its bits or, where it has none, by its states. Raises ValueError."""
    raw = scpi_text.whole_number(answer)
    if field.bits:
        return float(any(raw >> bit & 1 for bit in field.bits)), (raw,)
    if raw not in field.states:
        raise ValueError(f"`{answer}` is no state of it")
    return float(raw), (raw,)


def _fields(device_map: DeviceMap) -> dict[str, Field]:
    """The points with their queries and commands filled in. Raises ValueError for what a supply cannot have or lack."""
    where = device_map.name
    for name in ("current", "voltage", "output", "set_current", "set_voltage"):
        if name not in device_map.points:
            raise ValueError(f"{where}: a supply needs a point `{name}`; add it to its profile")
    fields = {}
    for name, point in device_map.points.items():
        assert isinstance(point, Field)
        if name not in DEFAULTS:
            raise ValueError(f"{where}: a supply has no point `{name}`; it may have {', '.join(DEFAULTS)}")
        query, command = DEFAULTS[name]
        fields[name] = replace(point, query=point.query or query, command=point.command or command)
    _check(where, fields)
    return fields


def _check(where: str, fields: dict[str, Field]) -> None:
    """Raise ValueError for a point of which its profile does not say enough."""
    for name in ("set_current", "set_voltage", "time_out"):
        if name in fields and not (fields[name].command and fields[name].scale > 0):
            raise ValueError(f"{where}: `{name}` needs a command and a scale above nought, which is its step")
    for name in COUNTED:
        if name in fields and not (fields[name].query and fields[name].scale > 0):
            raise ValueError(f"{where}: `{name}` needs a query and a scale above nought, which is what one of it means")
    if "restarted" in fields and not (fields["restarted"].bits or fields["restarted"].states):
        raise ValueError(f"{where}: `restarted` needs a bit, or states, that tell it")
    if "mode" in fields and not (fields["mode"].bits and set(fields["mode"].bits.values()) <= set(MODES)):
        raise ValueError(f"{where}: `mode` needs bits that mean {' or '.join(f'`{word}`' for word in MODES)}")
