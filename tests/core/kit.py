"""A line for core tests, with a person, wires and devices played by plain calls."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TypeVar

from supervisor.core.actions import Action, Answer, ArmTimeOut, Note, Record, SetPoints, Switch, SwitchOff, SwitchOn
from supervisor.core.alarms import AlarmState
from supervisor.core.anodize import Operation, State
from supervisor.core.events import (
    Command,
    Event,
    Instant,
    Order,
    Quality,
    Reading,
    Recorded,
    Request,
    RequestKind,
    Scanned,
    Started,
    Switched,
    Wake,
    Woken,
    Written,
)
from supervisor.core.line import Line, Step
from supervisor.core.setup import LineSetup
from supervisor.core.state import LineState, SupplyState
from tests.core.plain import Device, latest_s, line_setup
from tests.core.run_ups import once

Kind = TypeVar("Kind", bound=Action)

SCAN_S = 0.4
"""Time between two scans of everything, s; the second one proves off within its deadline of 1 s."""

BUSY_S = 2.0
"""Time after an action, s, in which anything may come of it: a contactor closes, off is proven, a current is missed."""


COMMANDS: dict[type[Action], Command] = {
    SwitchOff: "off",
    SwitchOn: "on",
    SetPoints: "set points",
    ArmTimeOut: "time-out",
}


@dataclass
class Bench:
    """A line with obedient devices; every rule of the wire can be broken by the test."""

    setup: LineSetup = field(default_factory=line_setup)
    line: Line = field(init=False)
    now_s: float = 100.0
    wall_s: float = 1.79e9
    devices: dict[str, Device] = field(init=False)
    bath_c: dict[str, float] = field(init=False)
    actions: list[Action] = field(default_factory=list)
    wake: Wake = field(default_factory=Wake)
    silent: set[str] = field(default_factory=set)
    shut: dict[str, bool] = field(default_factory=dict)
    """What each output that is no supply's really does."""
    stuck: set[str] = field(default_factory=set)
    """Outputs that say they obey and stay as they are."""
    deaf: set[str] = field(default_factory=set)
    """Outputs whose device does not answer."""
    board_began_s: float = 0.0
    keeps_records: bool = True
    obeys: bool = True
    drops: type[Action] | None = None
    state: LineState | None = None
    scan_s: float = SCAN_S
    stood: LineState | None = None
    """What the line remembers since the newest run-up that others may take up."""
    asked: int = 0
    acted_s: float = 0.0
    """When something happened last, or time began to pass."""

    def __post_init__(self) -> None:
        self.line = Line(self.setup, self.state)
        self.devices = {name: Device() for name in self.setup.supplies}
        self.shut = {name: False for name, of in self.setup.outputs.items() if of.role != "supply output"}
        self.bath_c = dict.fromkeys(self.setup.tanks, 20.5)

    @property
    def at(self) -> Instant:
        """Now, with process and wire time alike."""
        return Instant(self.now_s, self.now_s, self.wall_s + self.now_s)

    def give(self, event: Event) -> Step:
        """Step the line and let the devices and the journal do what it asks."""
        step = self.line.step(event)
        self.wake = step.wake
        self.actions.extend(step.actions)
        for action in step.actions:
            self._obey(action)
        return step

    def _obey(self, action: Action) -> None:
        if not isinstance(action, Switch) or self._does_more(action):
            self.acted_s = self.now_s
        if isinstance(action, Record) and self.keeps_records:
            self.give(Recorded(self.at, action.intent))
        if isinstance(action, Switch) and self.obeys and action.output not in self.deaf:
            if action.output not in self.stuck:
                self.shut[action.output] = action.on
            self.give(self.switched(action))
        if not isinstance(action, SwitchOff | SwitchOn | SetPoints | ArmTimeOut) or not self.obeys:
            return
        if action.supply in self.silent or type(action) is self.drops:
            return
        self._done(action)
        self.give(self.written(action))

    def _does_more(self, action: Switch) -> bool:
        """Whether a command is more than the same again, or what lamps and horn go on doing."""
        shows = self.setup.outputs[action.output].role in {"lamp", "horn"}
        return not shows and self.shut[action.output] is not action.on

    def _done(self, action: SwitchOff | SwitchOn | SetPoints | ArmTimeOut) -> None:
        device = self.devices[action.supply]
        if isinstance(action, SetPoints):
            device.set_a, device.set_v = action.current_a, action.voltage_v
        elif not isinstance(action, ArmTimeOut):
            device.on = isinstance(action, SwitchOn)

    def written(self, action: SwitchOff | SwitchOn | SetPoints | ArmTimeOut, *, ok: bool = True) -> Written:
        """The fate of a command, now."""
        command = COMMANDS[type(action)]
        problem = "" if ok else "no answer"
        return Written(self.at, action.supply, command, action.number, ok, self.now_s, self.now_s, problem)

    def switched(self, action: Switch, *, ok: bool = True) -> Switched:
        """The fate of a switch command, now."""
        problem = "" if ok else "no answer"
        return Switched(self.at, action.output, action.on, action.number, ok, self.now_s, self.now_s, problem)

    @once
    def start_service(self, *, watch_only: bool = False) -> Step:
        """Start and let two scans prove every output off."""
        step = self.give(Started(self.at, "boot", "1", "hash", watch_only))
        self.run(2.5)
        return step

    @once
    def run(self, seconds: float) -> None:
        """Let time pass: every wake on time, and scans of everything, the last of them at the very end.

        They come every `scan_s` while something happens and for `BUSY_S` more, then as seldom as readings may come.
        """
        end_s = self.now_s + seconds
        self.acted_s = self.now_s
        while self.now_s < end_s:
            scan_s = min(self._next_scan_s, end_s)
            while (wake_s := self._wake_s()) is not None and wake_s < scan_s:
                self.now_s = max(self.now_s + 1e-6, wake_s)
                self.give(Woken(self.at))
                scan_s = min(self._next_scan_s, scan_s)
            self.now_s = scan_s
            self.scan()

    @property
    def _next_scan_s(self) -> float:
        busy = self.now_s < self.acted_s + BUSY_S
        return self.now_s + (self.scan_s if busy else self._seldom_s)

    @property
    def _seldom_s(self) -> float:
        """A time between two scans in which nothing is late, and no charge uncertain while any is counted, s."""
        flows = any(device.on for device in self.devices.values())
        return max(self.scan_s, latest_s(self.setup, flows=flows))

    def _wake_s(self) -> float | None:
        moments = [moment for moment in (self.wake.process_s, self.wake.wire_s) if moment is not None]
        return min(moments, default=None)

    @once
    def scan(self) -> Step | None:
        """Read every device that answers, once and all in one transaction; None where none does."""
        readings = self.readings()
        return self.give(Scanned(self.at, "all", self.now_s, self.now_s, readings)) if readings else None

    def readings(self) -> tuple[Reading, ...]:
        """What every device that answers shows now."""
        found = [
            reading
            for name, device in self.devices.items()
            if name not in self.silent
            for reading in self.supply_scan(name, device).readings
        ]
        found += [
            Reading(channel, Quality.GOOD, self.bath_c[tank.name], (205,))
            for tank in self.setup.tanks.values()
            for channel in filter(None, (tank.temperature, tank.second))
            if not self.silent & {tank.name, channel}
        ]
        if "relays" not in self.silent and "contactor" in self.shut:
            found.append(Reading("shut", Quality.GOOD, float(self.shut["contactor"])))
        if "board" not in self.silent and self.setup.heartbeats:
            found.append(Reading("board-heartbeat", Quality.GOOD, self.now_s - self.board_began_s))
        return tuple(found)

    def contact(self, closed: bool, quality: Quality = Quality.GOOD) -> Step:
        """One reading of the contactor's auxiliary contact, now."""
        value = float(closed) if quality is Quality.GOOD else None
        return self.give(Scanned(self.at, "relays", self.now_s, self.now_s, (Reading("shut", quality, value),)))

    def heartbeat(self, seconds: float) -> Step:
        """One heartbeat of the board, now."""
        reading = Reading("board-heartbeat", Quality.GOOD, seconds)
        return self.give(Scanned(self.at, "board", self.now_s, self.now_s, (reading,)))

    def flows_a(self, name: str) -> float:
        """What flows from a supply: nothing past an open contactor."""
        contactor = self.setup.supplies[name].contactor
        return self.devices[name].current_a if contactor is None or self.shut.get(contactor, True) else 0.0

    def supply_scan(self, name: str, device: Device) -> Scanned:
        """A good scan of a supply as it stands."""
        supply = self.setup.supplies[name]
        values = {
            supply.current: self.flows_a(name) * device.gain, supply.voltage: 15.0 if device.on else 0.0,
            supply.output_state: float(device.on), supply.mode: float(device.voltage_held),
            supply.set_current: device.set_a, supply.set_voltage: device.set_v,
        }  # fmt: skip
        readings = tuple(Reading(channel, Quality.GOOD, value, (0,)) for channel, value in values.items() if channel)
        return Scanned(self.at, supply.device, self.now_s, self.now_s, readings)

    def turn(self, current_a: float, *, supply: str = "main") -> None:
        """Let a person turn the knobs of a supply that has nothing else."""
        self.devices[supply].on, self.devices[supply].set_a = current_a > 0, current_a

    def request(self, what: RequestKind, *, supply: str = "", alarm: str = "", order: Order | None = None) -> Request:
        """A fresh request."""
        self.asked += 1
        name, expires_s = f"r{self.asked}", self.now_s + 5.0
        return Request(self.at, name, self.now_s, expires_s, "socket", "mara", what, supply, alarm, order)

    @once
    def ask(
        self, /, what: RequestKind, *, supply: str = "", alarm: str = "", order: Order | None = None, **changes: object
    ) -> Answer:
        """Make a request and return its answer."""
        request = replace(self.request(what, supply=supply, alarm=alarm, order=order), **changes)  # type: ignore[arg-type]
        before = len(self.actions)
        self.give(request)
        return next(a for a in self.actions[before:] if isinstance(a, Answer) and a.request == request.id)

    def start(self, *, supply: str = "", load: str = "", area_m2: float = 0.013, target_um: float = 1.0) -> Answer:
        """Start a small load."""
        return self.ask("start", supply=supply, order=Order(area_m2, target_um, load=load))

    @once
    def running(self, *, supply: str = "", target_um: float = 1.0) -> Bench:
        """Start service and load and let the soft start end."""
        self.start_service()
        answer = self.start(supply=supply, target_um=target_um)
        assert answer.ok, answer.reasons
        self.run(12.0)
        assert self.stands(supply or "main") is State.RUNNING
        return self

    def pending(self) -> str:
        """Ask for a start that the journal has not recorded yet; return its intent."""
        self.keeps_records = False
        self.give(self.request("start", order=Order(0.013, 1.0)))
        return self.named(Record)[-1].intent

    def later(self, seconds: float) -> None:
        """Let time pass with nothing happening."""
        self.now_s += seconds

    def wake_up(self) -> Step:
        """Wake the line now."""
        return self.give(Woken(self.at))

    def named(self, kind: type[Kind]) -> list[Kind]:
        """The actions of one kind so far."""
        return [action for action in self.actions if isinstance(action, kind)]

    def supply(self, name: str = "main") -> SupplyState:
        """What the line knows of a supply."""
        return self.line.state.supplies[name]

    def operation(self, name: str = "main") -> Operation:
        """What runs under a supply."""
        operation = self.supply(name).operation
        assert operation is not None
        return operation

    def stands(self, name: str = "main") -> State:
        """Where the operation of a supply stands."""
        operation = self.supply(name).operation
        return State.IDLE if operation is None else operation.state

    def alarm(self, name: str) -> AlarmState:
        """Where an alarm stands."""
        known = self.line.state.alarms.get(name)
        return AlarmState.NORMAL if known is None else known.state

    def alarm_texts(self, name: str) -> list[str]:
        """What people were told of an alarm."""
        return [note.text for note in self.named(Note) if note.kind == "alarm" and note.subject == name]

    def current(self, value: float | None, *, supply: str = "main", quality: Quality = Quality.GOOD) -> Step:
        """One reading of a supply's current alone, a moment from now."""
        self.later(1e-3)
        setup = self.setup.supplies[supply]
        return self.give(
            Scanned(self.at, setup.device, self.now_s, self.now_s, (Reading(setup.current, quality, value),))
        )

    @once
    def temperature(self, value: float | None, *, tank: str = "main-acid", quality: Quality = Quality.GOOD) -> Step:
        """One reading of a tank's temperature alone, a moment from now."""
        self.later(1e-3)
        channel = self.setup.tanks[tank].temperature
        return self.give(Scanned(self.at, "thermometer", self.now_s, self.now_s, (Reading(channel, quality, value),)))


def of_kind(step: Step, kind: type[Kind]) -> list[Kind]:
    """The actions of one kind in one step."""
    return [action for action in step.actions if isinstance(action, kind)]
