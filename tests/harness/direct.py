"""The direct harness: the simulators' physics feeding the core by plain calls; no wire, no loop, no thread.

It keeps the wire's order and times: one transaction after another, off first, silence between frames, the device's
answer delay, the registers' steps. So one load runs here as it does over ptys, and a sample through both tells.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable
from itertools import count
from pathlib import Path
from typing import Any

from drivers.modbus_frames import frame_gap_s
from drivers.points import SerialSettings
from drivers.registers import Register, RegisterMap, groups_of
from drivers.registers_read import encode_down
from simulators.faults import Fault
from simulators.line import SimulatedLine, Truth
from simulators.modbus_devices import ModbusDevice
from simulators.plan import LinePlan
from supervisor.config.load import LineFile
from supervisor.config.setup import device_maps, line_setup, link_settings
from supervisor.core.actions import Action, Answer, ArmTimeOut, Note, Record, SetPoints, SwitchOff, SwitchOn
from supervisor.core.anodize import State
from supervisor.core.events import (
    Ending,
    Event,
    GaugeReading,
    Instant,
    Order,
    Recorded,
    Request,
    RequestKind,
    Scanned,
    Started,
    Wake,
    Woken,
    Written,
)
from supervisor.core.line import CORE_VERSION, Line
from supervisor.core.state import LineState
from supervisor.service.dispatch import Frame, Outbox
from supervisor.service.polling import BLINK_S
from supervisor.service.turns import PROOF_READS
from tests.harness.direct_bus import NEVER_S, Bus, Flight, Turn, reading
from tests.harness.lines import SPEED, faults_of, write_files
from tests.harness.standing import Standing
from tests.harness.virtual_loop import BEGINS_S

WALL_S = 1.79e9

_MOST_ASKED = 1000
"""More than a person asks while one load runs: so no request of a later harness looks like a repetition."""


class DirectLine(Standing):
    """A simulated line and a core for it, in one plain loop over moments. Wire time begins where virtual time does.

    Attributes:
        line: the core. truths: all the physics told.
        actions: all the core asked for. notes: those of them for people. answers: by request.
        events: how many the core took in.
    """

    def __init__(
        self,
        line_file: LineFile,
        plan: LinePlan,
        *,
        speed: float = SPEED,
        seed: int = 0,
        faults: Iterable[Fault] = (),
        after: DirectLine | None = None,
    ) -> None:
        """Begin at rest; what is known `after` another load of the same line file is carried on, in a new boot."""
        self.speed = speed
        self.now_s = self._began_s = BEGINS_S
        self.truths: list[Truth] = []
        self.notes: list[Note] = []
        self.actions: list[Action] = []
        self.answers: dict[str, Answer] = {}
        self.events = 0
        self.simulated = SimulatedLine(plan, seed=seed, faults=faults, tell=self.truths.append)
        self.setup = line_setup(line_file, speed)
        self.line = Line(self.setup, None if after is None else after.state)
        self._journal_s = None if after is None else after.at.process_s
        self._hash = line_file.line_hash
        self._maps = {name: of for name, of in device_maps(line_file).items() if isinstance(of, RegisterMap)}
        self._devices = {name: ModbusDevice(name, of, self.simulated) for name, of in plan.devices.items()}
        self._buses = self._made_buses(line_file)
        self._wake_s = NEVER_S
        self._numbers = count(1 + _MOST_ASKED * self.line.state.operations)
        self._chance = random.Random(f"{seed} answers")

    def _made_buses(self, line_file: LineFile) -> dict[str, Bus]:
        tables = line_file.document.devices
        buses = {}
        for name, settings in link_settings(line_file).items():
            turns = [turn for device, table in tables.items() if table.link == name for turn in self._turns(device)]
            gap_s = frame_gap_s(settings.baud) if isinstance(settings, SerialSettings) else 0.0
            buses[name] = Bus(turns, gap_s, settings.response_time_out_s, settings.quiet_after_silence_s)
        self._link_of = {device: table.link for device, table in tables.items()}
        return buses

    def _turns(self, device: str) -> list[Turn]:
        mine = [channel for channel in self.setup.channels.values() if channel.device == device]
        turns = []
        for group in groups_of(self._maps[device]):
            names = {point.name: point for point in group}
            wanted = tuple((channel, names[channel.point]) for channel in mine if channel.point in names)
            if wanted:
                turns.append(Turn(device, wanted, min(channel.period_s for channel, _ in wanted) / self.speed))
        return turns

    # -- time

    @property
    def at(self) -> Instant:
        """This moment."""
        return Instant(self.now_s * self.speed, self.now_s, WALL_S + self.now_s)

    def pass_time(self, process_s: float) -> None:
        """Let process time pass, s."""
        self.run(self.now_s + process_s / self.speed)

    def until(self, holds: Callable[[], bool], within_s: float = 3600.0) -> None:
        """Let time pass until something holds; fail if it does not within this process time, s."""
        ends_s = self.now_s + within_s / self.speed
        while not holds():
            assert self.now_s < ends_s, f"not within {within_s:g} s; {[note.text for note in self.notes[-6:]]}"
            self._next(ends_s)

    def until_state(self, *states: State, within_s: float = 3600.0) -> None:
        """Let time pass until the operation stands in one of these states."""
        self.until(lambda: self.stands in states, within_s)

    def run(self, until_s: float) -> None:
        """Let everything happen up to this wire time, s."""
        while self._next(until_s):
            pass

    def _next(self, until_s: float) -> bool:
        """Let the next thing happen; False, and time at `until_s`, where nothing does before."""
        bus = min(self._buses.values(), key=self._ready_s)
        bus_s = self._ready_s(bus)
        moment_s = min(bus_s, self._wake_s)
        if moment_s > until_s:
            self.now_s = max(self.now_s, until_s)
            self._advance()
            return False
        self.now_s = max(self.now_s, moment_s)
        if self._wake_s <= bus_s:
            self._wake_s = NEVER_S
            self.give(Woken(self.at))
        elif bus.flight is not None:
            flight, bus.flight = bus.flight, None
            flight.arrives()
        else:
            self._transact(bus)
        return True

    def _ready_s(self, bus: Bus) -> float:
        """When something happens on a bus: its answer comes, or its next frame may leave."""
        if bus.flight is not None:
            return bus.flight.ends_s
        if bus.outbox.arrived.is_set():
            return self.now_s
        turn = bus.turn()
        return max(turn.due_s, turn.waits_until_s, self.now_s)

    def _advance(self) -> None:
        self.simulated.advance((self.now_s - self._began_s) * self.speed)

    # -- the core and what it asks for

    def give(self, event: Event) -> None:
        """Step the core and do what it asks."""
        self.events += 1
        step = self.line.step(event)
        self.actions.extend(step.actions)
        self._wake_s = self._wire_s(step.wake)
        for action in step.actions:
            if isinstance(action, SwitchOff | SwitchOn | SetPoints | ArmTimeOut):
                self._bus_of(action.supply).outbox.put(action)
        for action in step.actions:
            self._settle(action)

    def _settle(self, action: Action) -> None:
        if isinstance(action, Record):
            self.give(Recorded(self.at, action.intent))
        elif isinstance(action, Answer):
            self.answers[action.request] = action
        elif isinstance(action, Note):
            self.notes.append(action)

    def _wire_s(self, wake: Wake) -> float:
        moments = [] if wake.process_s is None else [wake.process_s / self.speed]
        moments += [] if wake.wire_s is None else [wake.wire_s]
        return max(min(moments, default=NEVER_S), self.now_s)

    def _bus_of(self, supply: str) -> Bus:
        return self._buses[self._link_of[self.setup.supplies[supply].device]]

    # -- the wire

    def _transact(self, bus: Bus) -> None:
        """Begin with a command if one waits, else with the reading that is due; it leaves after the silence."""
        frame, turn, began_s = bus.outbox.take(), bus.turn(), self.now_s
        if frame is not None:
            assert isinstance(frame, Frame)
            self._leave(bus, lambda: self._write(bus, frame))
        elif turn.due_s <= self.now_s and not self._makes_way(turn):
            self._leave(bus, lambda: self._read(bus, turn, began_s))

    def _makes_way(self, turn: Turn) -> bool:
        """Whether a reading waits for what the core has planned, as in the service: once only."""
        if turn.made_way or self._wake_s - self.now_s >= turn.took_s:
            return False
        turn.made_way, turn.waits_until_s = True, self._wake_s + BLINK_S
        return True

    def _leave(self, bus: Bus, leaves: Callable[[], None]) -> None:
        if bus.free_s <= self.now_s:
            leaves()
        else:
            bus.flight = Flight(bus.free_s, leaves)

    def _hears(self, device: str) -> bool:
        """Whether a device takes anything in now."""
        return not self.simulated.board.standing("device silent", device)

    def _answers(self, device: str) -> bool:
        """Whether an answer comes back from this transaction; byte faults but its loss are for harnesses with bytes."""
        dropped = self.simulated.board.strike(device, self._chance.random(), {"answer dropped"})
        return self._hears(device) and not dropped

    def _fly(self, bus: Bus, device: str, answered: bool, arrives: Callable[[bool], None]) -> None:
        took_s = self._devices[device].answer_delay_s if answered else bus.time_out_s
        after_s = bus.gap_s if answered else bus.quiet_s
        bus.free_s = self.now_s + took_s + after_s
        bus.flight = Flight(self.now_s + took_s, lambda: arrives(answered))

    def _read(self, bus: Bus, turn: Turn, began_s: float) -> None:
        self._advance()
        sent_s, raw = self.now_s, {}
        turn.made_way = False
        turn.ahead = max(0, turn.ahead - 1)
        device, answers = self._devices[turn.device], self._answers(turn.device)
        if answers:
            for _, point in sorted(turn.channels, key=lambda entry: entry[1].address):
                raw[point.name] = device.registers[point.table, point.address].read()

        def arrives(answered: bool) -> None:
            turn.took_s = self.now_s - began_s if answered else turn.took_s
            beat_s = turn.due_s + turn.period_s
            turn.due_s = beat_s if beat_s > self.now_s else max(began_s + turn.period_s, self.now_s)
            turn.due_s = self.now_s if turn.ahead else turn.due_s
            readings = tuple(reading(channel, point, raw.get(point.name)) for channel, point in turn.channels)
            self.give(Scanned(self.at, turn.device, sent_s * self.speed, self.now_s * self.speed, readings))

        self._fly(bus, turn.device, answers, arrives)

    def _write(self, bus: Bus, frame: Frame) -> None:
        self._advance()
        sent_s, device = self.now_s, self.setup.supplies[frame.supply].device
        answers = self._answers(device)
        if self._hears(device):
            point, (raw,) = self._coded(self._maps[device], frame)
            register = self._devices[device].registers[point.table, point.address]
            assert register.write is not None
            register.write(raw)

        def arrives(answered: bool) -> None:
            ended = [frame] if frame.last or not answered else []
            if answered:
                bus.outbox.done(frame)
            elif frame.command != "off":
                ended += [other for other in bus.outbox.drop(frame.supply) if other.number != frame.number]
            if answered and frame.command == "off":
                self._bring_forward(bus, frame.supply)
            for one in {other.number: other for other in ended}.values():
                problem = "" if answered else "no answer"
                self.give(
                    Written(
                        self.at, one.supply, one.command, one.number, answered, sent_s * self.speed,
                        self.now_s * self.speed, problem,
                    )
                )  # fmt: skip

        self._fly(bus, device, answers, arrives)

    def _coded(self, device: RegisterMap, frame: Frame) -> tuple[Register, tuple[int, ...]]:
        if frame.what in {"on", "off"}:
            switch = device.points["switch"]
            return switch, next((raw,) for raw, word in switch.states.items() if word == frame.what)
        names = {"current": "set_current", "voltage": "set_voltage", "time-out": "time_out"}
        point = device.points[names[frame.what]]
        return point, encode_down(point, frame.value)

    def _bring_forward(self, bus: Bus, supply: str) -> None:
        current = self.setup.supplies[supply].current
        for turn in bus.turns:
            if any(channel.name == current for channel, _ in turn.channels):
                turn.ahead, turn.due_s = PROOF_READS, self.now_s

    # -- people

    def start(self, *, watch_only: bool = False) -> None:
        """Start the supervisor's core and wait until every output is proven off; after another one in a new boot."""
        known_s, first = self._journal_s, self._journal_s is None
        self.give(Started(self.at, "boot", CORE_VERSION, self._hash, watch_only, known_s, same_boot=first))
        self.until(lambda: self.supply.output.proven_off, 600.0)

    def ask(
        self,
        what: RequestKind,
        *,
        order: Order | None = None,
        alarm: str = "",
        load: str = "",
        readings: tuple[GaugeReading, ...] = (),
    ) -> Answer:
        """Make a request and return its answer."""
        name, expires_s = f"r{next(self._numbers)}", self.now_s + 5.0
        self.give(
            Request(
                self.at, name, self.now_s, expires_s, "socket", "mara", what, "", alarm, order, load=load,
                readings=readings,
            )
        )  # fmt: skip
        return self.answers[name]

    def begin(self, target_um: float = 4.0, area_m2: float = 0.013) -> None:
        """Start a load."""
        answer = self.ask("start", order=Order(area_m2, target_um))
        assert answer.ok, answer.reasons

    def end(self) -> None:
        """Tell the core that the supervisor ends."""
        self.give(Ending(self.at))

    def kill(self, process_s: float) -> None:
        """Let the supervisor's process die, and a new one take up its record after this process time, s."""
        journal_s = self.now_s * self.speed
        for bus in self._buses.values():
            bus.flight, bus.outbox = None, Outbox()
        self.now_s += process_s / self.speed
        self._advance()
        self.line = Line(self.setup, self.line.state)
        self.give(Started(self.at, "boot", CORE_VERSION, self._hash, watch_only=False, journal_s=journal_s))

    # -- what stands

    @property
    def state(self) -> LineState:
        """What the core knows."""
        return self.line.state


def direct_line(
    folder: Path, *faults: dict[str, Any], speed: float = SPEED, seed: int = 0, plan: LinePlan | None = None
) -> DirectLine:
    """Simulate the demo's line; no supervisor's core has started yet. `faults` as in a script."""
    files = write_files(folder)
    planned = plan or files.read_plan()
    return DirectLine(
        files.load(), planned, speed=speed, seed=seed, faults=faults_of(planned, *faults, speed=speed)
    )  # fmt: skip
