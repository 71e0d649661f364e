"""Serves a simulated line on ptys within any running asyncio loop, and tells the truth about it."""

from __future__ import annotations

import asyncio
import random
from collections.abc import Callable, Iterable
from pathlib import Path

from simulators import modbus_frames as frames
from simulators.faults import KINDS, Fault, read_faults
from simulators.line import SimulatedLine, Truth, names_of
from simulators.modbus_devices import ModbusDevice
from simulators.plan import LinePlan
from simulators.spoil import spoil
from simulators.tables import FileError, Reader
from simulators.wire import PtyLink


class _BusOf:
    """The devices of one link."""

    def __init__(self, server: LineServer, devices: list[ModbusDevice]) -> None:
        self._server = server
        self._devices = devices

    def transact(self, frame: bytes, arrived_s: float) -> list[tuple[float, bytes]]:
        """Let the addressed device answer; unit 0 reaches them all and none answers."""
        answers: list[tuple[float, bytes]] = []
        for device in self._devices:
            if frame[0] in {0, device.unit}:
                answers += self._server.transact(device, frame, arrived_s)
        return [] if frame[0] == 0 else answers


class LineServer:
    """A simulated line, its devices on ptys and its truth. Make it within a running loop; close it in the end.

    Attributes:
        line: the physics.
        links: the ptys, by link name.
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
        self._now = now
        self._tell_to = tell
        self._speed = speed
        self._began_s = now()
        self._names = names_of(plan, speed)
        self._chance = random.Random(f"{seed} wire")
        self._loop = asyncio.get_running_loop()
        self._watches: dict[str, asyncio.TimerHandle] = {}
        self.line = SimulatedLine(plan, seed=seed, faults=faults, tell=self._tell)
        self.links = {name: self._link(plan, name) for name in plan.links}
        self._state_every_s = state_every_s
        self._ticker = self._loop.call_later(state_every_s, self._tick)
        self._tell(
            {
                "truth": "ready",
                "links": {name: link.path for name, link in self.links.items()},
                "process_s": 0.0,
            }
        )

    def _link(self, plan: LinePlan, name: str) -> PtyLink:
        devices = [ModbusDevice(device, of, self.line) for device, of in plan.devices.items() if of.link == name]
        return PtyLink(plan.links[name], _BusOf(self, devices), self._now)

    def _tell(self, truth: Truth) -> None:
        process_s = truth["process_s"]
        assert isinstance(process_s, float)
        self._tell_to({**truth, "wire_s": self._began_s + process_s / self._speed})

    def _advance(self, wire_s: float) -> None:
        self.line.advance((wire_s - self._began_s) * self._speed)

    def _tick(self) -> None:
        self._ticker = self._loop.call_later(self._state_every_s, self._tick)
        self.tell_state("state")

    def tell_state(self, truth: str) -> None:
        """Tell the whole state now, under this name."""
        self._advance(self._now())
        self._tell({"truth": truth, **self.line.state()})

    def transact(self, device: ModbusDevice, frame: bytes, arrived_s: float) -> list[tuple[float, bytes]]:
        """One request to one device at this wire time: what follows on the wire, (seconds later, bytes)."""
        self._advance(arrived_s)
        struck = self.line.board.strike(device.name, self._chance.random())
        whats = {fault.what for fault in struck}
        if not whats.isdisjoint({"device silent", "request dropped"}) or self._lacks_mains(device):
            return []
        body = device.answer(frame[1:-2], _refusal(struck, frame[1]))
        self._watch(device)
        delay_s, answers = spoil(frames.with_crc(frame[:1] + body), struck, self._chance)
        return [(device.answer_delay_s + delay_s, answer) for answer in answers]

    def _lacks_mains(self, device: ModbusDevice) -> bool:
        return bool(device.supply) and bool(self.line.board.standing("mains dip", device.supply))

    def _watch(self, device: ModbusDevice) -> None:
        """A supply with an armed communication time-out begins to count anew with each request it hears."""
        if device.supply in self._watches:
            self._watches.pop(device.supply).cancel()
        time_out_s = self.line.supplies[device.supply].time_out_s if device.supply else 0.0
        if time_out_s > 0.0:
            self._watches[device.supply] = self._loop.call_later(time_out_s, self._time_out, device.supply)

    def _time_out(self, name: str) -> None:
        self._watches.pop(name)
        self._advance(self._now())
        supply = self.line.supplies[name]
        if supply.is_on:
            supply.switch(on=False, cause="time-out")

    def order(self, message: object) -> str:
        """Take one message of the live channel; returns what is wrong with it, empty if nothing is."""
        self._advance(self._now())
        if not isinstance(message, dict):
            return 'A message is an object such as {"fault": {"what": "contact lost"}} or {"clear": "contact lost"}.'
        try:
            table = Reader(message, "")
            if table.has("clear"):
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
        return ""

    def close(self) -> None:
        """Stop serving; the last truth is told before."""
        self.tell_state("end")
        self._ticker.cancel()
        for watch in self._watches.values():
            watch.cancel()
        for link in self.links.values():
            link.close()


def _refusal(struck: Iterable[Fault], function: int) -> int:
    for fault in struck:
        if fault.what == "device refuses" and (function in frames.WRITES or not fault.amounts["writes_only"]):
            return int(fault.amounts["code"])
    return 0


class LinkFolder:
    """Symbolic links to the ptys in a folder, for as long as they are wanted."""

    def __init__(self, folder: Path, targets: dict[str, str]) -> None:
        """Make them, replacing links left over from before. Raises FileError where something else has the name."""
        folder.mkdir(parents=True, exist_ok=True)
        self._made: dict[Path, str] = {}
        for name, target in targets.items():
            place = folder / name
            if place.is_symlink():
                place.unlink()
            elif place.exists():
                raise FileError(f"{place} exists and is no symbolic link. Move it away or give another --links.")
            place.symlink_to(target)
            self._made[place] = target

    def remove(self) -> None:
        """Remove those that still point where they did."""
        for place, target in self._made.items():
            if place.is_symlink() and str(place.readlink()) == target:
                place.unlink()
