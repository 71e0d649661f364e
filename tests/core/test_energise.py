"""R1: on is commanded only with a durable intent and while every permissive holds at that moment."""

from __future__ import annotations

from dataclasses import replace

import pytest

from supervisor.core.actions import Answer, ArmTimeOut, Record, SetPoints, SwitchOff, SwitchOn
from supervisor.core.anodize import State
from supervisor.core.events import Order, Quality, Recorded, RequestKind
from tests.core.kit import Bench, of_kind
from tests.core.plain import line_setup


def ready() -> Bench:
    bench = Bench()
    bench.start_service()
    return bench


def refusal(bench: Bench) -> tuple[str, ...]:
    """The reasons of the newest answer, which must be a refusal."""
    answer = bench.named(Answer)[-1]
    assert not answer.ok
    return answer.reasons


def test_nothing_is_switched_on_before_the_intent_is_recorded() -> None:
    bench = ready()
    bench.pending()
    bench.run(0.9)
    assert not bench.named(SwitchOn)
    assert not bench.named(SetPoints)
    assert bench.stands() is State.IDLE


def test_recorded_in_time_switches_on_after_the_set_points() -> None:
    bench = ready()
    step = bench.give(Recorded(bench.at, bench.pending()))
    wired = [type(action) for action in step.actions if isinstance(action, SetPoints | SwitchOn | SwitchOff)]
    assert wired == [SetPoints, SwitchOn]
    assert bench.stands() is State.RUNNING


def test_the_intent_names_the_highest_set_points_of_the_whole_run() -> None:
    bench = Bench().running()
    record = bench.named(Record)[-1]
    highest = max(bench.named(SetPoints), key=lambda action: action.current_a)
    assert (record.highest_current_a, record.highest_voltage_v) == (highest.current_a, highest.voltage_v)


def test_an_intent_recorded_twice_switches_on_once() -> None:
    bench = ready()
    intent = bench.pending()
    bench.give(Recorded(bench.at, intent))
    step = bench.give(Recorded(bench.at, intent))
    assert len(bench.named(SwitchOn)) == 1
    assert not step.actions


def test_an_unknown_intent_does_nothing() -> None:
    bench = ready()
    bench.pending()
    step = bench.give(Recorded(bench.at, "nobody/asked"))
    assert not step.actions
    assert not bench.named(SwitchOn)


@pytest.mark.parametrize("late_s", [1.0, 1.5, 60.0])
def test_an_intent_recorded_after_one_second_is_refused(late_s: float) -> None:
    bench = ready()
    intent = bench.pending()
    bench.later(late_s)
    bench.give(Recorded(bench.at, intent))
    assert not bench.named(SwitchOn)
    assert "not durable within 1 s" in refusal(bench)[0]


def test_an_intent_never_recorded_is_refused_when_the_line_wakes_after_one_second() -> None:
    bench = ready()
    bench.pending()
    assert bench.wake.wire_s is not None
    bench.now_s = bench.wake.wire_s
    bench.wake_up()
    assert "not durable within 1 s" in refusal(bench)[0]
    assert bench.supply().pending is None


@pytest.mark.parametrize("what", ["hold", "stop", "abort", "off"])
def test_what_is_asked_against_it_meanwhile_withdraws_the_intent(what: RequestKind) -> None:
    bench = ready()
    intent = bench.pending()
    bench.ask(what)
    bench.give(Recorded(bench.at, intent))
    assert not bench.named(SwitchOn)
    refused = [answer for answer in bench.named(Answer) if not answer.ok]
    assert refused[0].reasons == (f"operation: {what} asked for by mara meanwhile.",)


def test_a_trip_between_request_and_record_refuses() -> None:
    bench = ready()
    intent = bench.pending()
    bench.later(0.1)
    bench.temperature(25.0)
    bench.give(Recorded(bench.at, intent))
    assert not bench.named(SwitchOn)
    assert any("bath-high-high stands" in reason for reason in refusal(bench))


def test_a_trip_that_came_and_went_between_request_and_record_refuses() -> None:
    bench = ready()
    intent = bench.pending()
    for value in (25.0, 20.5):
        bench.later(0.1)
        bench.temperature(value)
    bench.give(Recorded(bench.at, intent))
    assert not bench.named(SwitchOn)
    assert any("waits for a reset" in reason for reason in refusal(bench))


def test_a_temperature_gone_bad_between_request_and_record_refuses() -> None:
    bench = ready()
    intent = bench.pending()
    bench.later(0.1)
    bench.temperature(None, quality=Quality.ABSENT)
    bench.give(Recorded(bench.at, intent))
    assert not bench.named(SwitchOn)
    assert "no good temperature" in refusal(bench)[0]


def test_a_current_gone_bad_between_request_and_record_refuses() -> None:
    bench = ready()
    intent = bench.pending()
    bench.later(0.1)
    bench.current(None, quality=Quality.NO_ANSWER)
    bench.give(Recorded(bench.at, intent))
    assert not bench.named(SwitchOn)
    assert "supply answers" in refusal(bench)[0]


def test_current_seen_between_request_and_record_refuses() -> None:
    bench = ready()
    intent = bench.pending()
    bench.later(0.1)
    bench.current(0.5)
    bench.give(Recorded(bench.at, intent))
    assert not bench.named(SwitchOn)
    assert any("not proven off" in reason for reason in refusal(bench))


def test_a_restart_needs_an_intent_of_its_own() -> None:
    bench = Bench().running()
    bench.ask("hold")
    bench.run(1.0)
    first = bench.named(Record)[-1].intent
    bench.keeps_records = False
    bench.give(bench.request("restart"))
    switched = len(bench.named(SwitchOn))
    bench.give(Recorded(bench.at, first))
    assert len(bench.named(SwitchOn)) == switched
    bench.give(Recorded(bench.at, bench.named(Record)[-1].intent))
    assert len(bench.named(SwitchOn)) == switched + 1
    assert bench.stands() is State.RESTARTING


def test_a_second_start_while_one_is_on_its_way_is_refused() -> None:
    bench = ready()
    bench.pending()
    bench.give(bench.request("start", order=Order(0.013, 1.0)))
    assert "operation: another start or restart is on its way." in refusal(bench)
    assert len(bench.named(Record)) == 1


def test_one_load_is_promised_to_one_supply_alone() -> None:
    bench = two_ready()
    bench.keeps_records = False
    for name in ("main", "side"):
        bench.give(bench.request("start", supply=name, order=Order(0.013, 1.0, load="hinges")))
    assert refusal(bench) == ("load: a start of hinges is on its way; give the new one another name.",)


def test_a_numbered_load_never_takes_the_name_of_another() -> None:
    bench = two_ready()
    assert bench.start(supply="main", load="load-1").ok
    answer = bench.start(supply="side")
    assert answer.data["load"] == "load-2"


def two_ready() -> Bench:
    bench = Bench(line_setup(2))
    bench.start_service()
    return bench


def with_time_out() -> Bench:
    setup = line_setup()
    return Bench(replace(setup, supplies={"main": replace(setup.supplies["main"], device_time_out_s=5.0)}))


def test_the_devices_own_time_out_is_armed_anew_at_every_energising() -> None:
    bench = with_time_out()
    bench.silent.add("main")  # as with its mains off
    bench.start_service()
    assert not bench.supply().armed
    bench.silent.clear()
    bench.ask("off")
    bench.run(3.0)
    for name in bench.line.state.alarms:
        bench.ask("alarm reset", alarm=name)
    assert bench.start().ok
    assert bench.supply().armed
    sent = [type(action) for action in bench.actions]
    assert ArmTimeOut in sent[sent.index(SetPoints) - 1 : sent.index(SwitchOn)]


def test_a_time_out_confirmed_before_counts_no_more_once_it_is_to_be_armed_anew() -> None:
    bench = with_time_out()
    bench.start_service()
    assert bench.supply().armed
    bench.drops = ArmTimeOut
    assert bench.start().ok
    assert not bench.supply().armed


def test_a_failed_on_is_followed_by_off_in_the_same_step() -> None:
    bench = ready()
    bench.drops = SwitchOn
    assert bench.start().ok
    step = bench.give(bench.written(bench.named(SwitchOn)[-1], ok=False))
    assert of_kind(step, SwitchOff)
    assert bench.stands() is State.HOLDING
    assert bench.line.state.alarms["main/command-failed"].standing
