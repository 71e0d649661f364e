"""A bench supply that speaks SCPI-1999 over IEEE 488.2 (both from memory), on a serial line."""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable, Iterable

from simulators import scpi
from simulators.scpi import Entry, ScpiError
from simulators.supply import Supply
from simulators.text_plan import Condition, ScpiPlan

_VERSION = "1999.0"
_CHARGE_STEP_AH = 0.0001


def _none() -> tuple[Condition, ...]:
    return ()


class ScpiSupply:
    """One supply's interface. Times are wire time; make it within a running loop and close it in the end.

    Attributes:
        status: its error queue and event registers.
        is_remote: whether it takes settings over the wire; of no effect unless the plan says so.
    """

    def __init__(
        self,
        plan: ScpiPlan,
        supply: Supply,
        *,
        say: Callable[[bytes], None],
        conditions: Callable[[], Iterable[Condition]] = _none,
    ) -> None:
        """Begin as one that has just been switched on.

        Args:
            plan: its ways.
            supply: what it stands before.
            say: takes each answer, with its end.
            conditions: what stands beside an over-voltage trip and what holds the output.
        """
        self.status = scpi.Status()
        self.is_remote = False
        self._plan = plan
        self._supply = supply
        self._say = say
        self._conditions = conditions
        supply.protection_v = self._highest_protection_v
        supply.forgets.append(self._forget)
        self._asked_s: deque[float] = deque()
        self._answers: list[str] = []
        self._pending: asyncio.TimerHandle | None = None
        self._loop = asyncio.get_running_loop()
        self._tree = scpi.CommandTree(self._common() | self._system() | self._output())

    @property
    def _highest_protection_v(self) -> float:
        return self._supply.rated_voltage_v * 1.1

    def close(self) -> None:
        """Say nothing more."""
        if self._pending is not None:
            self._pending.cancel()
            self._pending = None

    def _forget(self) -> None:
        """Lose what its mains do not keep: what was to be said, its status, who holds the panel, the protection."""
        self.close()
        self.status.power_on()
        self.is_remote = False
        self._asked_s.clear()
        self._supply.protection_v = self._highest_protection_v

    # -- what it understands

    def _common(self) -> dict[str, Entry]:
        status = self.status
        return {
            "*IDN": Entry(query=lambda: self._plan.identity),
            "*CLS": Entry(status.clear),
            "*RST": Entry(self._reset),
            "*OPC": Entry(self._complete, lambda: "1"),
            "*WAI": Entry(lambda: None),
            "*TST": Entry(query=lambda: "0"),
            "*ESR": Entry(query=status.take_events),
            "*STB": Entry(query=lambda: status.byte(bool(self._answers))),
            "*ESE": Entry(self._enable_events, lambda: str(status.event_enable), takes=1),
            "*SRE": Entry(self._enable_service, lambda: str(status.service_enable), takes=1),
        }

    def _system(self) -> dict[str, Entry]:
        return {
            "SYSTem:ERRor[:NEXT]": Entry(query=self.status.take_error),
            "SYSTem:VERSion": Entry(query=lambda: _VERSION),
            "SYSTem:REMote": Entry(lambda: self._take_control(remote=True)),
            "SYSTem:LOCal": Entry(lambda: self._take_control(remote=False)),
            "STATus:QUEStionable:CONDition": Entry(query=self._questionable),
        }

    def _output(self) -> dict[str, Entry]:
        level = "[:LEVel][:IMMediate][:AMPLitude]"
        protection = "[SOURce]:VOLTage:PROTection"
        return {
            "MEASure[:SCALar]:CURRent[:DC]": Entry(query=self._measured_current),
            "MEASure[:SCALar]:VOLTage[:DC]": Entry(query=self._measured_voltage),
            f"[SOURce]:CURRent{level}": Entry(self._set_current, self._current_level, 1, query_takes_limit=True),
            f"[SOURce]:VOLTage{level}": Entry(self._set_voltage, self._voltage_level, 1, query_takes_limit=True),
            "OUTPut[:STATe]": Entry(self._switch, lambda: str(int(self._supply.is_on)), 1),
            f"{protection}[:LEVel]": Entry(self._protect, self._protection_level, 1, query_takes_limit=True),
            f"{protection}:TRIPped": Entry(query=lambda: str(int(self._supply.is_tripped))),
            f"{protection}:CLEar": Entry(self._clear_trip),
            **({self._plan.charge_query: Entry(query=self._counted)} if self._plan.charge_query else {}),
        }

    # -- the conversation

    def hear(self, line: bytes, arrived_s: float) -> None:
        """Execute a message that has ended at this wire time, s; its answer follows.

        A command error ends the message: units before it have acted, those behind it do not. A new message before the
        answer to the last one takes that answer back (IEEE 488.2, 6.3.2.3).
        """
        if self._pending is not None:
            self.close()
            self.status.add(scpi.INTERRUPTED)
        self._answers = []
        try:
            for unit in scpi.units_of(line.decode("latin-1")):
                self._execute(unit, arrived_s)
        except ScpiError as error:
            self.status.add(error.number)
        if self._answers:
            self._answer(arrived_s)

    def _execute(self, unit: scpi.Unit, arrived_s: float) -> None:
        """Let a unit act. Raises ScpiError for a command error; others are queued and the message goes on."""
        if unit.is_query:
            self._asked_s.append(arrived_s)
        call = self._tree.find(unit)
        try:
            answer = call()
        except ScpiError as error:
            if error.number > -200:
                raise
            self.status.add(error.number)
        else:
            self._answers += [] if answer is None else [answer]

    def _answer(self, arrived_s: float) -> None:
        plan = self._plan
        while self._asked_s and self._asked_s[0] <= arrived_s - 1.0:
            self._asked_s.popleft()
        delay_s = plan.answer_delay_s
        if 0.0 < plan.chokes_above_per_s < len(self._asked_s):
            if plan.choke == "silent":
                return
            delay_s += plan.choke_delay_s
        whole = ";".join(self._answers).encode() + plan.end

        def say() -> None:
            self._pending = None
            self._say(whole)

        self._pending = self._loop.call_later(delay_s, say)

    # -- what it does

    def _need_remote(self) -> None:
        if self._plan.needs_remote and not self.is_remote:
            raise ScpiError(scpi.PROTECTED)

    def _take_control(self, *, remote: bool) -> None:
        self.is_remote = remote

    def _complete(self) -> None:
        self.status.events |= scpi.OPERATION_COMPLETE

    def _enable_events(self, text: str) -> None:
        self.status.event_enable = int(scpi.number_of(text, "", 0.0, 255.0))

    def _enable_service(self, text: str) -> None:
        self.status.service_enable = int(scpi.number_of(text, "", 0.0, 255.0))

    def _reset(self) -> None:
        self._need_remote()
        self._supply.switch(on=False)
        self._supply.set_current(0.0)
        self._supply.set_voltage(0.0)
        self._supply.protection_v = self._highest_protection_v

    def _switch(self, text: str) -> None:
        """Off is carried out whoever has the panel: no lock keeps a supply on."""
        on = scpi.boolean_of(text)
        if on:
            self._need_remote()
        if on and self._supply.is_tripped:
            raise ScpiError(scpi.CONFLICT)
        self._supply.switch(on=on)

    def _clear_trip(self) -> None:
        self._need_remote()
        self._supply.is_tripped = False

    def _stepped(self, text: str, unit: str, highest: float, step: float) -> float:
        self._need_remote()
        return min(round(scpi.number_of(text, unit, 0.0, highest) / step) * step, highest)

    def _set_current(self, text: str) -> None:
        self._supply.set_current(self._stepped(text, "A", self._supply.rated_current_a, self._plan.current_step_a))

    def _set_voltage(self, text: str) -> None:
        self._supply.set_voltage(self._stepped(text, "V", self._supply.rated_voltage_v, self._plan.voltage_step_v))

    def _protect(self, text: str) -> None:
        supply = self._supply
        supply.protection_v = self._stepped(text, "V", self._highest_protection_v, self._plan.voltage_step_v)

    def _level(self, limit: str, now: float, highest: float, step: float) -> str:
        if limit and limit.upper() not in {"MIN", "MINIMUM", "MAX", "MAXIMUM"}:
            raise ScpiError(scpi.ILLEGAL_VALUE)
        value = scpi.number_of(limit, "", 0.0, highest) if limit else now
        return scpi.number_text(value, step, self._plan.number_form)

    def _current_level(self, limit: str = "") -> str:
        supply = self._supply
        return self._level(limit, supply.set_current_a, supply.rated_current_a, self._plan.current_step_a)

    def _voltage_level(self, limit: str = "") -> str:
        supply = self._supply
        return self._level(limit, supply.set_voltage_v, supply.rated_voltage_v, self._plan.voltage_step_v)

    def _protection_level(self, limit: str = "") -> str:
        return self._level(limit, self._supply.protection_v, self._highest_protection_v, self._plan.voltage_step_v)

    def _measured_current(self) -> str:
        return scpi.number_text(self._supply.shown_current_a(), self._plan.current_step_a, self._plan.number_form)

    def _measured_voltage(self) -> str:
        return scpi.number_text(self._supply.shown_voltage_v(), self._plan.voltage_step_v, self._plan.number_form)

    def _counted(self) -> str:
        return scpi.number_text(self._supply.counted_ah, _CHARGE_STEP_AH, self._plan.number_form)

    def _questionable(self) -> str:
        supply = self._supply
        standing: set[str] = set(self._conditions())
        standing |= {supply.mode} if supply.mode != "off" else set()
        standing |= {"over voltage"} if supply.is_tripped else set()
        return str(sum({1 << bit for condition, bit in self._plan.condition_bits.items() if condition in standing}))
