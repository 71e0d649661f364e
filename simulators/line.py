"""The simulated line: tanks, supplies, cells, sensors and faults going on together in process time."""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterable

from simulators.bath import Bath, Sensor
from simulators.cell import Cell
from simulators.failing import SLOW, Failing
from simulators.faults import Fault, FaultBoard, Names
from simulators.plan import LinePlan
from simulators.plan_process import ContactPlan
from simulators.power import Power
from simulators.supply import Cause, Supply
from simulators.switches import Contact, Stuck, Switch
from simulators.tables import FileError, Reader

Truth = dict[str, object]


def _ignore(_truth: Truth) -> None:
    """Nobody listens."""


class SimulatedLine:
    """The physics of a line, without any wire.

    Attributes:
        now_s: process time reached, s, from 0.
        baths, supplies, sensors, switches, contacts: by name.
        supply_power, module_power: what feeds each supply, and each device that is no supply, by name.
        board: the faults that wait and stand.
    """

    def __init__(
        self,
        plan: LinePlan,
        *,
        seed: int = 0,
        faults: Iterable[Fault] = (),
        tell: Callable[[Truth], None] = _ignore,
        speed: float = 0.0,
    ) -> None:
        """Begin at process time 0.

        Args:
            plan: what to simulate.
            seed: of all chance.
            faults: the script.
            tell: takes each truth as a JSON object.
            speed: process seconds per wire second in which devices boot; 0 where no wire is there and none boots.
        """
        self.now_s = 0.0
        self.baths = {name: Bath(tank, plan.room_c) for name, tank in plan.tanks.items()}
        self.supplies = {name: self._supply(plan, name, seed) for name in plan.supplies}
        self.switches = {name: self._switch(name, Switch(of)) for name, of in plan.switches.items()}
        self.contacts = {name: Contact(of, self._watched(of), lambda: self.now_s) for name, of in plan.contacts.items()}
        self.sensors = {
            name: Sensor(
                sensor,
                self.baths[sensor.tank].bath_c if sensor.tank else plan.room_c,
                random.Random(f"{seed} sensor {name}"),
            )
            for name, sensor in plan.sensors.items()
        }
        self._driven = plan.driven
        self.supply_power = {
            name: Power(boot_s * speed, self.supplies[name].lose_mains, self.supplies[name].regain_mains)
            for name, boot_s in plan.supply_boots_s.items()
        }
        self.module_power = {
            name: self._module_power(name, boot_s * speed) for name, boot_s in plan.module_boots_s.items()
        }
        self._booting: list[Power] = []
        self.board = FaultBoard(faults)
        self._room_c = plan.room_c
        self._tell = tell
        self._failing = {name: Failing(supply.cell) for name, supply in self.supplies.items()}
        self._gain_errors = {name: supply.meter_gain_error for name, supply in plan.supplies.items()}
        self._follow_switches()
        self._change_faults()

    def _switch(self, name: str, switch: Switch) -> Switch:
        def told(cause: str, changed: bool) -> None:
            self._tell({
                "truth": "switch", "switch": name, "on": switch.is_on, "changed": changed, "cause": cause,
                "process_s": self.now_s,
            })  # fmt: skip
            self._follow_switches()

        switch.told = told
        return switch

    def _watched(self, contact: ContactPlan) -> Callable[[], bool]:
        """Whether what the contact watches is as it should be."""
        if contact.follows:
            switch = self.switches[contact.follows]
            return lambda: switch.is_on
        if contact.tank:
            bath = self.baths[contact.tank]
            return lambda: not bath.is_low
        return lambda: True

    def _module_power(self, name: str, boot_s: float) -> Power:
        return Power(boot_s, lambda: self.rest(name, "power lost"), lambda: None)

    def rest(self, device: str, cause: str) -> None:
        """Let every relay of this device go."""
        for name in self._driven[device]:
            self.switches[name].rest(cause)

    def _follow_switches(self) -> None:
        """Let everything that a switch drives do what the switches do now."""
        by_kind: dict[str, list[Switch]] = {}
        for switch in self.switches.values():
            by_kind.setdefault(switch.plan.kind, []).append(switch)
        for name, supply in self.supplies.items():
            connected = all(s.is_on for s in by_kind.get("contactor", []) if s.plan.supply == name)
            stirred = all(s.is_on for s in by_kind.get("agitation", []) if s.plan.tank == supply.tank)
            supply.cell.is_stirred = stirred
            if connected is not supply.is_connected:
                supply.is_connected = connected
                supply.disturb()
        for name, bath in self.baths.items():
            bath.heater_w = sum(s.power_w for s in by_kind.get("heater", []) if s.plan.tank == name)
            bath.cooling_w = sum(s.power_w for s in by_kind.get("cooling", []) if s.plan.tank == name)

    def turn_knobs(self, table: Reader) -> None:
        """Let a hand turn a supply's knobs and move its own switch. Raises FileError where it has none."""
        name = table.text("supply", next(iter(self.supplies), ""), tuple(self.supplies))
        supply = self.supplies[name]
        current_a, voltage_v = table.optional_number("current_a", 0.0), table.optional_number("voltage_v", 0.0)
        over_s = table.number("ramp_s", 0.0, 0.0)
        on = table.flag("on", default=supply.is_on)
        table.finish()
        if not supply.knobs:
            raise FileError(f"{name} has no knobs: it is set over its wire.")
        if voltage_v is not None:
            supply.set_voltage(voltage_v)
        if current_a is not None:
            supply.turn_to(current_a, over_s)
        if on is not supply.is_on:
            supply.switch(on=on, cause="hand")

    def _supply(self, plan: LinePlan, name: str, seed: int) -> Supply:
        of = plan.supplies[name]
        cell = Cell(
            area_dm2=of.load.area_dm2,
            alloy=of.load.alloy,
            acid_g_per_l=plan.tanks[of.tank].acid_g_per_l,
            leads_ohm=of.leads_ohm,
            surface_over_bath_c=of.load.surface_over_bath_c,
            still_over_bath_c=of.load.still_over_bath_c,
            chance=random.Random(f"{seed} load {name}"),
            growth_um_per_a_min_dm2=of.load.growth_um_per_a_min_dm2,
        )
        supply = Supply(of, cell)
        supply.told = lambda cause, changed: self._tell_output(name, cause, changed)
        return supply

    def _tell_output(self, name: str, cause: Cause, changed: bool) -> None:
        supply = self.supplies[name]
        self._tell({
            "truth": "output", "supply": name, "on": supply.is_on, "changed": changed, "cause": cause,
            "process_s": self.now_s, "charge_c": supply.charge_c,
        })  # fmt: skip

    def advance(self, process_s: float) -> None:
        """Let everything go on to this process time, s; a time that has passed already changes nothing."""
        while self.now_s < process_s:
            step_s = self._step_s(process_s)
            self._step(step_s)
            self.now_s = process_s if self.now_s + step_s >= process_s - 1e-12 else self.now_s + step_s
            self._change_faults()

    def next_change_in_s(self) -> float:
        """Process time until a fault begins or ends or a device has booted, s, if every current stays as it is."""
        fault_s = self.board.next_change_in_s(
            self.now_s,
            {name: supply.first_current_s for name, supply in self.supplies.items()},
            {name: supply.charge_c for name, supply in self.supplies.items()},
            {name: supply.current_a for name, supply in self.supplies.items()},
        )
        return min([fault_s, *(power.ready_in_s(self.now_s) for power in self._booting)])

    def _step_s(self, until_s: float) -> float:
        longest_s = min((supply.longest_step_s() for supply in self.supplies.values()), default=1.0)
        return min(until_s - self.now_s, longest_s, max(self.next_change_in_s(), 1e-6))

    def _step(self, step_s: float) -> None:
        heat_w = dict.fromkeys(self.baths, 0.0)
        for name, supply in self.supplies.items():
            if self._failing[name].is_any:
                self._failing[name].go_on(self.now_s + step_s)
                supply.solve()
            heat_w[supply.tank] += supply.step(step_s, self.baths[supply.tank].bath_c, self.now_s)
        for name, bath in self.baths.items():
            bath.step(step_s, heat_w[name])
        for sensor in self.sensors.values():
            in_liquid = sensor.tank and not sensor.is_out
            sensor.step(step_s, self.baths[sensor.tank].bath_c if in_liquid else self._room_c)

    def add_fault(self, fault: Fault) -> None:
        """Put one more fault on the board; it begins at once if its time has come."""
        self.board.add(fault)
        self._change_faults()

    def clear_fault(self, what: str) -> None:
        """End every fault of this sort."""
        for fault in self.board.clear(what):
            self._apply(fault, begins=False)

    def _change_faults(self) -> None:
        for fault in self.board.over(self.now_s):
            self._apply(fault, begins=False)
        first_current_s = {name: supply.first_current_s for name, supply in self.supplies.items()}
        charge_c = {name: supply.charge_c for name, supply in self.supplies.items()}
        for fault in self.board.due(self.now_s, first_current_s, charge_c):
            self._apply(fault, begins=True)
        if self._booting:
            for power in self._booting:
                power.go_on(self.now_s)
            self._booting = [power for power in self._booting if power.is_booting]

    def _apply(self, fault: Fault, begins: bool) -> None:
        self._tell({
            "truth": "fault", "what": fault.what, "target": fault.target, "begins": begins, "process_s": self.now_s,
        })  # fmt: skip
        match fault.kind.target:
            case "tank":
                self._apply_to_bath(fault, begins)
            case "sensor":
                self._apply_to_sensor(fault.target)
            case "supply":
                self._apply_to_supply(fault, begins)
            case "module":
                self._apply_to_power(self.module_power[fault.target], fault)
            case "contact" | "button":
                self._apply_to_contact(fault.target)
            case "switch" | "heater":
                self._apply_to_switch(fault.target)

    def _apply_to_sensor(self, name: str) -> None:
        sensor = self.sensors[name]
        kinds = ("thermocouple open", "sensor frozen", "sensor out")
        sensor.is_open, sensor.is_frozen, sensor.is_out = (bool(self.board.standing(what, name)) for what in kinds)
        shows = self.board.standing("sensor shows", name)
        sensor.only_c = shows[-1].amounts["value_c"] if shows else None

    def _apply_to_contact(self, name: str) -> None:
        contact = self.contacts[name]
        contact.is_broken = bool(self.board.standing("contact opens", name))
        contact.is_pressed = bool(self.board.standing("button pressed", name))
        bouncing = self.board.standing("button bounces", name)
        if not bouncing:
            contact.bounces = None
        elif contact.bounces is None:
            contact.bounces = (self.now_s, bouncing[0].amounts["every_ms"] / 1000.0)

    def _apply_to_power(self, power: Power, fault: Fault) -> None:
        if self.board.standing(fault.what, fault.target):
            power.cut()
        else:
            power.give(self.now_s)
            self._booting.append(power)

    def _apply_to_bath(self, fault: Fault, begins: bool) -> None:
        bath = self.baths[fault.target]
        bath.is_low = bool(self.board.standing("level falls", fault.target))
        stands = [self.board.standing(what, fault.target) for what in ("bath heats", "cooling fails")]
        bath.cooling_works = not any(stands)
        if fault.what == "bath heats":
            rate_c_per_min = fault.amounts["rate_c_per_min"]
            heat_w = bath.heat_for_rate(rate_c_per_min) if rate_c_per_min > 0.0 else fault.amounts["heat_w"]
            bath.extra_heat_w = heat_w if begins else 0.0

    def _apply_to_supply(self, fault: Fault, begins: bool) -> None:
        supply = self.supplies[fault.target]
        if fault.what in {"contact lost", "area lost"}:
            lost = self.board.standing("area lost", fault.target)
            touching = math.prod(1.0 - area.amounts["lost_share"] for area in lost)
            supply.cell.share = 0.0 if self.board.standing("contact lost", fault.target) else touching
        elif fault.what in SLOW:
            failing = self._failing[fault.target]
            if begins:
                failing.begin(fault.what, self.now_s, fault.amounts)
            else:
                failing.end(fault.what)
        elif fault.what == "rack touches":
            supply.cell.touch_ohm = fault.amounts["ohm"] if begins else math.inf
        elif fault.what == "meter gain":
            supply.meter_gain_error = fault.amounts["gain_error"] if begins else self._gain_errors[fault.target]
        elif fault.what == "mains dip":
            self._apply_to_power(self.supply_power[fault.target], fault)
        elif begins:
            supply.switch(on=False, cause="trip")
        supply.disturb()

    def _apply_to_switch(self, name: str) -> None:
        kinds = ("contactor welded", "switch stuck", "fan stops", "heater broken")
        self.switches[name].wrong = Stuck(*(bool(self.board.standing(what, name)) for what in kinds))
        self.switches[name].follow()
        self._follow_switches()

    def state(self) -> Truth:
        """The whole truth now: of every supply and every tank."""
        return {
            "process_s": self.now_s,
            "supplies": {
                name: {
                    "on": supply.is_on, "current_a": supply.current_a, "voltage_v": supply.voltage_v,
                    "mode": supply.mode, "charge_c": supply.charge_c, "thickness_um": supply.thickness_um,
                    "growth_um_m2_per_c": supply.cell.draw.growth_um_m2_per_c,
                }
                for name, supply in self.supplies.items()
            },
            "tanks": {name: {"bath_c": bath.bath_c} for name, bath in self.baths.items()},
            "switches": {name: switch.is_on for name, switch in self.switches.items()},
            "contacts": {name: contact.is_closed for name, contact in self.contacts.items()},
        }  # fmt: skip


def names_of(plan: LinePlan, speed: float = 1.0) -> Names:
    """What faults can strike on this line; speed is process seconds per wire second."""
    return Names(
        tank=tuple(plan.tanks),
        supply=tuple(plan.supplies),
        sensor=tuple(plan.sensors),
        device=tuple(plan.on_link),
        module=plan.modules,
        switch=tuple(plan.switches),
        heater=tuple(name for name, of in plan.switches.items() if of.kind == "heater"),
        contact=tuple(plan.contacts),
        button=tuple(name for name, of in plan.contacts.items() if of.kind == "button"),
        links={link: tuple(name for name, of in plan.on_link.items() if of == link) for link in plan.links},
        speed=speed,
    )
