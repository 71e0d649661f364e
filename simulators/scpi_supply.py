"""A bench supply that speaks SCPI over a serial line: its commands, its error queue and its condition bits.

Written from SCPI-1999 and IEEE 488.2 (from memory): program messages of units joined by semicolons, mnemonics long or
short in any case, numbers with exponents and units, errors kept in a queue until they are read.
"""

from __future__ import annotations

import itertools
import math
import re
from collections import deque
from collections.abc import Callable, Iterator

from simulators.pty import Piece
from simulators.supply import Supply
from simulators.text_plan import ScpiPlan

ERRORS = {
    0: "No error",
    -104: "Data type error",
    -109: "Missing parameter",
    -113: "Undefined header",
    -203: "Command protected",
    -222: "Data out of range",
    -224: "Illegal parameter value",
    -350: "Queue overflow",
}
"""SCPI-1999, volume 2, chapter 21 (from memory)."""

MOST_ERRORS = 20
_UNITS = {"": 1.0, "A": 1.0, "MA": 1e-3, "UA": 1e-6, "KA": 1e3, "V": 1.0, "MV": 1e-3, "UV": 1e-6, "KV": 1e3}
_NUMBER = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:E[+-]?\d+)?)\s*([A-Z]*)")


class ScpiError(Exception):
    """A command that is not carried out; its number goes into the queue."""

    def __init__(self, number: int) -> None:
        super().__init__(number)
        self.number = number


def spellings(pattern: str) -> Iterator[str]:
    """Every way to write a header such as `[SOURce]:VOLTage?`: capitals alone or the whole word, brackets left out."""
    query = "?" if pattern.endswith("?") else ""
    nodes = pattern.removesuffix("?").split(":")
    choices = []
    for node in nodes:
        word = node.strip("[]")
        short = "".join(letter for letter in word if not letter.islower())
        choices.append({short, word.upper()} | ({""} if node.startswith("[") else set()))
    for parts in itertools.product(*choices):
        yield ":".join(part for part in parts if part) + query


class ScpiSupply:
    """One supply. Times are wire time.

    Attributes:
        errors: numbers in the queue, oldest first.
        is_remote: whether it takes settings over the wire.
    """

    def __init__(self, plan: ScpiPlan, supply: Supply) -> None:
        self.errors: deque[int] = deque()
        self.is_remote = not plan.needs_remote
        self._plan = plan
        self._supply = supply
        self._protection_v = supply.rated_voltage_v * 1.1
        self._asked_s: deque[float] = deque()
        self._handlers = dict(self._table())

    def hear(self, line: bytes, arrived_s: float) -> list[Piece]:
        """Carry out a message that has come whole; what it answers, one line for all its queries."""
        answers = []
        for unit in line.decode("ascii", errors="replace").split(";"):
            try:
                answer = self._unit(unit.strip().upper())
            except ScpiError as error:
                self._fail(error.number)
                continue
            if answer is not None:
                answers.append(answer)
        if not answers:
            return []
        delay_s = self._plan.answer_delay_s
        if self._choked(len(answers), arrived_s):
            if self._plan.choke == "silent":
                return []
            delay_s = self._plan.choke_delay_s
        return [Piece(";".join(answers).encode() + self._plan.end, delay_s)]

    def _choked(self, queries: int, arrived_s: float) -> bool:
        self._asked_s.extend([arrived_s] * queries)
        while self._asked_s and self._asked_s[0] <= arrived_s - 1.0:
            self._asked_s.popleft()
        return 0.0 < self._plan.chokes_above_per_s < len(self._asked_s)

    def _unit(self, text: str) -> str | None:
        """One command or query; None where it answers nothing. Raises ScpiError."""
        if not text:
            return None
        header, _, parameter = text.partition(" ")
        handler = self._handlers.get(header.removeprefix(":"))
        if handler is None:
            raise ScpiError(-113)
        return handler(parameter.strip())

    def _fail(self, number: int) -> None:
        if len(self.errors) < MOST_ERRORS - 1:
            self.errors.append(number)
        elif self.errors[-1] != -350:
            self.errors.append(-350)

    def _table(self) -> Iterator[tuple[str, Callable[[str], str | None]]]:
        supply, plan = self._supply, self._plan
        rows: list[tuple[str, Callable[[str], str | None]]] = [
            ("*IDN?", lambda _: plan.identity),
            ("*CLS", lambda _: self.errors.clear()),
            ("*RST", self._reset),
            ("*OPC?", lambda _: "1"),
            ("*OPC", lambda _: None),
            ("*ESR?", lambda _: "0" if not self.errors else "32"),
            ("*STB?", lambda _: "0" if not self.errors else "4"),
            ("SYSTem:ERRor:[NEXT]?", self._next_error),
            ("SYSTem:VERSion?", lambda _: "1999.0"),
            ("SYSTem:REMote", lambda _: self._remote(on=True)),
            ("SYSTem:LOCal", lambda _: self._remote(on=False)),
            ("MEASure:[SCALar]:CURRent:[DC]?", lambda _: self._shown(supply.shown_current_a(), plan.current_step_a)),
            ("MEASure:[SCALar]:VOLTage:[DC]?", lambda _: self._shown(supply.shown_voltage_v(), plan.voltage_step_v)),
            ("OUTPut:[STATe]", self._switch),
            ("OUTPut:[STATe]?", lambda _: str(int(supply.is_on))),
            ("STATus:QUEStionable:CONDition?", lambda _: str(self._condition())),
            ("[SOURce]:VOLTage:PROTection:[LEVel]", self._protect),
            ("[SOURce]:VOLTage:PROTection:[LEVel]?", lambda _: self._number(self._protection_v)),
            ("[SOURce]:VOLTage:PROTection:TRIPped?", lambda _: "0"),
            ("[SOURce]:CURRent:[LEVel]", self._set_current),
            ("[SOURce]:CURRent:[LEVel]?", lambda of: self._set_point(of, supply.set_current_a, supply.rated_current_a)),
            ("[SOURce]:VOLTage:[LEVel]", self._set_voltage),
            ("[SOURce]:VOLTage:[LEVel]?", lambda of: self._set_point(of, supply.set_voltage_v, supply.rated_voltage_v)),
        ]  # fmt: skip
        for pattern, handler in rows:
            for spelling in spellings(pattern):
                yield spelling, handler

    # -- answers

    def _number(self, value: float) -> str:
        return f"{value:.3f}" if self._plan.number_form == "NR2" else f"{value:+.5E}"

    def _shown(self, value: float, step: float) -> str:
        return self._number(round(value / step) * step)

    def _set_point(self, limit: str, value: float, highest: float) -> str:
        if limit and limit not in {"MIN", "MINIMUM", "MAX", "MAXIMUM"}:
            raise ScpiError(-224)
        return self._number(value if not limit else highest if limit.startswith("MAX") else 0.0)

    def _next_error(self, _parameter: str) -> str:
        number = self.errors.popleft() if self.errors else 0
        return f'{number},"{ERRORS[number]}"'

    def _condition(self) -> int:
        mode, bits = self._supply.mode, self._plan.condition_bits
        return 1 << bits[mode] if mode != "off" and mode in bits else 0

    # -- commands

    def _remote(self, *, on: bool) -> None:
        self.is_remote = on or not self._plan.needs_remote

    def _reset(self, _parameter: str) -> None:
        self._supply.switch(on=False)
        self._supply.set_current(0.0)
        self._supply.set_voltage(0.0)

    def _value(self, parameter: str, highest: float) -> float:
        if not self.is_remote:
            raise ScpiError(-203)
        if not parameter:
            raise ScpiError(-109)
        if parameter in {"MIN", "MINIMUM"}:
            return 0.0
        if parameter in {"MAX", "MAXIMUM"}:
            return highest
        found = _NUMBER.fullmatch(parameter)
        if found is None or found[2] not in _UNITS:
            raise ScpiError(-104)
        value = float(found[1]) * _UNITS[found[2]]
        if not (math.isfinite(value) and 0.0 <= value <= highest * (1.0 + 1e-9)):
            raise ScpiError(-222)
        return value

    def _set_current(self, parameter: str) -> None:
        self._supply.set_current(self._stepped(parameter, self._supply.rated_current_a, self._plan.current_step_a))

    def _set_voltage(self, parameter: str) -> None:
        self._supply.set_voltage(self._stepped(parameter, self._supply.rated_voltage_v, self._plan.voltage_step_v))

    def _stepped(self, parameter: str, highest: float, step: float) -> float:
        return round(self._value(parameter, highest) / step) * step

    def _protect(self, parameter: str) -> None:
        self._protection_v = self._value(parameter, self._supply.rated_voltage_v * 1.1)

    def _switch(self, parameter: str) -> None:
        """Off is carried out whoever has the panel: no lock keeps a supply on."""
        if not parameter:
            raise ScpiError(-109)
        if parameter not in {"ON", "1", "OFF", "0"}:
            raise ScpiError(-224)
        on = parameter in {"ON", "1"}
        if on and not self.is_remote:
            raise ScpiError(-203)
        self._supply.switch(on=on)
