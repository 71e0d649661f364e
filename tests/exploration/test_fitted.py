"""A remote supply behind a contactor, one with knobs, a heartbeat over both, under random events: R1-R3, R7, R9."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import rule

from supervisor.core.actions import Action, Answer, Record, SetPoints, Switch, SwitchOff, SwitchOn
from supervisor.core.anodize import OVER, State
from supervisor.core.contactor import CLOSES_WITHIN_S
from supervisor.core.effects import Effect
from supervisor.core.events import (
    Event,
    Order,
    Quality,
    Reading,
    Recorded,
    Request,
    RequestKind,
    Scanned,
    Started,
    Switched,
)
from supervisor.core.line import Line
from supervisor.core.permissives import failing
from supervisor.core.setup import Accuracy, ChannelSetup, ContactSetup, HeartbeatSetup, LineSetup, OutputSetup
from supervisor.core.state import LineState
from supervisor.records.codec import encode_actions, encode_state
from tests.core.kit import line_setup
from tests.exploration.test_core import NAMES, QUALITIES, TwoSupplies, Wired, set_points_keep_their_limits

OUTPUTS = st.sampled_from(["main-contactor", "side-contactor", "fan"])


def fitted() -> LineSetup:
    """Main is remote, side has knobs; each has a contactor with its auxiliary contact, and both hang on the board."""
    plain, exact = line_setup(2), Accuracy(0.0, 0.0)
    shut = {
        f"{name}-shut": ChannelSetup(f"{name}-shut", "relays", f"{name}-in", "", 0.0, 1.0, exact, 0.4, 3.0)
        for name in ("main", "side")
    }
    beat = ChannelSetup("board-heartbeat", "board", "heartbeat", "s", 0.0, 1e9, exact, 0.4, 3.0)
    side = replace(
        plain.supplies["side"], control="contactor", output="", output_state="", mode="", set_current="", set_voltage=""
    )
    supplies = {"main": plain.supplies["main"], "side": side}
    return replace(
        plain,
        channels={**plain.channels, **shut, "board-heartbeat": beat},
        supplies={name: replace(of, contactor=f"{name}-contactor") for name, of in supplies.items()},
        outputs={
            "main-output": plain.outputs["main-output"],
            **{
                f"{name}-contactor": OutputSetup(
                    f"{name}-contactor",
                    "contactor",
                    False,
                    "relays",
                    f"{name}-k",
                    auxiliary=f"{name}-shut",
                )
                for name in supplies
            },
            "fan": OutputSetup("fan", "fan", safe_on=True, device="board", point="fan"),
        },
        contacts={name: ContactSetup(name, "auxiliary contact", name) for name in shut},
        heartbeats={"board": HeartbeatSetup("board", "board-heartbeat", 2.0, ("main", "side"))},
    )


class Fitted(TwoSupplies):
    """The same persons, wires and clocks, with contactors, their contacts and a board that may begin anew."""

    def __init__(self) -> None:
        super().__init__()
        self.setup = fitted()
        self.line = Line(self.setup)
        self.switching: list[Switch] = []
        self.first: dict[str, tuple[bool, int]] = {}
        self.beats_s = 0.0

    # -- what may happen besides

    @rule(name=NAMES, closed=st.booleans(), quality=QUALITIES, late_s=st.sampled_from([0.0, 0.0, 0.05, 2.0]))
    def a_contact_is_read(self, name: str, closed: bool, quality: Quality, late_s: float) -> None:
        at_s = self.process_s - late_s
        reading = Reading(f"{name}-shut", quality, float(closed))
        self.step(Scanned(self.at, "relays", at_s - 0.01, at_s, (reading,)))

    @rule(anew=st.sampled_from([False, False, False, True]), quality=QUALITIES)
    def the_board_beats(self, anew: bool, quality: Quality) -> None:
        self.beats_s = 0.1 if anew else self.beats_s + 0.5
        reading = Reading("board-heartbeat", quality, self.beats_s)
        self.step(Scanned(self.at, "board", self.process_s, self.process_s, (reading,)))

    @rule(name=NAMES, wire_s=st.sampled_from([0.5, 2.1]))
    def a_contactor_takes_its_time(self, name: str, wire_s: float) -> None:
        """And nothing is heard meanwhile, nor is the line woken on time."""
        self.all_is_well(name)
        self.all_alarms_are_reset(name)
        self.ask("reset", name, None)
        self.ask("start", name, Order(0.013, 5.0, ramp_s=0.2), recorded=True)
        for action in tuple(self.switching):
            self.switching.remove(action)
            self.switched(action, ok=True)
        self.process_s += 0.1
        self.wire_s += wire_s
        self.a_contact_is_read(name, closed=True, quality=Quality.GOOD, late_s=0.0)

    @rule(which=st.integers(0, 3), ok=st.booleans())
    def a_switch_command_ends(self, which: int, ok: bool) -> None:
        if len(self.switching) > which:
            self.switched(self.switching.pop(which), ok=ok)

    @rule(output=OUTPUTS, on=st.booleans())
    def a_switch_command_nobody_sent_ends(self, output: str, on: bool) -> None:
        if not any(one.output == output for one in self.switching):
            self.step(Switched(self.at, output, not self.line.state.outputs[output].on, 9999, True, 0.0, 0.0))

    @rule(output=OUTPUTS, release=st.booleans())
    def an_output_is_tried(self, output: str, release: bool) -> None:
        self.asked += 1
        what: RequestKind = "release" if release else "exercise"
        request = Request(
            self.at, f"r{self.asked}", self.wire_s, self.wire_s + 5.0, "socket", "mara", what, output=output,
            confirmed=True,
        )  # fmt: skip
        self.step(request)

    @rule(name=NAMES)
    def knobs_are_confirmed(self, name: str) -> None:
        self.ask("confirm", name, None)

    # -- how it is done

    def all_is_well(self, name: str) -> None:
        """Besides what is well of a plain line: switches obey, contacts show it, the board beats."""
        self.the_board_beats(anew=False, quality=Quality.GOOD)
        for action in tuple(self.switching):
            self.switching.remove(action)
            self.switched(action, ok=True)
        self.process_s += 0.1
        contactor = self.line.state.outputs.get(f"{name}-contactor")
        self.a_contact_is_read(name, contactor is not None and contactor.on, Quality.GOOD, 0.0)
        super().all_is_well(name)

    def switched(self, action: Switch, *, ok: bool) -> None:
        self.step(
            Switched(
                self.at, action.output, action.on, action.number, ok, self.process_s, self.process_s, "" if ok else "no"
            )
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
        self.step(
            Request(
                self.at, f"r{self.asked}", self.wire_s, self.wire_s + 5.0, "socket", "mara", what, name, alarm, order,
                confirmed=True,
            )
        )  # fmt: skip
        if recorded and self.intents:
            self.step(Recorded(self.at, self.intents[-1]))

    def step(self, event: Event) -> None:
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
            elif isinstance(action, Switch):
                self.switching.append(action)
            elif isinstance(action, Record):
                self.intents.append(action.intent)
        nothing_goes_to_a_supply_that_has_no_wire(actions)
        a_contactor_closes_only_for_a_durable_intent(self.setup, before, event, actions)
        on_follows_a_contactor_that_is_seen_closed(self.setup, before, after, event, actions)
        current_ends_in_the_step_that_decides_it(before, after, actions)
        every_output_is_sent_its_safe_state_at_the_start(self.setup, event, actions)
        no_trip_stands_over_current(self.setup, after)
        set_points_keep_their_limits(self.setup, after, actions)
        off_is_proven_by_good_low_readings_alone(self.setup, before, after, event)
        a_try_is_over_in_time_and_only_while_watching(before, after, event, actions)
        nothing_is_switched_on_and_off_in_one_step(actions)
        self.note_what_was_told(event, actions)
        a_state_is_confirmed_by_a_good_word_on_its_own_command_alone(before, after, event, self.first)

    def note_what_was_told(self, event: Event, actions: tuple[Action, ...]) -> None:
        """Keep the number of the first command of what each output is told now."""
        if isinstance(event, Started):
            self.first.clear()
        for action in actions:
            if isinstance(action, Switch) and self.first.get(action.output, (None, 0))[0] is not action.on:
                self.first[action.output] = (action.on, action.number)


def nothing_is_switched_on_and_off_in_one_step(actions: tuple[Action, ...]) -> None:
    """R1: what ends current in a step is seen before that step switches on."""
    on = {action.supply for action in actions if isinstance(action, SwitchOn)}
    assert not on & {action.supply for action in actions if isinstance(action, SwitchOff)}


def nothing_goes_to_a_supply_that_has_no_wire(actions: tuple[Action, ...]) -> None:
    assert not [action for action in actions if isinstance(action, Wired) and action.supply == "side"]


def a_contactor_closes_only_for_a_durable_intent(
    setup: LineSetup, before: LineState, event: Event, actions: tuple[Action, ...]
) -> None:
    """R1, and for the supply with knobs its whole: closing its contactor is on."""
    for action in actions:
        if not isinstance(action, Switch) or not action.on or not action.output.endswith("-contactor"):
            continue
        if isinstance(event, Request):
            assert event.what == "exercise"
            continue
        name = action.output.removesuffix("-contactor")
        pending = before.supplies[name].pending
        assert isinstance(event, Recorded)
        assert pending is not None
        assert pending.intent == event.intent
        assert not failing(setup, before, name, pending.what, event.at.process_s)


def on_follows_a_contactor_that_is_seen_closed(
    setup: LineSetup, before: LineState, after: LineState, event: Event, actions: tuple[Action, ...]
) -> None:
    """R1 and R9: a good contact, sampled after the device confirmed, and every permissive once more."""
    for name, supply in before.supplies.items():
        operation = after.supplies[name].operation
        if supply.closing is not None and operation is not None and operation.ramp is not None:
            assert event.at.wire_s < supply.closing.since_wire_s + CLOSES_WITHIN_S
    for action in actions:
        if not isinstance(action, SwitchOn | SetPoints) or before.supplies["main"].closing is None:
            continue
        operation = before.supplies["main"].operation
        assert operation is not None
        assert operation.energised
        contactor, shut = after.outputs["main-contactor"], after.channels["main-shut"]
        assert contactor.on
        assert contactor.confirmed_s is not None
        assert shut.good_s is not None
        assert shut.good_s > contactor.confirmed_s
        assert shut.good_value >= 1
        as_it_was = replace(after.supplies["main"], output=before.supplies["main"].output)
        state = replace(after, supplies={**after.supplies, "main": as_it_was})
        assert not failing(setup, state, "main", "on", event.at.process_s)


def current_ends_in_the_step_that_decides_it(before: LineState, after: LineState, actions: tuple[Action, ...]) -> None:
    """R2 and R11."""
    for name in ("main", "side"):
        was, now = before.supplies[name].operation, after.supplies[name].operation
        if was is None or not was.energised or (now is not None and now.energised):
            continue
        if name == "main":
            assert any(isinstance(action, SwitchOff) and action.supply == name for action in actions)
        else:
            last = [action for action in actions if isinstance(action, Switch) and action.output == "side-contactor"]
            assert last
            assert not last[-1].on


def every_output_is_sent_its_safe_state_at_the_start(
    setup: LineSetup, event: Event, actions: tuple[Action, ...]
) -> None:
    """R3."""
    if not isinstance(event, Started):
        return
    told = [action for action in actions if isinstance(action, Switch)]
    assert {action.output for action in told} == {"main-contactor", "side-contactor", "fan"}
    assert all(action.on is setup.outputs[action.output].safe_on and action.safe for action in told)


def no_trip_stands_over_current(setup: LineSetup, after: LineState) -> None:
    """R2: what trips ends current, whatever the operation hangs on."""
    for alarm in after.alarms.values():
        for name, supply in after.supplies.items():
            if setup.interlocks[alarm.cause].effect > Effect.WARN and alarm.subject in setup.over_supply[name]:
                energised = supply.operation is not None and supply.operation.energised
                assert not (energised and (alarm.standing or alarm.latched)), alarm.name


def off_is_proven_by_good_low_readings_alone(
    setup: LineSetup, before: LineState, after: LineState, event: Event
) -> None:
    """R7: an open contactor alone proves nothing, and of knobs it must have opened first."""
    for name in ("main", "side"):
        was, now = before.supplies[name], after.supplies[name]
        if now.output.proven_off and not was.output.proven_off:
            assert isinstance(event, Scanned)
            (current,) = [one for one in event.readings if one.channel == setup.supplies[name].current]
            assert current.quality is Quality.GOOD
            assert current.value is not None
            assert abs(current.value) < setup.supplies[name].off_threshold_a
            assert was.output.confirmed_s is not None
            assert event.t_sent_s >= was.output.confirmed_s
        stood = was.operation.state if was.operation is not None else State.IDLE
        stands = now.operation.state if now.operation is not None else State.IDLE
        if stands is not stood and stands in OVER | {State.HELD}:
            assert now.output.proven_off


def a_try_is_over_in_time_and_only_while_watching(
    before: LineState, after: LineState, event: Event, actions: tuple[Action, ...]
) -> None:
    if after.exercise is not None:
        assert after.watch_only
        assert event.at.wire_s < after.exercise.until_wire_s
    if before.exercise is not None and after.exercise is None:
        told = [action for action in actions if isinstance(action, Switch) and action.output == before.exercise.output]
        assert told
        assert told[-1].safe
    if isinstance(event, Request) and event.what == "exercise":
        (answer,) = [action for action in actions if isinstance(action, Answer)]
        assert answer.ok is (after.exercise is not None and before.exercise is None)


def a_state_is_confirmed_by_a_good_word_on_its_own_command_alone(
    before: LineState, after: LineState, event: Event, first: dict[str, tuple[bool, int]]
) -> None:
    """R4: a word that is late, of an earlier command, confirms nothing."""
    for name, state in after.outputs.items():
        was = before.outputs.get(name)
        if state.confirmed_s is None or (was is not None and was.confirmed_s == state.confirmed_s):
            continue
        assert isinstance(event, Switched)
        assert (event.output, event.on, event.ok) == (name, state.on, True)
        assert event.number >= first[name][1]


Fitted.TestCase.settings = settings(max_examples=150, stateful_step_count=50, derandomize=True, deadline=None)
TestFitted = Fitted.TestCase
