"""Serves a simulated line on ptys and loopback within any running asyncio loop, and tells the truth about it."""

from __future__ import annotations

import asyncio
import math
import random
from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path

from simulators import modbus_frames as frames
from simulators.faults import KINDS, Fault, read_faults
from simulators.line import SimulatedLine, Truth, names_of
from simulators.modbus_devices import ModbusDevice
from simulators.plan import LinePlan
from simulators.pty import Piece
from simulators.spoil import spoil
from simulators.tables import FileError, Reader
from simulators.tcp_wire import TcpServer
from simulators.text_devices import BoardWire, ScpiWire
from simulators.text_spoil import babble
from simulators.text_wire import TextPtyLink
from simulators.wire import PtyLink


class _BusOf:
    """The devices of one link."""

    def __init__(self, server: LineServer, devices: list[ModbusDevice]) -> None:
        self._server = server
        self._devices = devices

    def transact(self, frame: bytes, arrived_s: float, head: bytes = b"") -> list[Piece]:
        """Let the addressed device answer; unit 0 reaches them all and none answers."""
        answers: list[Piece] = []
        for device in self._devices:
            if frame[0] in {0, device.unit}:
                answers += self._server.transact(device, frame, arrived_s, head)
        return [] if frame[0] == 0 else answers


class LineServer:
    """A simulated line, its devices on ptys and loopback, and its truth. Make it in a running loop, and close it.

    Attributes:
        line: the physics.
        links: the wires that are there now, by link name; one that is unplugged is not.
        folder: where symbolic links to the ptys are kept, if anywhere; a new pty takes its old one's place there.
    """

    def __init__(
        self,
        plan: LinePlan,
        *,
        now: Callable[[], float],
        tell: Callable[[Truth], None],
        speed: float = 1.0,
        seed: int = 0,
        faults: Iterable[Fault] = (),
        state_every_s: float = 0.5,
    ) -> None:
        """Begin at process time 0.

        Args:
            plan: what to simulate.
            now: wire time, s, of the same clock that the loop's timers follow.
            tell: takes each truth as a JSON object.
            speed: process seconds per wire second.
            seed: of all chance.
            faults: the script.
            state_every_s: wire time between two truths about the state, s.
        """
        self.folder: LinkFolder | None = None
        self._now = now
        self._tell_to = tell
        self._link_plans = dict(plan.links)
        self._speed = speed
        self._began_s = now()
        self._names = names_of(plan, speed)
        self._chance = random.Random(f"{seed} wire")
        self._loop = asyncio.get_running_loop()
        self._watches: dict[tuple[str, str], asyncio.TimerHandle] = {}
        self._waker: asyncio.TimerHandle | None = None
        self._babbling: dict[str, asyncio.TimerHandle] = {}
        self.line = SimulatedLine(plan, seed=seed, faults=faults, tell=self._tell, speed=speed)
        self._texts = self._text_devices(plan)
        self._gone_received = 0
        self._gone_sent = 0
        self._buses = {
            name: _BusOf(self, [ModbusDevice(d, of, self.line) for d, of in plan.devices.items() if of.link == name])
            for name, link in plan.links.items()
            if link.kind != "serial text"
        }
        self.links: dict[str, PtyLink | TcpServer | TextPtyLink] = {}
        for name in plan.links:
            self._plug_in(name)
        self._state_every_s = state_every_s
        self._ticker = self._loop.call_later(state_every_s, self._tick)
        self._plan_wake()
        self._tell({"truth": "ready", "links": self.places(), "process_s": 0.0})

    def _text_devices(self, plan: LinePlan) -> dict[str, ScpiWire | BoardWire]:
        """The devices that speak in text, by link."""
        found: dict[str, ScpiWire | BoardWire] = {}
        for name, scpi in plan.scpi_supplies.items():
            found[scpi.link] = ScpiWire(name, scpi, self.line, advance=self._advance, chance=self._chance)
        for name, board in plan.boards.items():
            found[board.link] = BoardWire(name, board, self.line, advance=self._advance, chance=self._chance)
        return found

    def places(self) -> dict[str, str]:
        """Where each link is: the path of a pty, or host and port."""
        return {name: link.path for name, link in self.links.items()}

    @property
    def bytes_received(self) -> int:
        """Bytes read from the other sides so far, over links that have been unplugged since too."""
        return self._gone_received + sum(link.bytes_received for link in self.links.values())

    @property
    def bytes_sent(self) -> int:
        """Bytes written to the other sides so far, over links that have been unplugged since too."""
        return self._gone_sent + sum(link.bytes_sent for link in self.links.values())

    # -- faults of whole links and boards

    def _plug_in(self, name: str) -> None:
        plan = self._link_plans[name]
        if plan.kind == "serial text":
            self.links[name] = self._texts[name].open(plan, self._now)
        elif plan.kind == "modbus tcp":
            self.links[name] = TcpServer(plan, self._buses[name], self._now)
            # After an unplugging it is found where it was.
            port = int(self.links[name].path.rpartition(":")[2])
            self._link_plans[name] = replace(plan, port=port)
        else:
            self.links[name] = PtyLink(plan, self._buses[name], self._now)
        if self.folder is not None and plan.kind != "modbus tcp":
            self.folder.put(name, self.links[name].path)

    def _unplug(self, name: str) -> None:
        if self.folder is not None:
            self.folder.take_away(name)
        link = self.links.pop(name)
        self._gone_received += link.bytes_received
        self._gone_sent += link.bytes_sent
        link.close()

    def _strike(self, fault: Truth) -> None:
        """Let a fault of a link or a board begin or end."""
        what, target, begins = str(fault["what"]), str(fault["target"]), bool(fault["begins"])
        link = self.links.get(target)
        if what == "port gone":
            self._follow_plug(target)
        elif what == "server half-closed" and isinstance(link, TcpServer):
            (link.half_close if begins else link.recover)()
        elif what == "babble":
            if target in self._babbling:
                self._babbling.pop(target).cancel()
            self._babble(target)
        for wire in self._texts.values():
            if isinstance(wire, BoardWire) and wire.name == target:
                _strike_board(wire, what, begins=begins)

    def _follow_plug(self, name: str) -> None:
        """Let a link be there or not as the faults that stand say; one may begin before another ends."""
        is_gone = bool(self.line.board.standing("port gone", name))
        if is_gone and name in self.links:
            self._unplug(name)
        elif not is_gone and name not in self.links:
            self._plug_in(name)

    def _babble(self, name: str) -> None:
        """Say one burst and come back for the next, as long as the fault stands; of several the last one begun."""
        for fault in self.line.board.standing("babble", name)[-1:]:
            if name in self.links:
                self.links[name].say(babble(fault, self._chance))
            every_s = fault.amounts["every_ms"] / 1000.0
            self._babbling[name] = self._loop.call_later(every_s, self._babble, name)

    def _tell(self, truth: Truth) -> None:
        process_s = truth["process_s"]
        assert isinstance(process_s, float)
        self._tell_to({**truth, "wire_s": self._began_s + process_s / self._speed})
        if truth["truth"] == "fault":
            self._loop.call_soon(self._strike, truth)

    def _advance(self, wire_s: float) -> None:
        self.line.advance((wire_s - self._began_s) * self._speed)

    def _tick(self) -> None:
        self._ticker = self._loop.call_later(self._state_every_s, self._tick)
        self.tell_state("state")
        self._plan_wake()

    def _plan_wake(self) -> None:
        """Look again when something begins or ends, or a short fault of a board or a link would come late or never."""
        if self._waker is not None:
            self._waker.cancel()
        in_s = self.line.next_change_in_s() / self._speed
        self._waker = self._loop.call_later(max(in_s, 1e-6), self._wake) if math.isfinite(in_s) else None

    def _wake(self) -> None:
        self._advance(self._now())
        self._plan_wake()

    def tell_state(self, truth: str) -> None:
        """Tell the whole state now, under this name."""
        self._advance(self._now())
        self._tell({"truth": truth, **self.line.state()})

    def transact(self, device: ModbusDevice, frame: bytes, arrived_s: float, head: bytes = b"") -> list[Piece]:
        """One request to one device at this wire time: what follows on the wire. `head` as in `wire.Bus`."""
        self._advance(arrived_s)
        struck = self.line.board.strike(device.name, self._chance.random())
        whats = {fault.what for fault in struck}
        power = self.line.supply_power[device.supply] if device.supply else self.line.module_power[device.name]
        if not power.is_up or not whats.isdisjoint({"device silent", "request dropped"}):
            return []
        body = device.answer(frame[1:-2], _refusal(struck, frame[1]), whats)
        self._watch(device)
        pieces = spoil(frames.with_crc(frame[:1] + body), struck, self._chance, head)
        return [replace(piece, delay_s=device.answer_delay_s + piece.delay_s) for piece in pieces]

    def _watch(self, device: ModbusDevice) -> None:
        """One with a communication time-out begins to count anew with each request it hears."""
        if device.supply:
            time_out_s = self.line.supplies[device.supply].time_out_s
            self._watch_anew(("supply", device.supply), time_out_s, lambda: self._time_out(device.supply))
        else:
            self._watch_anew(
                ("module", device.name), device.rests_after_s, lambda: self.line.rest(device.name, "time-out")
            )

    def _watch_anew(self, key: tuple[str, str], time_out_s: float, fire: Callable[[], None]) -> None:
        if key in self._watches:
            self._watches.pop(key).cancel()

        def fires() -> None:
            self._watches.pop(key)
            self._advance(self._now())
            fire()

        if time_out_s > 0.0:
            self._watches[key] = self._loop.call_later(time_out_s, fires)

    def _time_out(self, name: str) -> None:
        supply = self.line.supplies[name]
        # A time-out that was armed before the mains went is forgotten.
        if supply.is_on and supply.time_out_s > 0.0:
            supply.switch(on=False, cause="time-out")

    def order(self, message: object) -> str:
        """Take one message of the live channel; returns what is wrong with it, empty if nothing is."""
        self._advance(self._now())
        if not isinstance(message, dict):
            return 'A message is an object such as {"fault": {"what": "contact lost"}} or {"clear": "contact lost"}.'
        try:
            table = Reader(message, "")
            if table.has("knob"):
                knob = table.table("knob")
                table.finish()
                self.line.turn_knobs(knob)
            elif table.has("clear"):
                what = table.text("clear", choices=tuple(KINDS))
                table.finish()
                self.line.clear_fault(what)
            else:
                faults = read_faults(table.table("fault"), self._names, self.line.now_s)
                table.finish()
                for fault in faults:
                    self.line.add_fault(fault)
        except FileError as mistake:
            return str(mistake)
        self._plan_wake()
        return ""

    def close(self) -> None:
        """Stop serving; the last truth is told before."""
        self.tell_state("end")
        self._ticker.cancel()
        if self._waker is not None:
            self._waker.cancel()
        for timer in (*self._watches.values(), *self._babbling.values()):
            timer.cancel()
        for wire in self._texts.values():
            wire.close()
        for link in self.links.values():
            link.close()


def _strike_board(wire: BoardWire, what: str, *, begins: bool) -> None:
    """Let what resets a board or takes its power begin or end."""
    if what == "board resets" and begins and wire.has_power:
        wire.board.reset()
    elif what == "power lost" and begins:
        wire.board.lose_power()
    elif what == "power lost" and wire.has_power:
        wire.board.regain_power()


def _refusal(struck: Iterable[Fault], function: int) -> int:
    for fault in struck:
        if fault.what == "device refuses" and (function in frames.WRITES or not fault.amounts["writes_only"]):
            return int(fault.amounts["code"])
    return 0


class LinkFolder:
    """Symbolic links to the ptys in a folder, for as long as they are wanted."""

    def __init__(self, folder: Path, targets: dict[str, str]) -> None:
        """Make them, replacing links left over from before. Raises FileError where something else has the name.

        Of `targets` those that are no paths, but host and port, need none.
        """
        folder.mkdir(parents=True, exist_ok=True)
        self._folder = folder
        self._made: dict[Path, str] = {}
        for name, target in targets.items():
            if target.startswith("/"):
                self.put(name, target)

    def put(self, name: str, target: str) -> None:
        """Make one, or let it point elsewhere. Raises FileError where something else has the name."""
        place = self._folder / name
        if place.is_symlink():
            place.unlink()
        elif place.exists():
            raise FileError(f"{place} exists and is no symbolic link. Move it away or give another --links.")
        place.symlink_to(target)
        self._made[place] = target

    def take_away(self, name: str) -> None:
        """Remove one whose pty is gone."""
        place = self._folder / name
        if self._made.pop(place, None) is not None:
            place.unlink(missing_ok=True)

    def remove(self) -> None:
        """Remove those that still point where they did."""
        for place, target in self._made.items():
            if place.is_symlink() and str(place.readlink()) == target:
                place.unlink()
