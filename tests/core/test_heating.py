"""Heating: asked for by a person, where a level is proven and a temperature good, and brought back by nobody else."""

from __future__ import annotations

from dataclasses import replace

import pytest

from supervisor.core.actions import Note, Switch
from supervisor.core.alarms import AlarmState
from supervisor.core.effects import Also
from supervisor.core.events import Ending, Quality, RequestKind, Started
from supervisor.records.codec import decode_state, encode_state
from tests.core.heated import HeatedBench, aired_setup, bench, seal
from tests.core.kit import of_kind

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
    lost = replace(setup.interlocks["ventilation-lost"], also=frozenset[Also]({"heater off"}))
    made = HeatedBench(replace(setup, interlocks={**setup.interlocks, "ventilation-lost": lost})).ready()
    assert made.alarm("air/ventilation-lost") is AlarmState.SUPPRESSED
    assert made.heat().ok
