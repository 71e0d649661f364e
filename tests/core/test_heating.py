"""Heating: asked for by a person, held by two-position control, off on any doubt, and brought back by nobody else."""

from __future__ import annotations

from dataclasses import replace

import pytest

from supervisor.core import heating
from supervisor.core.actions import Note, Switch
from supervisor.core.alarms import AlarmState
from supervisor.core.effects import Also, Interlock
from supervisor.core.events import Ending, Quality, Reading, RequestKind, Scanned, Started, Switched
from supervisor.core.line import Step
from supervisor.core.setup import ContactSetup, HeartbeatSetup
from supervisor.core.switches import SAFE_WITHIN_S
from supervisor.core.two_position import tell
from supervisor.core.work import Work
from supervisor.records.codec import decode_state, encode_state
from tests.core import run_ups
from tests.core.heated import HEATING, HeatedBench, aired_setup, heated_setup, watched
from tests.core.kit import of_kind

COLD: frozenset[Also] = frozenset({"heater off"})


def bench(**changes: object) -> HeatedBench:
    return HeatedBench(heated_setup(replace(HEATING, **changes)))  # type: ignore[arg-type]


def seal(made: HeatedBench, temperature_c: float) -> None:
    made.bath_c["seal"] = temperature_c
    made.later(0.1)
    made.scan()


# -- asked for by a person, and by nothing else


def test_nothing_heats_before_a_person_asks() -> None:
    made = bench().ready()
    made.run(600.0)
    assert not any(made.told("seal-heater"))


def test_a_request_heats_a_cool_tank_whose_level_is_proven() -> None:
    made = bench().ready()
    assert made.heat().ok
    assert made.on("seal-heater")
    assert [note.subject for note in made.named(Note) if note.kind == "tank"] == ["seal"]


def test_after_a_start_of_the_service_the_demand_is_gone() -> None:
    made = bench().heating()
    made.give(Started(made.at, "boot", "1", "hash", False))
    made.run(60.0)
    assert not made.demanded
    assert not made.on("seal-heater")
    assert made.heat().ok


def test_a_state_with_a_demand_reads_back_as_it_was_written_and_one_from_before_heating_reads_too() -> None:
    state = bench().heating().line.state
    text = encode_state(state)
    assert decode_state(type(state), text) == state


def test_a_rest_has_the_heater_off_and_the_demand_gone() -> None:
    made = bench().heating()
    assert made.ask("rest", tank="seal").ok
    assert not made.on("seal-heater")
    made.run(120.0)
    assert not made.on("seal-heater")


def test_a_rest_between_two_heats_ends_the_demand() -> None:
    made = bench().heating()
    seal(made, 92.0)
    made.run(30.0)
    assert not made.on("seal-heater")
    made.ask("rest", tank="seal")
    seal(made, 80.0)
    made.run(60.0)
    assert not made.on("seal-heater")


def test_a_rest_sends_off_even_where_it_was_off() -> None:
    made = bench().ready()
    before = len(made.told("seal-heater"))
    made.ask("rest", tank="seal")
    assert made.told("seal-heater")[before:] == [False]


def test_off_for_the_line_takes_the_demand_along_even_between_two_heats() -> None:
    made = bench().heating()
    seal(made, 92.0)
    made.run(30.0)
    assert not made.on("seal-heater")
    assert made.ask("off").ok
    seal(made, 80.0)
    made.run(120.0)
    assert not made.demanded
    assert not made.on("seal-heater")


def test_off_for_one_supply_leaves_the_heater() -> None:
    made = bench().heating()
    assert made.ask("off", supply="main").ok
    assert made.on("seal-heater")


def test_heat_and_rest_of_one_moment_end_in_rest_whichever_comes_first() -> None:
    orders: tuple[tuple[RequestKind, ...], ...] = (("heat", "rest"), ("rest", "heat"))
    for order in orders:
        made = bench().ready()
        for what in order:
            made.ask(what, tank="seal")
        made.run(60.0)
        assert not made.on("seal-heater"), order
        assert not made.demanded, order


@pytest.mark.parametrize(
    ("tank", "told"),
    [
        ("main-acid", "tank: main-acid has no heater in the line file; heated tanks of this line: seal."),
        ("seel", "tank: there is no tank seel. Did you mean seal?"),
    ],
)
def test_heat_for_a_tank_that_cannot_be_heated_is_refused(tank: str, told: str) -> None:
    made = bench().ready()
    assert made.ask("heat", tank=tank).reasons == (told,)
    assert made.ask("rest", tank=tank).reasons == (told,)


def test_a_tank_need_not_be_named_where_only_one_is_heated() -> None:
    assert bench().ready().ask("heat").ok


# -- what must be true


def test_a_refusal_gives_every_reason() -> None:
    made = bench()
    made.bath_c["seal"] = 98.0
    made.level = False
    made.start_service()
    made.run(5.0)
    names = [reason.split(":")[0] for reason in made.heat().reasons]
    assert names == ["bath in band", "level proven", "level moved", "no trip"]


def test_a_tank_without_a_good_temperature_is_not_heated() -> None:
    made = bench().ready()
    made.temperature(None, tank="seal", quality=Quality.ABSENT)
    assert made.heat().reasons == ("temperature known: no good temperature from seal.",)


def test_a_refusal_ends_an_earlier_demand_too_so_that_refused_means_not_heated() -> None:
    made = bench().heating()
    made.temperature(None, tank="seal", quality=Quality.ABSENT)
    assert made.demanded
    assert not made.heat().ok
    made.run(60.0)
    assert not made.on("seal-heater")


def test_a_float_that_was_never_seen_to_move_proves_nothing() -> None:
    made = bench()
    made.bath_c["seal"] = 20.0
    made.start_service()
    (reason,) = made.heat().reasons
    assert reason.startswith("level moved: seal-level")
    assert "by hand" in reason
    made.move_float()
    assert made.heat().ok


def test_a_tank_that_was_filled_anew_must_show_its_float_moving_again() -> None:
    made = bench().heating()
    assert made.ask("filled", tank="seal").ok
    assert not made.on("seal-heater")
    assert made.heat().reasons[0].startswith("level moved:")
    made.move_float()
    made.run(31.0)
    assert not made.on("seal-heater")
    assert made.heat().ok


def test_filled_is_taken_for_a_tank_without_a_heater_too() -> None:
    assert bench().ready().ask("filled", tank="main-acid").ok


def test_a_line_file_that_says_why_heats_without_a_level() -> None:
    made = bench(level="")
    made.bath_c["seal"] = 20.0
    made.start_service()
    assert made.heat().ok


def test_while_only_watching_nothing_is_heated() -> None:
    made = bench()
    made.start_service(watch_only=True)
    made.move_float()
    assert any(reason.startswith("watching only:") for reason in made.heat().reasons)
    made.run(60.0)
    assert not any(made.told("seal-heater"))


def test_once_told_to_end_the_heater_stays_off() -> None:
    made = bench().heating()
    step = made.give(Ending(made.at))
    assert [action.on for action in of_kind(step, Switch) if action.output == "seal-heater"] == [False]
    made.run(60.0)
    assert not made.on("seal-heater")


def test_a_heater_that_has_not_confirmed_off_is_not_switched_on() -> None:
    made = bench()
    made.deaf = {"seal-heater"}
    made.ready()
    assert made.heat().reasons == ("heater answers: seal-heater has not confirmed yet that it is off.",)
    assert made.alarm("seal-heater/urgent-switch-failed") is AlarmState.UNACKNOWLEDGED


def test_a_cause_that_counts_with_current_alone_does_not_stand_against_heat_without_it() -> None:
    setup = aired_setup()
    lost = replace(setup.interlocks["ventilation-lost"], also=COLD)
    made = HeatedBench(replace(setup, interlocks={**setup.interlocks, "ventilation-lost": lost})).ready()
    assert made.alarm("air/ventilation-lost") is AlarmState.SUPPRESSED
    assert made.heat().ok


# -- two positions


def test_it_is_off_above_the_band_and_on_again_below_it() -> None:
    made = bench().heating()
    for temperature_c, on in ((90.9, True), (91.1, False), (89.1, False), (88.9, True)):
        seal(made, temperature_c)
        made.run(31.0)
        assert made.on("seal-heater") is on, temperature_c


def test_it_stays_on_for_its_least_time_above_the_band_and_off_for_its_least_time_below() -> None:
    made = bench().ready()
    made.heat()
    seal(made, 91.5)
    made.run(19.0)
    assert made.on("seal-heater")
    made.run(1.5)
    assert not made.on("seal-heater")
    seal(made, 80.0)
    made.run(28.0)
    assert not made.on("seal-heater")
    made.run(2.0)
    assert made.on("seal-heater")


def test_the_end_of_a_least_time_an_on_without_answer_and_the_end_of_attendance_wake_the_line() -> None:
    made = bench(attended_s=60.0).ready()
    made.deaf = {"seal-heater"}
    made.heat()
    wake = made.line._wakes["bath seal"]
    assert (wake.process_s, wake.wire_s) == (made.now_s + 20.0, made.now_s + SAFE_WITHIN_S)
    made.later(SAFE_WITHIN_S)
    made.wake_up()
    assert not made.on("seal-heater")
    made = bench(attended_s=60.0).ready()
    made.heat()
    asked_s = made.now_s
    made.run(25.0)
    assert made.line._wakes["bath seal"].process_s == asked_s + 60.0


def test_a_bath_at_its_upper_limit_has_the_heater_off_whatever_the_least_time() -> None:
    made = bench().ready()
    made.heat()
    seal(made, 97.0)
    assert not made.on("seal-heater")
    assert made.demanded


def test_a_temperature_that_is_not_good_has_the_heater_off_at_once() -> None:
    made = bench().ready()
    made.heat()
    made.temperature(None, tank="seal", quality=Quality.MALFORMED)
    assert not made.on("seal-heater")
    made.run(28.0)
    assert not made.on("seal-heater")
    made.run(3.0)
    assert made.on("seal-heater")


def test_a_level_that_opens_has_the_heater_off_before_its_alarm_is_told() -> None:
    made = bench().heating()
    made.level = False
    made.later(0.1)
    made.scan()
    assert not made.on("seal-heater")
    assert made.alarm("seal-level/level-low") is AlarmState.NORMAL


def test_a_level_that_stays_low_ends_the_demand() -> None:
    made = bench().heating()
    made.level = False
    made.run(6.0)
    assert made.alarm("seal-level/level-low") is AlarmState.UNACKNOWLEDGED
    made.level = True
    made.run(2.0)
    (reason,) = made.heat().reasons
    assert reason == "no trip: seal-level/level-low waits for a reset (alarms reset seal-level/level-low)."
    assert made.ask("alarm reset", alarm="seal-level/level-low").ok
    made.run(60.0)
    assert not made.on("seal-heater")
    assert made.heat().ok


# -- on the wire


def test_an_on_that_is_not_confirmed_is_told_off_and_tried_again_later() -> None:
    made = bench().ready()
    made.deaf = {"seal-heater"}
    made.heat()
    made.run(SAFE_WITHIN_S - 0.5)
    assert made.told("seal-heater")[-1] is True
    made.run(1.0)
    assert made.told("seal-heater")[-1] is False
    made.deaf = set()
    made.run(32.0)
    assert made.told("seal-heater")[-1] is True
    assert made.told("seal-heater").count(True) == 2


def test_an_off_that_is_not_confirmed_is_told() -> None:
    made = bench().heating()
    made.deaf = {"seal-heater"}
    made.ask("rest", tank="seal")
    made.run(SAFE_WITHIN_S + 0.5)
    assert made.alarm("seal-heater/urgent-switch-failed") is AlarmState.UNACKNOWLEDGED


def test_a_word_on_an_earlier_on_confirms_nothing_after_an_off() -> None:
    made = bench().heating()
    on = made.named(Switch)[-1]
    made.deaf = {"seal-heater"}
    made.ask("rest", tank="seal")
    made.give(Switched(made.at, "seal-heater", True, on.number, True, made.now_s, made.now_s))
    assert made.line.state.outputs["seal-heater"].confirmed_s is None
    assert not made.on("seal-heater")


def boarded() -> HeatedBench:
    """The heater hangs on a board with a heartbeat."""
    setup = heated_setup()
    board = replace(setup.outputs["seal-heater"], device="board")
    beat = replace(setup.channels["seal-level"], name="board-heartbeat", device="board", unit="s", high=1e9)
    beating = replace(
        setup,
        outputs={**setup.outputs, "seal-heater": board},
        channels={**setup.channels, "board-heartbeat": beat},
        heartbeats={"board": HeartbeatSetup("board", "board-heartbeat", 3.0, ())},
    )
    return HeatedBench(beating).heating()


@pytest.mark.parametrize("resting", [False, True])
def test_a_heater_whose_board_began_anew_waits_for_a_person(resting: bool) -> None:
    made = boarded()
    if resting:
        seal(made, 92.0)
        made.run(30.0)
    made.board_began_s = made.now_s
    made.run(1.0)
    assert not made.demanded
    made.bath_c["seal"] = 20.0
    made.run(60.0)
    assert not made.on("seal-heater")
    assert made.alarm("board/heartbeat-lost") is not AlarmState.NORMAL


def test_a_heater_whose_board_is_silent_is_told_off() -> None:
    made = boarded()
    made.silent = {"board"}
    made.run(4.0)
    assert not made.on("seal-heater")
    assert not made.demanded


def test_a_tank_whose_heaters_device_is_not_heard_is_not_heated() -> None:
    made = HeatedBench(watched(heated_setup(), "relays", "air")).ready()
    (reason,) = made.heat().reasons
    assert reason.startswith("no trip: relays/communication-lost stands.")


def test_a_heater_switched_by_anything_but_its_control_is_no_longer_heated() -> None:
    made = bench().heating()
    work = Work(made.setup, made.line.state, made.at)
    tell(work, "seal-heater", on=False)
    made.line.state = work.state
    made.run(60.0)
    assert not made.demanded


def test_a_device_that_shows_the_level_and_is_lost_ends_the_demand() -> None:
    made = HeatedBench(watched(heated_setup(), "inputs", "seal-level"))
    made.heating()
    made.silent = {"inputs"}
    made.run(6.0)
    assert made.alarm("seal-level/level-low") is AlarmState.NORMAL
    assert made.alarm("inputs/communication-lost") is AlarmState.UNACKNOWLEDGED
    made.silent = set()
    made.run(60.0)
    assert not made.demanded
    assert not made.on("seal-heater")


# -- nobody there


def test_nothing_heats_for_longer_than_somebody_was_there() -> None:
    made = bench(attended_s=60.0).heating()
    made.run(58.0)
    assert made.on("seal-heater")
    made.run(2.0)
    assert not made.on("seal-heater")
    assert not made.demanded
    assert made.alarm("seal/heating-unattended") is AlarmState.UNACKNOWLEDGED


def test_after_a_start_of_the_service_nothing_was_left_unattended() -> None:
    made = bench(attended_s=60.0).heating()
    made.run(62.0)
    made.give(Started(made.at, "boot", "1", "hash", False))
    assert made.alarm("seal/heating-unattended") is AlarmState.RETURNED_UNACKNOWLEDGED


def test_any_request_shows_that_somebody_is_there() -> None:
    made = bench(attended_s=60.0).heating()
    made.run(50.0)
    made.ask("alarm test")
    made.run(50.0)
    assert made.on("seal-heater")


def test_the_end_of_attendance_wakes_the_line_and_a_person_brings_back_the_alarm_but_not_the_heat() -> None:
    made = bench(attended_s=60.0).heating()
    asked_s = made.now_s - 0.4
    made.run(0.1)
    assert made.wake.process_s is not None
    made.now_s = asked_s + 60.0
    made.wake_up()
    assert not made.on("seal-heater")
    made.ask("alarm acknowledge", alarm="seal/heating-unattended")
    assert made.alarm("seal/heating-unattended") is AlarmState.NORMAL
    made.run(60.0)
    assert not made.on("seal-heater")


def test_a_line_file_that_says_so_heats_unattended() -> None:
    made = bench(attended_s=None).heating()
    for hour in range(1, 9):
        made.now_s += 3600.0
        seal(made, 80.0)
        made.move_float()
        made.run(31.0)
        assert made.demanded, hour
    assert made.alarm("seal/heating-unattended") is AlarmState.NORMAL


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
