"""Devices that speak in text on the simulated line, an SCPI supply and a board: each on its own wire, with faults."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable

from simulators.faults import KINDS, Fault
from simulators.line import SimulatedLine
from simulators.microcontroller import Microcontroller
from simulators.plan import LinkPlan
from simulators.plan_text import BoardDevicePlan, ScpiDevicePlan, Shown
from simulators.scpi import PROTECTED
from simulators.scpi_supply import ScpiSupply
from simulators.text_plan import Condition
from simulators.text_spoil import spoil
from simulators.text_wire import TextPtyLink

_SILENT = {"device silent", "request dropped"}
# A board speaks unasked: what strikes what it hears and what strikes what it says are counted apart.
_HEARING = {*_SILENT, "device refuses"}
_SAYING = KINDS.keys() - {"request dropped", "device refuses"}


class ScpiWire:
    """An SCPI supply behind a pty.

    Attributes:
        name: of the device. link: its wire.
    """

    def __init__(
        self,
        name: str,
        plan: ScpiDevicePlan,
        line: SimulatedLine,
        *,
        advance: Callable[[float], None],
        chance: random.Random,
    ) -> None:
        self.name = name
        self.link: TextPtyLink
        self._plan = plan
        self._line = line
        self._advance = advance
        self._chance = chance
        self._device = ScpiSupply(plan.plan, line.supplies[plan.supply], say=self._say, conditions=self._conditions)
        self._struck: list[Fault] = []
        self._last = b""

    def open(self, plan: LinkPlan, now: Callable[[], float]) -> TextPtyLink:
        """Open its wire, the first one or a new one."""
        self.link = TextPtyLink(plan, self._hear, now)
        return self.link

    def close(self) -> None:
        """Say nothing more."""
        self._device.close()

    def _conditions(self) -> Iterable[Condition]:
        return ("over temperature",) if self._line.board.standing("supply trips", self._plan.supply) else ()

    def _hear(self, line: bytes, arrived_s: float) -> None:
        self._advance(arrived_s)
        self._struck = self._line.board.strike(self.name, self._chance.random())
        whats = {fault.what for fault in self._struck}
        if whats & _SILENT or not self._line.supplies[self._plan.supply].is_powered:
            return
        if "device refuses" in whats and b"?" not in line:
            self._device.status.add(PROTECTED)
            return
        self._device.hear(line, arrived_s)

    def _say(self, answer: bytes) -> None:
        if not self._last or all(fault.what != "values stuck" for fault in self._struck):
            self._last = answer
        for piece in spoil(self._last, self._struck, self._chance):
            self.link.say(piece)


class BoardWire:
    """A microcontroller board behind a pty.

    Attributes:
        name: of the device. link: its wire. board: the board itself.
    """

    def __init__(
        self,
        name: str,
        plan: BoardDevicePlan,
        line: SimulatedLine,
        *,
        advance: Callable[[float], None],
        chance: random.Random,
    ) -> None:
        self.name = name
        self.link: TextPtyLink
        self.board: Microcontroller
        self._hears = False
        self._refuses = False
        self._plan = plan
        self._line = line
        self._advance = advance
        self._chance = chance

    def open(self, plan: LinkPlan, now: Callable[[], float]) -> TextPtyLink:
        """Open its wire, the first one or a new one; the board goes on as it is where there is one already."""
        # A sentence ends with CR LF; its CR belongs to what is checked.
        self.link = TextPtyLink(plan, self._hear, now, ends=b"\n")
        if not hasattr(self, "board"):
            self._now = now
            self.board = Microcontroller(
                self._plan.plan,
                now=now,
                say=self._say,
                values={name: self._value(shown) for name, shown in self._plan.shows.items()},
                relays={name: self._relay(switch) for name, switch in self._plan.drives.items()},
                is_stuck=lambda: bool(self._line.board.standing("values stuck", self.name)),
            )
        return self.link

    def close(self) -> None:
        """Say nothing more."""
        self.board.close()

    @property
    def has_power(self) -> bool:
        """Whether its power is there; whether it has booted is the board's own affair."""
        return self._line.module_power[self.name].is_up

    def _value(self, shown: Shown) -> Callable[[], float | None]:
        def read() -> float | None:
            self._advance(self._now())
            if shown.contact:
                return float(self._line.contacts[shown.contact].is_closed)
            return self._line.sensors[shown.sensor].read() if shown.sensor else None

        return read

    def _relay(self, name: str) -> Callable[[bool], bool]:
        def drive(on: bool) -> bool:
            self._advance(self._now())
            switch = self._line.switches[name]
            if self._refuses or not self.has_power:
                return switch.commanded
            if switch.commanded is not on:
                switch.command(on, "command" if self._hears else "rest")
            return on

        return drive

    def _hear(self, line: bytes, arrived_s: float) -> None:
        struck = self._line.board.strike(self.name, self._chance.random(), _HEARING)
        whats = {fault.what for fault in struck}
        if whats & _SILENT:
            return
        self._hears, self._refuses = True, "device refuses" in whats
        try:
            self.board.hear(line, arrived_s)
        finally:
            self._hears = self._refuses = False

    def _say(self, whole: bytes) -> None:
        self._advance(self._now())
        struck = self._line.board.strike(self.name, self._chance.random(), _SAYING)
        if not self.has_power or any(fault.what == "device silent" for fault in struck):
            return
        for piece in spoil(whole, struck, self._chance):
            self.link.say(piece)
