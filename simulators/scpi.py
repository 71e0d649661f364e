"""SCPI syntax by hand, from SCPI-1999 and IEEE 488.2 (from memory): messages, headers, numbers, errors and status."""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from itertools import product

QUEUE_LENGTH = 20
# Bits of the standard event status register, IEEE 488.2: operation complete, query, device, execution, command errors.
OPERATION_COMPLETE, QUERY_ERROR, DEVICE_ERROR, EXECUTION_ERROR, COMMAND_ERROR, POWER_ON = 1, 4, 8, 16, 32, 128

# SCPI-1999, volume 2, chapter 21.
SYNTAX, DATA_TYPE, NOT_ALLOWED, MISSING, UNDEFINED, SUFFIX = -102, -104, -108, -109, -113, -131
PROTECTED, CONFLICT, OUT_OF_RANGE, ILLEGAL_VALUE = -203, -221, -222, -224
OVERFLOW, INTERRUPTED = -350, -410
MESSAGES = {
    0: "No error",
    SYNTAX: "Syntax error",
    DATA_TYPE: "Data type error",
    NOT_ALLOWED: "Parameter not allowed",
    MISSING: "Missing parameter",
    UNDEFINED: "Undefined header",
    SUFFIX: "Invalid suffix",
    PROTECTED: "Command protected",
    CONFLICT: "Settings conflict",
    OUT_OF_RANGE: "Data out of range",
    ILLEGAL_VALUE: "Illegal parameter value",
    OVERFLOW: "Queue overflow",
    INTERRUPTED: "Query INTERRUPTED",
}

_HEADER = re.compile(r"(\*[A-Za-z]+|:?[A-Za-z]\w*(?::[A-Za-z]\w*)*)(\?)?(?:\s+(.*))?", re.DOTALL | re.ASCII)
_NUMBER = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:\s*[Ee]\s*[+-]?\d+)?)\s*([A-Za-z]*)", re.ASCII)
# M is milli: mega would be MA, which is read as milliampere (SCPI-1999, volume 1, 7.1).
_PREFIXES = {"K": 1e3, "": 1.0, "M": 1e-3, "U": 1e-6}


class ScpiError(Exception):
    """The message unit is refused with this error number."""

    def __init__(self, number: int) -> None:
        super().__init__(number)
        self.number = number


@dataclass(frozen=True, slots=True)
class Unit:
    """One command or query of a message.

    Attributes:
        header: whole path from the root in upper case without `?`, as `:SOUR:VOLT` or `*IDN`.
        is_query: whether it ended with `?`.
        parameters: as they stood, without spaces around.
    """

    header: str
    is_query: bool
    parameters: tuple[str, ...]


def units_of(message: str) -> Iterator[Unit]:
    """The units of a message in turn. Raises ScpiError at the first that is none.

    A header without a leading colon goes on where the last one stood, one level up; a common one changes nothing.
    """
    path = ""
    for text in message.split(";"):
        if not text.strip():
            continue
        found = _HEADER.fullmatch(text.strip())
        if found is None:
            raise ScpiError(SYNTAX)
        header, query, rest = found[1].upper(), found[2], (found[3] or "").strip()
        if not header.startswith("*"):
            header = header if header.startswith(":") else f"{path}:{header}"
            path = header.rpartition(":")[0]
        parameters = tuple(part.strip() for part in rest.split(",")) if rest else ()
        yield Unit(header, bool(query), parameters)


def _forms(node: str) -> set[str]:
    return {node.upper(), "".join(letter for letter in node if not letter.islower())}


def spellings(pattern: str) -> set[str]:
    """Every header that a pattern such as `[SOURce]:VOLTage[:LEVel]` allows: long or short, brackets in or out."""
    choices: list[set[str]] = []
    for optional, node in re.findall(r"(\[)?:?(\w+)\]?", pattern):
        choices.append({":" + form for form in _forms(node)} | ({""} if optional else set()))
    return {"".join(nodes) for nodes in product(*choices)}


def number_of(text: str, unit: str, lowest: float, highest: float) -> float:
    """The number that a parameter says, in A or V as `unit` is; MIN and MAX are the ends of what is allowed.

    Raises ScpiError for another suffix, something that is no number, or one out of range.
    """
    named = {"MIN": lowest, "MINIMUM": lowest, "MAX": highest, "MAXIMUM": highest}
    if text.upper() in named:
        return named[text.upper()]
    found = _NUMBER.fullmatch(text)
    if found is None:
        raise ScpiError(DATA_TYPE)
    scale = {prefix + unit: factor for prefix, factor in _PREFIXES.items()} | {"": 1.0}
    if found[2].upper() not in scale:
        raise ScpiError(SUFFIX)
    value = float("".join(found[1].split())) * scale[found[2].upper()]
    if not lowest <= value <= highest * (1.0 + 1e-9):
        raise ScpiError(OUT_OF_RANGE)
    return value


def boolean_of(text: str) -> bool:
    """ON, OFF or a number, which is rounded and then true unless it is 0. Raises ScpiError."""
    if text.upper() in {"ON", "OFF"}:
        return text.upper() == "ON"
    found = _NUMBER.fullmatch(text)
    if found is None or found[2]:
        raise ScpiError(ILLEGAL_VALUE)
    return abs(float("".join(found[1].split()))) >= 0.5


class Status:
    """Error queue and standard event status of a device.

    Attributes:
        events: the standard event status register.
        event_enable: which of its bits count for *STB?. service_enable: which bits of that ask for service.
    """

    def __init__(self) -> None:
        self.events = POWER_ON
        self.event_enable = 0
        self.service_enable = 0
        self._queue: deque[int] = deque()

    def power_on(self) -> None:
        """Begin as after a power-up: its bit set, nothing else kept (IEEE 488.2, *PSC true)."""
        self.clear()
        self.events = POWER_ON
        self.event_enable = self.service_enable = 0

    def clear(self) -> None:
        """*CLS: no errors, no events."""
        self.events = 0
        self._queue.clear()

    def add(self, error: int) -> None:
        """Queue an error and set its bit; where the queue is full its last place says so instead."""
        self.events |= {1: COMMAND_ERROR, 2: EXECUTION_ERROR, 3: DEVICE_ERROR, 4: QUERY_ERROR}[-error // 100]
        if len(self._queue) < QUEUE_LENGTH:
            self._queue.append(error)
        else:
            self._queue[-1] = OVERFLOW
            self.events |= DEVICE_ERROR

    def take_error(self) -> str:
        """The oldest error, as SYST:ERR? answers it."""
        number = self._queue.popleft() if self._queue else 0
        return f'{number},"{MESSAGES[number]}"'

    def take_events(self) -> str:
        """*ESR?: tell the events and forget them."""
        events, self.events = self.events, 0
        return str(events)

    def byte(self, message_available: bool) -> str:
        """*STB?: 4 error in the queue, 16 answer waits, 32 an enabled event, 64 something that asks for service."""
        byte = 4 * bool(self._queue) | 16 * message_available | 32 * bool(self.events & self.event_enable)
        return str(byte | 64 * bool(byte & self.service_enable))


@dataclass(frozen=True, slots=True)
class Entry:
    """What a header does: as a command with its parameters, as a query with an answer; and how many may be given."""

    command: Callable[..., None] | None = None
    query: Callable[..., str] | None = None
    takes: int = 0
    query_takes_limit: bool = False


class CommandTree:
    """Headers and what they do."""

    def __init__(self, entries: Mapping[str, Entry]) -> None:
        """Make it from patterns; a pattern that begins with * is a common command."""
        self._entries = {
            header: entry
            for pattern, entry in entries.items()
            for header in ({pattern} if pattern.startswith("*") else spellings(pattern))
        }

    def find(self, unit: Unit) -> Callable[[], str | None]:
        """What is to be called for a unit, with its parameters in place. Raises ScpiError."""
        entry = self._entries.get(unit.header)
        call = None if entry is None else entry.query if unit.is_query else entry.command
        if entry is None or call is None:
            raise ScpiError(UNDEFINED)
        least, most = (0, int(entry.query_takes_limit)) if unit.is_query else (entry.takes, entry.takes)
        if len(unit.parameters) > most:
            raise ScpiError(NOT_ALLOWED)
        if len(unit.parameters) < least or "" in unit.parameters:
            raise ScpiError(MISSING)
        return lambda: call(*unit.parameters)


def number_text(value: float, step: float, form: str) -> str:
    """A number rounded to its step, as NR2 (1.950) or NR3 (+1.95000E+00)."""
    rounded = round(value / step) * step
    if form == "NR3":
        return f"{rounded:+.5E}"
    places = next(places for places in range(1, 10) if abs(round(step, places) - step) < 1e-9 * step)
    return f"{rounded:.{places}f}"
