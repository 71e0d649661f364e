"""A remote supply behind a contactor, one with knobs, a heartbeat over both, under random events."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import strategies as st
from hypothesis.stateful import rule

from supervisor.core.actions import Action, Answer, Switch
from supervisor.core.events import Event, Order, Quality, Reading, Request, Scanned, Started, Switched
from supervisor.core.line import Step
from supervisor.core.setup import Accuracy, ChannelSetup, ContactSetup, HeartbeatSetup, LineSetup, OutputSetup
from supervisor.core.state import LineState
from tests.core.plain import line_setup
from tests.exploration.machine import AS_LONG, NAMES, QUALITIES, Machine, Wired

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


class Fitted(Machine):
    """The same persons, wires and clocks, with contactors, their contacts and a board that may begin anew."""

    SETUP = fitted()

    def __init__(self) -> None:
        super().__init__()
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
        self.step(self.request("release" if release else "exercise", output=output))

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

    def step(self, event: Event) -> Step:
        before = self.line.state
        step = super().step(event)
        nothing_goes_to_a_supply_that_has_no_wire(step.actions)
        a_try_is_over_in_time_and_only_while_watching(before, self.line.state, event, step.actions)
        self.switching += [action for action in step.actions if isinstance(action, Switch)]
        self.note_what_was_told(event, step.actions)
        a_state_is_confirmed_by_a_word_on_what_was_told(before, self.line.state, event, self.first)
        return step

    def note_what_was_told(self, event: Event, actions: tuple[Action, ...]) -> None:
        """Keep the number of the first command of what each output is told now."""
        if isinstance(event, Started):
            self.first.clear()
        for action in actions:
            if isinstance(action, Switch) and self.first.get(action.output, (None, 0))[0] is not action.on:
                self.first[action.output] = (action.on, action.number)


def nothing_goes_to_a_supply_that_has_no_wire(actions: tuple[Action, ...]) -> None:
    assert not [action for action in actions if isinstance(action, Wired) and action.supply == "side"]


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


def a_state_is_confirmed_by_a_word_on_what_was_told(
    before: LineState, after: LineState, event: Event, first: dict[str, tuple[bool, int]]
) -> None:
    """R4 by what was really told, not by what the core remembers of it."""
    for name, state in after.outputs.items():
        was = before.outputs.get(name)
        if state.confirmed_s is None or (was is not None and was.confirmed_s == state.confirmed_s):
            continue
        assert isinstance(event, Switched)
        assert (event.output, event.on, event.ok) == (name, state.on, True)
        assert event.number >= first[name][1]


Fitted.TestCase.settings = AS_LONG
TestFitted = Fitted.TestCase
