"""Random histories over a line of two supplies: person, journal, wires and clocks, none of which keeps to any order.

The rules are those of the explorer; what comes here besides is time, which runs as it likes, and two of everything.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, ClassVar

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, precondition, rule

from supervisor.core.actions import ArmTimeOut, Record, SetPoints, SwitchOff, SwitchOn
from supervisor.core.events import (
    Command,
    Delayed,
    Ending,
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
    Woken,
    Written,
)
from supervisor.core.line import Line, Step
from supervisor.core.setup import LineSetup
from supervisor.core.state import LineState
from supervisor.records.codec import decode_state, encode_actions, encode_state
from tests.core.kit import COMMANDS
from tests.exploration.rules import hold, hold_on_another_date
from tests.exploration.seen import Seen

Wired = SwitchOff | SwitchOn | SetPoints | ArmTimeOut
NAMES = st.sampled_from(["main", "side"])
QUALITIES = st.sampled_from([Quality.GOOD] * 6 + [Quality.LATE, Quality.NO_ANSWER, Quality.MALFORMED])
KINDS: st.SearchStrategy[RequestKind] = st.sampled_from(
    ["hold", "restart", "stop", "abort", "reset", "off", "alarm reset", "alarm acknowledge"]
)
HIDES: st.SearchStrategy[RequestKind] = st.sampled_from(
    ["alarm shelve", "alarm unshelve", "alarm out of service", "alarm in service"]
)
ALARMS = st.sampled_from(
    ["main/off-not-proven", "main/supply-silent", "main-acid/bath-high", "main-acid/bath-high-high", "side/interrupted"]
)
AS_LONG = settings(max_examples=100, stateful_step_count=50, derandomize=True, deadline=None)


class Machine(RuleBasedStateMachine):
    """What may happen to any line with the supplies main and side."""

    SETUP: ClassVar[LineSetup]

    def __init__(self) -> None:
        super().__init__()
        self.setup = self.SETUP
        self.line = Line(self.setup)
        self.process_s, self.wire_s, self.wall_s = 100.0, 500.0, 1.79e9
        self.asked = 0
        self.sent: dict[str, list[Wired]] = {"main": [], "side": []}
        self.intents: list[str] = []

    # -- what may happen

    @initialize()
    def start(self) -> None:
        self.step(Started(self.at, "boot", "1", "hash", watch_only=False))
        for name in ("main", "side"):
            self.all_is_well(name)

    @rule(
        process_s=st.sampled_from([0.0, 0.1, 0.4, 1.0, 3.1, 200.0]), wire_s=st.sampled_from([0.0, 0.1, 0.4, 1.0, 3.1])
    )
    def time_passes(self, process_s: float, wire_s: float) -> None:
        self.process_s += process_s
        self.wire_s += wire_s
        self.step(Woken(self.at))

    @rule(by_s=st.sampled_from([0.3, 1.9, 2.0, 60.0]))
    def the_loop_stands_still(self, by_s: float) -> None:
        self.process_s += by_s
        self.wire_s += by_s
        self.step(Delayed(self.at, by_s))

    @rule(days=st.integers(-1000, 1000))
    def wall_clock_jumps(self, days: int) -> None:
        self.wall_s += 86400.0 * days

    @rule(
        name=NAMES,
        current_a=st.sampled_from([0.0, 0.01, 0.049, 0.05, 0.2, 1.95, 2.6, 9.0, -0.5, float("nan")]),
        quality=QUALITIES,
        late_s=st.sampled_from([0.0, 0.0, 0.0, 0.05, 2.0]),
        on=st.sampled_from([None, 0.0, 1.0]),
        held=st.sampled_from([None, 0.0, 1.0]),
    )
    def supply_is_read(
        self, name: str, current_a: float, quality: Quality, late_s: float, on: float | None, held: float | None
    ) -> None:
        supply = self.setup.supplies[name]
        values = {supply.current: current_a, supply.output_state: on, supply.mode: held}
        readings = tuple(Reading(channel, quality, value) for channel, value in values.items() if value is not None)
        self.step(Scanned(self.at, supply.device, self.process_s - late_s - 0.02, self.process_s - late_s, readings))

    @rule(name=NAMES)
    def all_is_well(self, name: str) -> None:
        """Every command confirmed, off proven where it was sent, a good bath: so that runs get anywhere."""
        for action in tuple(self.sent[name]):
            self.confirm(name, action, ok=True)
        for _ in range(2):
            self.process_s += 0.1
            operation = self.line.state.supplies[name].operation
            ramp = operation.ramp if operation is not None else None
            self.supply_is_read(name, ramp.current_a if ramp else 0.0, Quality.GOOD, 0.0, None, None)
            self.bath_is_read(name, 20.5, Quality.GOOD)

    @rule(name=NAMES, value_c=st.sampled_from([20.5, 15.0, 18.5, 22.5, 25.0]), quality=QUALITIES)
    def bath_is_read(self, name: str, value_c: float, quality: Quality) -> None:
        reading = Reading(f"{name}-acid-temperature", quality, value_c)
        self.step(Scanned(self.at, "thermometer", self.process_s, self.process_s, (reading,)))

    @rule(channel=st.sampled_from(["nothing", ""]), value=st.floats())
    def a_channel_nobody_knows_is_read(self, channel: str, value: float) -> None:
        before = self.line.state.channels
        reading = Reading(channel, Quality.GOOD, value)
        self.step(Scanned(self.at, "nothing", self.process_s, self.process_s, (reading,)))
        assert self.line.state.channels == before

    @rule(name=NAMES, which=st.integers(0, 3), ok=st.booleans())
    def a_command_ends(self, name: str, which: int, ok: bool) -> None:
        if len(self.sent[name]) > which:
            self.confirm(name, self.sent[name][which], ok=ok)

    @rule(name=st.sampled_from(["main", "nobody"]), command=st.sampled_from(["off", "on", "set points", "time-out"]))
    def a_command_nobody_sent_ends(self, name: str, command: Command) -> None:
        self.step(Written(self.at, name, command, 9999, True, self.process_s, self.process_s))

    @rule(which=st.integers(0, 3))
    def an_intent_is_recorded(self, which: int) -> None:
        """The newest, an older one again, or one that nobody asked for."""
        self.step(Recorded(self.at, ([*self.intents, "nobody/asked"])[-1 - which :][0] if self.intents else "none"))

    @rule(name=NAMES, area=st.sampled_from([0.013, 0.02, 1e306]), wanted_um=st.sampled_from([0.01, 1.0, 25_000.0]))
    def a_start_is_asked_for(self, name: str, area: float, wanted_um: float) -> None:
        self.ask("start", name, Order(area, wanted_um, ramp_s=0.2), recorded=True)

    @rule(name=NAMES, start=st.booleans(), wanted_um=st.sampled_from([0.01, 5.0, 20.0]))
    def a_person_sets_it_going(self, name: str, start: bool, wanted_um: float) -> None:
        """What somebody does who wants current again, whatever went before."""
        self.all_is_well(name)
        self.all_alarms_are_reset(name)
        self.wire_s += 0.1
        if start:
            self.ask("reset", name, None)
            self.ask("start", name, Order(0.013, wanted_um, ramp_s=0.2), recorded=True)
        else:
            self.ask("restart", name, None, recorded=True)
        self.all_is_well(name)

    @rule(name=NAMES)
    def a_load_is_held_and_restarted(self, name: str) -> None:
        """As a person does who looks at a clamp; each part may be refused."""
        self.ask("hold", name, None)
        self.a_person_sets_it_going(name, start=False, wanted_um=1.0)

    @rule(name=NAMES, what=KINDS, recorded=st.booleans())
    def something_is_asked_for(self, name: str, what: RequestKind, recorded: bool) -> None:
        self.ask(what, name, None, recorded=recorded)

    @rule(what=HIDES, alarm=ALARMS, for_s=st.sampled_from([None, 1.0, 3600.0]))
    def an_alarm_is_hidden_or_shown(self, what: RequestKind, alarm: str, for_s: float | None) -> None:
        self.step(self.request(what, alarm=alarm, for_s=for_s, why="mended tomorrow"))

    @rule(name=NAMES, what=st.sampled_from(["start", "restart", "off", "reset"]), why=st.integers(0, 3))
    def something_stale_is_asked_for(self, name: str, what: RequestKind, why: int) -> None:
        """A stored copy, one that has expired, one from the future, or one that was done before."""
        request = self.request(what, name, order=Order(0.013, 5.0) if what == "start" else None)
        stale: tuple[dict[str, Any], ...] = (
            {"retained": True},
            {"expires_wire_s": self.wire_s},
            {"made_wire_s": self.wire_s + 2.0},
            {"id": (self.line.state.requests or (request.id,))[-1], "retained": not self.line.state.requests},
        )
        self.step(replace(request, **stale[why]))

    @rule(name=NAMES)
    def all_alarms_are_reset(self, name: str) -> None:
        for alarm in tuple(self.line.state.alarms):
            self.ask("alarm reset", name, None, alarm=alarm)

    @rule(same_boot=st.booleans(), watch_only=st.sampled_from([False, False, False, True]))
    def the_service_starts_again(self, same_boot: bool, watch_only: bool) -> None:
        state = decode_state(LineState, encode_state(self.line.state))
        assert state == self.line.state
        self.line = Line(self.setup, state)
        journal_s = self.process_s
        self.process_s = self.process_s + 7.0 if same_boot else 60.0
        at = self.at
        self.step(Started(at, "boot", "1", "hash", watch_only, journal_s=journal_s, same_boot=same_boot))

    @precondition(lambda self: not self.line.state.ending)
    @rule(really=st.integers(0, 9))
    def the_service_is_told_to_end(self, really: int) -> None:
        if really == 0:
            self.step(Ending(self.at))

    # -- how it is done

    @property
    def at(self) -> Instant:
        return Instant(self.process_s, self.wire_s, self.wall_s)

    def confirm(self, name: str, action: Wired, *, ok: bool) -> None:
        self.sent[name].remove(action)
        command = COMMANDS[type(action)]
        self.step(
            Written(self.at, name, command, action.number, ok, self.process_s, self.process_s, "" if ok else "no")
        )

    def request(
        self,
        what: RequestKind,
        name: str = "",
        *,
        alarm: str = "",
        order: Order | None = None,
        output: str = "",
        for_s: float | None = None,
        why: str = "",
    ) -> Request:
        """A fresh one, by a person who has done all that only hands can do."""
        self.asked += 1
        return Request(
            self.at, f"r{self.asked}", self.wire_s, self.wire_s + 5.0, "socket", "mara", what, name, alarm, order,
            output=output, confirmed=True, for_s=for_s, why=why,
        )  # fmt: skip

    def ask(
        self,
        what: RequestKind,
        name: str,
        order: Order | None,
        *,
        alarm: str = "main/off-not-proven",
        recorded: bool = False,
    ) -> None:
        self.step(self.request(what, name, alarm=alarm, order=order))
        if recorded and self.intents:
            self.step(Recorded(self.at, self.intents[-1]))

    def step(self, event: Event) -> Step:
        """Step the line and hold it to its rules; the same step on another date comes to the same (R10)."""
        before = self.line.state
        step = self.line.step(event)
        seen = Seen(self.setup, before, event, step.actions, self.line.state, step.wake)
        hold(seen)
        hold_on_another_date(seen)
        encode_state(self.line.state)
        encode_actions(step.actions)
        for action in step.actions:
            if isinstance(action, Wired):
                self.sent[action.supply].append(action)
            elif isinstance(action, Record):
                self.intents.append(action.intent)
        return step
