"""The cut of a heater, which asks no control, and its trial by a person."""

from __future__ import annotations

from dataclasses import replace

import pytest

from supervisor.core import heating
from supervisor.core.actions import Switch
from supervisor.core.alarms import AlarmState
from supervisor.core.effects import Also, Interlock
from supervisor.core.events import Quality, Reading, Scanned
from supervisor.core.line import Step
from supervisor.core.setup import ContactSetup
from supervisor.core.two_position import tell
from supervisor.core.work import Work
from tests.core import run_ups
from tests.core.heated import HEATING, HeatedBench, bench, heated_setup
from tests.core.kit import of_kind

COLD: frozenset[Also] = frozenset({"heater off"})


# -- the cut


@pytest.fixture
def wilful(monkeypatch: pytest.MonkeyPatch) -> None:
    """A control gone wrong: it wants heat whatever there is."""

    def heats(work: Work, tank: str) -> tuple[list[float], list[float]]:
        heater = work.state.outputs["seal-heater"]
        if not heater.on and heater.asked_wire_s < work.at.wire_s:
            tell(work, "seal-heater", on=True)
        return [], []

    monkeypatch.setattr(heating, "settle", heats)
    monkeypatch.setattr(run_ups, "STOOD", {})


def cut_in(step: Step) -> list[bool]:
    return [action.on for action in of_kind(step, Switch) if action.output == "seal-heater"]


@pytest.mark.usefixtures("wilful")
def test_a_bath_far_too_hot_has_the_heater_off_in_the_same_step_whatever_the_control_wants() -> None:
    made = bench()
    made.bath_c["seal"] = 20.0
    made.start_service()
    assert made.on("seal-heater")
    step = made.temperature(99.0, tank="seal")
    assert cut_in(step)[-1] is False


@pytest.mark.usefixtures("wilful")
def test_a_temperature_or_a_level_that_is_lost_cuts_the_heater_whatever_the_control_wants() -> None:
    made = bench()
    made.bath_c["seal"] = 20.0
    made.start_service()
    made.silent = {"seal"}
    made.run(3.5)
    assert made.alarm("seal/temperature-lost") is AlarmState.UNACKNOWLEDGED
    assert not made.on("seal-heater")
    made = bench()
    made.bath_c["seal"] = 20.0
    made.start_service()
    made.level = False
    made.run(3.5)
    assert made.alarm("seal-level/level-low") is AlarmState.UNACKNOWLEDGED
    assert not made.on("seal-heater")


@pytest.mark.usefixtures("wilful")
def test_an_emergency_stop_of_the_line_cuts_the_heater_whatever_the_control_wants() -> None:
    setup = heated_setup()
    stop = ContactSetup("stop", "emergency stop", "seal-level")
    made = HeatedBench(replace(setup, contacts={"stop": stop}))
    made.bath_c["seal"] = 20.0
    made.start_service()
    assert made.on("seal-heater")
    made.later(0.1)
    opened = Reading("seal-level", Quality.GOOD, 0.0)
    step = made.give(Scanned(made.at, "inputs", made.now_s, made.now_s, (opened,)))
    assert made.alarm("stop/emergency-stop") is AlarmState.UNACKNOWLEDGED
    assert cut_in(step)[-1] is False


@pytest.mark.usefixtures("wilful")
def test_a_cause_of_another_tank_leaves_the_heater() -> None:
    made = bench()
    made.bath_c["seal"] = 20.0
    made.start_service()
    made.bath_c["main-acid"] = 30.0
    before = len(made.told("seal-heater"))
    made.run(1.0)
    assert made.alarm("main-acid/bath-high-high") is AlarmState.UNACKNOWLEDGED
    assert made.told("seal-heater")[before:] == []
    assert made.on("seal-heater")


@pytest.mark.usefixtures("wilful")
def test_a_cause_that_is_hidden_cuts_the_heater_all_the_same() -> None:
    made = bench()
    made.bath_c["seal"] = 20.0
    made.start_service()
    assert made.ask("alarm out of service", alarm="seal/bath-high-high", why="sensor on order").ok
    made.temperature(99.0, tank="seal")
    assert made.alarm("seal/bath-high-high") is AlarmState.OUT_OF_SERVICE
    assert not made.on("seal-heater")


@pytest.mark.usefixtures("wilful")
def test_a_cause_of_a_tanks_supply_cuts_its_heater_where_the_line_file_says_so() -> None:
    setup = heated_setup()
    seal_tank, acid = setup.tanks["seal"], setup.tanks["main-acid"]
    setup = replace(
        setup,
        tanks={
            "seal": replace(seal_tank, heating=None),
            "main-acid": replace(acid, heating=replace(HEATING, level="")),
        },
        interlocks={**setup.interlocks, "supply-absent": Interlock(setup.interlocks["supply-absent"].effect, COLD)},
    )
    assert "main" in setup.over_tank["main-acid"]
    made = HeatedBench(setup)
    made.start_service()
    work = Work(setup, made.line.state, made.at)
    tell(work, "seal-heater", on=True)
    made.line.state = work.state
    made.silent = {"main"}
    made.run(4.0)
    assert made.alarm("main/supply-absent") is not AlarmState.NORMAL
    assert not made.on("seal-heater")


# -- tried out


def watching() -> HeatedBench:
    made = bench()
    made.bath_c["seal"] = 20.0
    made.start_service(watch_only=True)
    return made


def test_a_heater_is_tried_out_and_its_control_leaves_it_alone() -> None:
    made = watching()
    assert made.ask("exercise", output="seal-heater").ok
    made.run(0.5)
    assert made.on("seal-heater")
    made.run(1.5)
    assert not made.on("seal-heater")


def test_a_heater_is_not_tried_out_while_a_cause_wants_it_off() -> None:
    made = watching()
    made.level = False
    made.run(4.0)
    answer = made.ask("exercise", output="seal-heater")
    assert answer.reasons == ("no trip: seal-level/level-low stands, and seal-heater is a heater.",)
    assert made.ask("exercise", output="chiller").ok


def test_a_trial_of_a_heater_ends_when_a_cause_wants_it_off() -> None:
    made = watching()
    assert made.ask("exercise", output="seal-heater").ok
    made.temperature(99.0, tank="seal")
    assert made.line.state.exercise is None
    assert not made.on("seal-heater")
