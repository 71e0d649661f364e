"""Two supplies under random events: the rules hold after every step, whatever comes in whatever order."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, precondition, rule

from supervisor.core.actions import Action, ArmTimeOut, SetPoints, SwitchOff, SwitchOn
from supervisor.core.anodize import ENERGISED, OVER, State
from supervisor.core.effects import Effect
from supervisor.core.events import (
    Command,
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
from supervisor.core.line import Line
from supervisor.core.permissives import failing
from supervisor.core.setup import LineSetup
from supervisor.core.state import LineState
from supervisor.records.codec import decode_state, encode_actions, encode_state
from tests.core.kit import COMMANDS, line_setup

Wired = SwitchOff | SwitchOn | SetPoints | ArmTimeOut
NAMES = st.sampled_from(["main", "side"])
QUALITIES = st.sampled_from([Quality.GOOD] * 6 + [Quality.LATE, Quality.NO_ANSWER, Quality.MALFORMED])
KINDS: st.SearchStrategy[RequestKind] = st.sampled_from(
    ["hold", "restart", "stop", "abort", "reset", "off", "alarm reset", "alarm acknowledge"]
)


def two_supplies() -> LineSetup:
    setup = line_setup(2)
    side = replace(setup.supplies["side"], device_time_out_s=5.0)
    return replace(setup, supplies={**setup.supplies, "side": side})


class TwoSupplies(RuleBasedStateMachine):
    """Person, journal, wires and clocks, none of which keeps to any order."""

    def __init__(self) -> None:
        super().__init__()
        self.setup = two_supplies()
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

    def ask(
        self,
        what: RequestKind,
        name: str,
        order: Order | None,
        *,
        alarm: str = "main/off-not-proven",
        recorded: bool = False,
    ) -> None:
        self.asked += 1
        expires_s = self.wire_s + 5.0
        self.step(
            Request(self.at, f"r{self.asked}", self.wire_s, expires_s, "socket", "mara", what, name, alarm, order)
        )
        if recorded and self.intents:
            self.step(Recorded(self.at, self.intents[-1]))

    def step(self, event: Event) -> None:
        """Step the line and hold it to its rules."""
        before = self.line.state
        actions = self.line.step(event).actions
        after = self.line.state
        twin = Line(self.setup, before)
        assert twin.step(event).actions == actions
        assert twin.state == after
        encode_state(after)
        encode_actions(actions)
        for action in actions:
            if isinstance(action, Wired):
                self.sent[action.supply].append(action)
        self.intents += [action.intent for action in actions if action.action == "record"]
        on_needs_a_durable_intent_and_every_permissive(self.setup, before, after, event, actions)
        off_comes_in_the_step_that_ends_current(before, after, event, actions)
        no_trip_stands_over_current(self.setup, after)
        set_points_keep_their_limits(self.setup, after, actions)
        off_is_proven_by_a_good_low_reading(self.setup, before, after, event)


def on_needs_a_durable_intent_and_every_permissive(
    setup: LineSetup, before: LineState, after: LineState, event: Event, actions: tuple[Action, ...]
) -> None:
    """R1."""
    for action in actions:
        if not isinstance(action, SwitchOn):
            continue
        pending = before.supplies[action.supply].pending
        assert isinstance(event, Recorded)
        assert pending is not None
        assert pending.intent == event.intent
        assert event.at.wire_s < pending.deadline_wire_s
        assert not failing(setup, before, action.supply, pending.what, event.at.process_s)
    for name, supply in after.supplies.items():
        if supply.output.wanted_on:
            assert supply.operation is not None
            assert supply.operation.state in ENERGISED, name


def off_comes_in_the_step_that_ends_current(
    before: LineState, after: LineState, event: Event, actions: tuple[Action, ...]
) -> None:
    """R2, R3 and R11: no record stands between the cause and the command."""
    for name, supply in after.supplies.items():
        wired = [a for a in actions if isinstance(a, SwitchOff | SwitchOn | SetPoints) and a.supply == name]
        was, now = before.supplies[name].operation, supply.operation
        if was is not None and was.energised and not (now is not None and now.energised):
            assert any(isinstance(action, SwitchOff) for action in wired)
        if isinstance(event, Ending) and after.watch_only:
            assert not wired, "a run made by hand since the start goes on"
        elif isinstance(event, Started | Ending):
            assert [type(action) for action in wired] == [SwitchOff]
        if wired and not (now is not None and now.energised):
            assert isinstance(wired[-1], SwitchOff)


def no_trip_stands_over_current(setup: LineSetup, after: LineState) -> None:
    """R2: what trips ends current, and no latch waits over a running load."""
    for alarm in after.alarms.values():
        for name, supply in after.supplies.items():
            if setup.interlocks[alarm.cause].effect > Effect.WARN and alarm.subject in {
                name,
                setup.supplies[name].tank,
            }:
                energised = supply.operation is not None and supply.operation.energised
                assert not (energised and (alarm.standing or alarm.latched)), alarm.name


def set_points_keep_their_limits(setup: LineSetup, after: LineState, actions: tuple[Action, ...]) -> None:
    """R6."""
    for action in actions:
        if isinstance(action, SetPoints):
            operation = after.supplies[action.supply].operation
            assert operation is not None
            most_a = operation.plan.area_m2 * setup.anodize.highest_density_a_per_m2
            assert 0 < action.current_a <= min(5.0, most_a) * (1 + 1e-9)


def off_is_proven_by_a_good_low_reading(setup: LineSetup, before: LineState, after: LineState, event: Event) -> None:
    """R7: never by time, request, confirmation or restart; and what needs the proof has it."""
    for name, supply in after.supplies.items():
        was, now = before.supplies[name], supply
        if now.output.proven_off and not was.output.proven_off:
            assert isinstance(event, Scanned)
            assert was.output.low_readings >= 1
            assert was.output.confirmed_s is not None
            assert event.t_sent_s >= was.output.confirmed_s
            (current,) = [one for one in event.readings if one.channel == setup.supplies[name].current]
            assert current.quality is Quality.GOOD
            assert current.value is not None
            assert current.value < setup.supplies[name].off_threshold_a
        stood = was.operation.state if was.operation is not None else State.IDLE
        stands = now.operation.state if now.operation is not None else State.IDLE
        if stands is not stood and stands in OVER | {State.HELD}:
            assert now.output.proven_off


TwoSupplies.TestCase.settings = settings(max_examples=150, stateful_step_count=50, derandomize=True, deadline=None)
TestTwoSupplies = TwoSupplies.TestCase
