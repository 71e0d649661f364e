"""A DC supply over one cell, programmable or with knobs: constant current or voltage, whichever bites first."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Literal

from simulators.cell import Cell
from simulators.meter import Meter
from simulators.plan_process import SupplyPlan

Mode = Literal["off", "current held", "voltage held"]
Cause = Literal["command", "time-out", "dip", "trip", "hand"]

_SETTLING_STEP_S = 0.1
# Where the voltage limit begins to bite on a fresh coat the current falls by half within a tenth of a second.
_CROSSOVER_STEP_S = 0.01
_NEAR_LIMIT_V = 1.0
_CALM_STEP_S = 1.0


class Supply:
    """One supply and the truth about its output. Off at the start; set points act at once.

    Attributes:
        cell: the load at its leads.
        is_on: whether the output is on.
        current_a: true current through the load now, A. voltage_v: true voltage at the terminals now, V.
        mode: what holds the output now.
        set_current_a, set_voltage_v: the set points, A and V.
        meter_gain_error: share by which its meters read high.
        protection_v: voltage at the terminals above which it trips, V.
        is_tripped: that has switched it off and nobody has cleared it yet.
        is_connected: whether the contactors between its output and the load are closed.
        is_powered: False while its mains are gone and until it has booted; it gives nothing then and answers nothing.
        time_out_s: wire time of silence after which it switches itself off; 0 means never.
        first_current_s: process time at which current first flowed, s; None before.
        told: called after every switch with the cause and whether the state changed.
        forgets: each is called when its mains go: what is not kept without them is lost.
    """

    def __init__(self, plan: SupplyPlan, cell: Cell) -> None:
        self.cell = cell
        self.is_on = False
        self.current_a = 0.0
        self.voltage_v = 0.0
        self.mode: Mode = "off"
        self.set_current_a = 0.0
        self.set_voltage_v = 0.0
        self.meter_gain_error = plan.meter_gain_error
        self.protection_v = math.inf
        self.is_tripped = False
        self.is_connected = True
        self.is_powered = True
        self.time_out_s = 0.0
        self.first_current_s: float | None = None
        self.told: Callable[[Cause, bool], None] | None = None
        self.forgets: list[Callable[[], None]] = []
        self.tank = plan.tank
        self.rated_current_a = plan.rated_current_a
        self.rated_voltage_v = plan.rated_voltage_v
        self.knobs = plan.knobs
        self._plan = plan
        self._meter = Meter(plan.meter)
        self._was_on = False
        self._now_s = 0.0
        self._powered_s = 0.0
        self._counted_from_c = 0.0
        self._turns_to: tuple[float, float] | None = None

    @property
    def charge_c(self) -> float:
        """Charge through the load so far, C."""
        return self.cell.charge_c

    @property
    def uptime_s(self) -> float:
        """Process time since it was powered and had booted, s."""
        return self._now_s - self._powered_s

    @property
    def counted_ah(self) -> float:
        """What its own counter shows: charge since then, A*h, with the counter's own gain."""
        return (self.charge_c - self._counted_from_c) * (1.0 + self._plan.counter_gain_error) / 3600.0

    @property
    def thickness_um(self) -> float:
        """Mean thickness of the load's coat, um."""
        return self.cell.thickness_um

    def set_current(self, current_a: float) -> None:
        """Set the current limit, A; more than the rating is cut to it. A turning knob stands still from now on."""
        self._turns_to = None
        self.set_current_a = min(max(current_a, 0.0), self.rated_current_a)
        self.disturb()

    def set_voltage(self, voltage_v: float) -> None:
        """Set the voltage limit, V; more than the rating is cut to it."""
        self.set_voltage_v = min(max(voltage_v, 0.0), self.rated_voltage_v)
        self.disturb()

    def turn_to(self, current_a: float, over_s: float) -> None:
        """Turn the current's knob evenly to this current, A, within over_s, s of process time."""
        self.set_current(self.set_current_a)
        if over_s <= 0.0:
            self.set_current(current_a)
        else:
            self._turns_to = (min(max(current_a, 0.0), self.rated_current_a), over_s)

    def shown_current_a(self) -> float:
        """What its meter or shunt shows, A: with gain, zero and ripple."""
        shown_a = self._meter.shown_a(self.current_a, self._now_s)
        return shown_a * (1.0 + self.meter_gain_error) + self._plan.meter.zero_a

    def shown_voltage_v(self) -> float:
        """What its meter shows, V."""
        return self.voltage_v * (1.0 + self.meter_gain_error)

    def switch(self, on: bool, cause: Cause = "command") -> None:
        """Switch the output on or off; without mains it stays off."""
        on = on and self.is_powered
        changed = on != self.is_on
        self.is_on = on
        self.disturb()
        if self.told is not None:
            self.told(cause, changed)
        self._protect()

    def _protect(self) -> None:
        if self.is_on and self.voltage_v > self.protection_v:
            self.is_tripped = True
            self.switch(on=False, cause="trip")

    def lose_mains(self) -> None:
        """The mains dip: the output falls off, and what is volatile is lost. Set points are kept."""
        self._was_on = self.is_on
        self.is_powered = False
        self.is_tripped = False
        self.time_out_s = 0.0
        self.switch(on=False, cause="dip")
        for forget in self.forgets:
            forget()

    def regain_mains(self) -> None:
        """It has booted: off, or in its last state at full set point and without a ramp. Its counts begin anew."""
        self.is_powered = True
        self._powered_s, self._counted_from_c = self._now_s, self.charge_c
        if self._plan.after_dip == "last state" and self._was_on:
            self.switch(on=True, cause="dip")

    def disturb(self) -> None:
        """Find current and voltage anew after a step of set point, output or contact."""
        self.cell.disturb()
        self.solve()

    def solve(self) -> None:
        """Find the current, voltage and mode that set points and cell agree on now."""
        limit_a = min(self.set_current_a, self._plan.cap_current_a)
        if not self.is_on:
            self.current_a, self.voltage_v, self.mode = 0.0, self.cell.residual_v, "off"
        elif self.cell.is_open or not self.is_connected:
            self.current_a, self.voltage_v, self.mode = 0.0, self.set_voltage_v, "voltage held"
        else:
            needed_v = self.cell.voltage_at(limit_a) if limit_a > 0.0 else self.cell.residual_v
            if needed_v <= self.set_voltage_v or limit_a <= 0.0:
                self.current_a, self.voltage_v, self.mode = limit_a, needed_v, "current held"
            else:
                self.current_a = min(self.cell.current_at(self.set_voltage_v), limit_a)
                self.voltage_v, self.mode = self.set_voltage_v, "voltage held"

    def longest_step_s(self) -> float:
        """How long a step of process time may be now, s."""
        turning_s = math.inf if self._turns_to is None else min(self._turns_to[1], _SETTLING_STEP_S)
        if self.current_a <= 0.0 or not self.cell.is_settling:
            return min(_CALM_STEP_S, turning_s)
        near_limit = self.voltage_v > self.set_voltage_v - _NEAR_LIMIT_V
        return min(_CROSSOVER_STEP_S if near_limit and self.cell.is_young else _SETTLING_STEP_S, turning_s)

    def step(self, step_s: float, bath_c: float, began_s: float) -> float:
        """Let the output go on for step_s, s, from the process time began_s; returns the heat into the bath, W.

        The charge is exact where the current is held or turned evenly, and the mean of both ends x step where the
        voltage is held.
        """
        current_a, voltage_v = self.current_a, self.voltage_v
        if current_a > 0.0 and self.first_current_s is None:
            self.first_current_s = began_s
        self.cell.step(step_s, current_a, voltage_v, bath_c, self.mode == "voltage held")
        self._turn(step_s)
        self._now_s = began_s + step_s
        self.solve()
        self.cell.charge_c += 0.5 * (current_a + self.current_a) * step_s
        self._meter.pass_current(began_s, step_s, current_a, self.current_a)
        self._protect()
        return self.cell.heat_w(current_a, voltage_v)

    def _turn(self, step_s: float) -> None:
        """Let a turning knob go on."""
        if self._turns_to is not None:
            target_a, left_s = self._turns_to
            self.set_current_a += (target_a - self.set_current_a) * min(step_s / left_s, 1.0)
            self._turns_to = (target_a, left_s - step_s) if left_s - step_s > 1e-9 else None
