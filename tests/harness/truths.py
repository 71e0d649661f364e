"""What truly happens on a virtual line with one supply, held against what its supervisor wants.

Current and heat end in time wherever anything is left that can end them; nothing is switched on that is not wanted; and
the charge lies within what is told whenever off is proven (R5). All times are wire time, at speed 1, s.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from simulators.faults import KINDS
from simulators.line import Truth
from supervisor.config.setup import line_setup, worst_off_delays
from supervisor.core.anodize import OVER, Operation, State
from supervisor.core.state import LineState
from tests.harness.virtual import VirtualLine

FLOWS_A = 0.05
"""Below this no current flows: the off threshold of the line file."""

BOOTS_S = 0.5
"""In which the supply boots, as the simulators' file has it."""

RECOVERS_S = 3.0
"""In which a device or link that was struck has booted and serves again, and a supervisor that begins is at work."""

SECOND_MEANS_S = 6.0
"""In which current ends where the supply itself cannot be told: its own time-out of 3 s ends it, or its proof is late
after 2 s and the contactor opens, or an end of the service does both; each behind what waits at that moment."""

HALTS = frozenset({"port gone", "babble", "server half-closed", "power lost", "mains dip", "contactor welded",
                   "switch stuck"})  # fmt: skip
"""Beside faults of bytes, what keeps a command from being carried out."""

MISREADS = frozenset({"meter gain", "values stuck", "values swapped"})
"""What breaks the assumptions under R5: a meter outside its accuracy, values that are not of their moment or place."""

INTERRUPTS = frozenset({
    "contact lost", "area lost", "contact creeps off", "contact gets hot", "rack touches", "part burns", "mains dip",
})  # fmt: skip
LONGEST_PERIODS = 2.5
"""A current that goes and comes back within so many periods of its readings breaks them too."""


class Since:
    """Since when something has been so without a break; None while it is not."""

    def __init__(self, began_s: float | None = None) -> None:
        self.began_s = began_s

    def follow(self, holds: bool, now_s: float) -> None:
        """Begin, go on or be over."""
        if not holds:
            self.began_s = None
        elif self.began_s is None:
            self.began_s = now_s


def _together_s(now_s: float, *all_of: Since) -> float:
    """For how long all of these have been so by now, s; 0 where one is not."""
    began = [one.began_s for one in all_of]
    return min(0.0 if began_s is None else now_s - began_s for began_s in began)


@dataclass(frozen=True)
class Limits:
    """What is promised: how long current, a heater in the air and an order in flight may last, s."""

    off_s: float
    dry_s: float
    flight_s: float


class Truths:
    """The truths of one line.

    Attributes:
        loads: operations that truly had current. faults: how many struck.
    """

    def __init__(self, line: VirtualLine, found: list[str]) -> None:
        """`found` takes what is wrong, in sentences."""
        self.loads: set[str] = set()
        self.faults = 0
        self._line, self._found = line, found
        self._setup = line_setup(line.files.load())
        self._limits = self._promised()
        self._began_s = self._looked_s = line.clock.now()
        self._read = 0
        self._standing: Counter[tuple[str, str]] = Counter()
        self._struck_s: dict[tuple[str, str], float] = {}
        self._ways = {"supply": Since(0.0), "board": Since(0.0), "either": Since(0.0)}
        self._runs, self._unfed, self._flows, self._dry, self._hot = (Since() for _ in range(5))
        self._wants: dict[str, bool] = {}
        self._ended_s: dict[str, float] = {}
        self._operation: Operation | None = None
        self._base_c: dict[str, float] = {}
        self._misread: set[str] = set()

    def _promised(self) -> Limits:
        delays = worst_off_delays(self._line.files.load())
        supply, heating = self._setup.supplies["main"], self._setup.tanks["seal"].heating
        assert heating is not None
        level = self._setup.channels[self._setup.contacts[heating.level].channel]
        off_s, rest_s = delays[supply.output].total_s, delays[heating.output].total_s
        return Limits(
            off_s=off_s + self._setup.channels[supply.current].period_s,
            dry_s=self._setup.interlocks["level-low"].on_delay_s + 2 * level.period_s + rest_s,
            flight_s=max(off_s, rest_s),
        )

    def look(self, now_s: float, state: LineState | None) -> None:
        """Look at this moment; `state` is the core's after its newest step, None while no supervisor runs."""
        self._line.simulated.advance(now_s - self._began_s)
        truths = self._line.truths[self._read :]
        self._read += len(truths)
        for truth in truths:
            self._take(truth)
        self._want(now_s, state)
        self._runs.follow(state is not None, now_s)
        self._current(now_s)
        self._heater(now_s)
        if state is not None:
            self._charge(state)

    # -- what the simulators tell

    def _take(self, truth: Truth) -> None:
        wire_s = truth["wire_s"]
        assert isinstance(wire_s, float)
        if truth["truth"] == "fault":
            self._follow_fault(str(truth["what"]), str(truth["target"]), bool(truth["begins"]), wire_s)
        elif truth["truth"] in {"output", "switch"} and truth["on"] and truth["changed"]:
            name = "main" if truth["truth"] == "output" else str(truth["switch"])
            if truth["cause"] == "command" and not self._wanted_lately(name, wire_s):
                self._found.append(f"{name} was switched on at {wire_s:.3f} s, and it was not wanted on.")

    def _wanted_lately(self, name: str, wire_s: float) -> bool:
        return self._wants.get(name, True) or wire_s <= self._ended_s.get(name, 0.0) + self._limits.flight_s

    def _follow_fault(self, what: str, target: str, begins: bool, wire_s: float) -> None:
        key = (what, target)
        self._standing[key] += 1 if begins else -1
        self.faults += begins
        if begins:
            self._struck_s[key] = wire_s
        lasted_s = wire_s - self._struck_s[key] + (BOOTS_S if what == "mains dip" else 0.0)
        period_s = self._setup.channels[self._setup.supplies["main"].current].period_s
        brief = not begins and what in INTERRUPTS and lasted_s < LONGEST_PERIODS * period_s
        if self._operation is not None and (brief or what in MISREADS):
            self._misread.add(self._operation.id)
        supply, board = self._clear({"rectifier", "thermometer", "bus"}), self._clear({"relays", "network"})
        for way, clear in (("supply", supply), ("board", board), ("either", supply or board)):
            self._ways[way].follow(clear, wire_s)

    def _clear(self, targets: set[str]) -> bool:
        """Whether nothing stands that keeps orders to these devices and links from being carried out."""
        switches = {"main-contactor", "seal-heater"} if "relays" in targets else set()
        return not any(
            count > 0 and target in targets | switches and (KINDS[what].on_bytes or what in HALTS)
            for (what, target), count in self._standing.items()
        )

    # -- what the supervisor wants

    def _want(self, now_s: float, state: LineState | None) -> None:
        wants = {"main": False, **dict.fromkeys(self._line.simulated.switches, False)}
        operation = state.supplies["main"].operation if state is not None else None
        if state is not None:
            wants |= {name: output.on for name, output in state.outputs.items()}
        wants["main"] = operation is not None and operation.energised
        for name, wanted in wants.items():
            if self._wants.get(name, True) and not wanted:
                self._ended_s[name] = now_s
        self._wants = wants

    # -- current and heat

    def _current(self, now_s: float) -> None:
        supply = self._line.simulated_supply
        flows = supply.current_a > FLOWS_A
        if flows and self._operation is not None:
            self.loads.add(self._operation.id)
        self._flows.follow(flows and not self._wants["main"], now_s)
        if self._lasts(self._flows, "supply", now_s) > self._limits.off_s:
            self._found.append(f"Current flows at {now_s:.3f} s though off could be told for long enough.")
        self._unfed.follow(self._runs.began_s is None and supply.time_out_s > 0, now_s)
        second = max(
            _together_s(now_s, self._flows, *ways) for ways in ((self._ways["either"], self._runs), (self._unfed,))
        )
        if second > SECOND_MEANS_S:
            self._found.append(f"Current flows at {now_s:.3f} s though there was a second means to end it.")

    def _heater(self, now_s: float) -> None:
        heating = self._setup.tanks["seal"].heating
        assert heating is not None
        on = self._line.simulated.switches[heating.output].is_on
        level = self._line.simulated.contacts[heating.level].is_closed
        self._dry.follow(on and not level, now_s)
        self._hot.follow(on and not self._wants[heating.output], now_s)
        if self._lasts(self._dry, "board", now_s) > self._limits.dry_s:
            self._found.append(f"The heater is on at {now_s:.3f} s and its level's contact open for too long.")
        if self._lasts(self._hot, "board", now_s) > self._limits.off_s:
            self._found.append(f"The heater is on at {now_s:.3f} s and it was not wanted on.")

    def _lasts(self, what: Since, way: str, now_s: float) -> float:
        """For how long it has gone on while the supervisor ran and this way was clear, once they had recovered, s."""
        recovered_s = _together_s(now_s, self._ways[way], self._runs) - RECOVERS_S
        return min(_together_s(now_s, what), recovered_s)

    def stood_still(self, for_s: float) -> None:
        """The supervisor's computer stood still for so long, s, up to now: it could tell nobody anything meanwhile."""
        for what in (self._flows, self._dry, self._hot):
            if what.began_s is not None:
                what.began_s += for_s

    # -- charge

    def _charge(self, state: LineState) -> None:
        """Whenever off has just been proven under an operation the truth must lie in its interval."""
        was, now = self._operation, state.supplies["main"].operation
        true_c = self._line.true_charge_c
        self._operation = now
        if now is None:
            return
        if now.id not in self._base_c:
            self._base_c[now.id] = true_c
            if any(count > 0 and what in MISREADS for (what, _), count in self._standing.items()):
                self._misread.add(now.id)
        if now.state not in OVER | {State.HELD} or (was is not None and was.state is now.state):
            return
        charge, flowed_c = now.dose.charge, true_c - self._base_c[now.id]
        told = now.dose.unbounded or charge.low - 1e-6 <= flowed_c <= charge.high + 1e-6
        if not told and now.id not in self._misread:
            self._found.append(f"{flowed_c} C flowed in {now.id}, {now.state}, and {charge} is told.")
