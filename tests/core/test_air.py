"""Fans and agitation that rest while nothing runs: on before current, with an operation, and for minutes after it."""

from __future__ import annotations

from dataclasses import replace

from supervisor.core.actions import Note
from supervisor.core.anodize import State
from supervisor.core.events import Ending
from supervisor.core.setup import ContactSetup, VentilationSetup
from supervisor.core.switches import SAFE_WITHIN_S
from tests.core.heated import HeatedBench, aired_setup
from tests.core.plain import patient

RESTING = ("fan", "blower", "seal-blower")


def bench(*, air_moves: bool = True) -> HeatedBench:
    made = HeatedBench(patient(aired_setup()), air_moves=air_moves)
    made.start_service()
    return made


def aired() -> HeatedBench:
    """The air was asked for by a first start and is proven by now."""
    made = bench()
    assert not made.start().ok
    made.run(31.0)
    return made


def test_a_fan_that_rests_is_off_until_a_start_is_asked_for() -> None:
    made = bench()
    made.run(60.0)
    assert [made.on(name) for name in RESTING] == [False, False, False]


def test_a_fan_whose_safe_state_is_on_is_always_on() -> None:
    made = bench()
    made.run(60.0)
    assert made.on("exhaust")
    assert set(made.told("exhaust")) == {True}


def test_a_start_refused_for_want_of_air_switches_it_on_and_the_second_one_finds_it() -> None:
    made = bench()
    reason, *_ = made.start().reasons
    assert reason.startswith("air proven: air shows no moving air")
    assert [made.on(name) for name in RESTING] == [True, True, False]
    assert {note.subject for note in made.named(Note) if note.kind == "output"} == {"fan", "blower"}
    made.run(10.0)
    (reason,) = made.start().reasons
    assert reason.startswith("ventilation proven: air must show moving air for 2")
    made.run(21.0)
    assert made.start().ok


def test_a_start_refused_for_another_reason_alone_switches_nothing() -> None:
    made = aired()
    made.run(300.0)
    made.ask("off")
    assert not made.on("fan")
    made.draught = True
    made.run(31.0)
    made.temperature(22.5)
    answer = made.start()
    assert [reason.split(":")[0] for reason in answer.reasons] == ["bath in band"]
    assert not made.on("fan")


def test_a_start_refused_for_a_contact_that_proves_no_air_switches_nothing() -> None:
    setup = aired_setup()
    shut = replace(setup.channels["air"], name="guard")
    guard = ContactSetup("guard", "guard", "guard")
    made = HeatedBench(
        replace(setup, channels={**setup.channels, "guard": shut}, contacts={**setup.contacts, "guard": guard})
    )
    made.draught = True
    made.start_service()
    made.run(31.0)
    assert made.start().reasons[0].startswith("guard shut:")
    assert not made.on("fan")


def test_air_that_need_not_go_on_afterwards_is_on_with_a_load_all_the_same() -> None:
    setup = aired_setup()
    made = HeatedBench(
        replace(
            setup,
            ventilation=VentilationSetup(0.0, 0.0),
            contacts={name: contact for name, contact in setup.contacts.items() if name != "air"},
        )
    )
    made.start_service()
    assert made.start().ok
    made.run(1.0)
    assert made.on("fan")


def test_the_end_of_the_minutes_afterwards_wakes_the_line() -> None:
    made = bench()
    made.start()
    assert made.line._wakes["air"].process_s == made.now_s + 300.0


def test_air_nobody_came_back_for_rests_again() -> None:
    made = bench()
    made.start()
    made.run(298.0)
    assert made.on("fan")
    made.run(3.0)
    assert not made.on("fan")


def test_air_stays_on_with_a_load_held_or_running_and_for_minutes_after_it() -> None:
    made = aired()
    assert made.start(target_um=20.0).ok
    made.run(13.0)
    made.ask("hold")
    made.run(400.0)
    assert made.stands() is State.HELD
    assert [made.on(name) for name in RESTING] == [True, True, False]
    made.ask("stop")
    made.run(290.0)
    assert made.stands() is State.STOPPED
    assert made.on("fan")
    made.run(15.0)
    assert [made.on(name) for name in RESTING] == [False, False, False]


def test_a_fan_that_does_not_confirm_is_told_again() -> None:
    made = bench()
    made.deaf = {"fan"}
    made.start()
    made.run(2 * SAFE_WITHIN_S + 0.5)
    assert made.told("fan").count(True) == 3
    assert made.told("blower").count(True) == 1  # it answered


def test_a_fan_that_confirmed_is_told_every_half_minute_for_its_board_may_have_let_it_go() -> None:
    made = bench()
    made.start()
    made.run(95.0)
    assert made.told("fan").count(True) == 4


def test_while_only_watching_nothing_moves() -> None:
    made = HeatedBench(patient(aired_setup()), air_moves=True)
    made.start_service(watch_only=True)
    made.start()
    made.run(5.0)
    assert not any(True in made.told(name) for name in RESTING)
    assert not [note for note in made.named(Note) if note.kind == "output"]


def test_once_told_to_end_a_resting_fan_stays_off() -> None:
    made = aired()
    assert made.start().ok
    made.give(Ending(made.at))
    made.run(5.0)
    assert made.told("fan")[-1] is False
