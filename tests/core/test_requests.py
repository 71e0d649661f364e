"""R4 and R10: a request that is stale, repeated or malformed changes nothing, and the wall clock decides nothing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from supervisor.core.actions import Answer, Record
from supervisor.core.anodize import State
from supervisor.core.events import Order, Request, RequestKind
from supervisor.core.requests import REMEMBERED
from supervisor.core.state import LineState
from tests.core.kit import Bench
from tests.core.plain import line_setup

NAN, INF = float("nan"), float("inf")


def changed(state: LineState) -> LineState:
    """A state without what a refused request may change: that it came, from whom, and when charge was last counted."""
    supplies = {
        name: replace(supply, operation=supply.operation and replace(supply.operation, counted_s=0.0, commanded_c=0.0))
        for name, supply in state.supplies.items()
    }
    return replace(state, requests=(), attended_s=None, lowered_wire_s=None, supplies=supplies)


def refused_whole(bench: Bench, request: Request) -> tuple[str, ...]:
    """Give a request that must be refused and change nothing; return its reasons."""
    before = changed(bench.line.state)
    step = bench.give(request)
    assert [type(action) for action in step.actions] == [Answer]
    answer = step.actions[0]
    assert isinstance(answer, Answer)
    assert not answer.ok
    assert changed(bench.line.state) == before
    return answer.reasons


def expired(bench: Bench, request: Request) -> Request:
    return replace(request, made_wire_s=bench.now_s - 10.0, expires_wire_s=bench.now_s - 5.0)


STALE: dict[str, Callable[[Bench, Request], Request]] = {
    "stored copy": lambda _, request: replace(request, retained=True),
    "expired": expired,
    "expires now": lambda bench, request: replace(request, expires_wire_s=bench.now_s),
    "never expires": lambda _, request: replace(request, expires_wire_s=NAN),
    "made in the future": lambda bench, request: replace(request, made_wire_s=bench.now_s + 1.1),
    "made at no time": lambda _, request: replace(request, made_wire_s=NAN),
}


KINDS: tuple[RequestKind, ...] = ("start", "hold", "restart", "stop", "abort", "reset", "off", "alarm reset")


@pytest.mark.parametrize("how", STALE)
def test_a_stale_request_of_any_kind_changes_nothing(how: str) -> None:
    for what in KINDS:
        bench = Bench().running()
        request = bench.request(what, order=Order(0.013, 1.0), alarm="main/current-lost")
        reasons = refused_whole(bench, STALE[how](bench, request))
        assert all(reason.startswith("fresh: ") for reason in reasons)


@pytest.mark.parametrize("what", ["hold", "stop", "abort", "off", "reset"])
def test_the_same_request_a_second_time_changes_nothing(what: RequestKind) -> None:
    bench = Bench().running()
    request = bench.request(what)
    bench.give(request)
    assert refused_whole(bench, request) == ("fresh: this request came before and is done only once.",)


def test_a_start_repeated_after_its_load_is_done_starts_nothing() -> None:
    bench = Bench()
    bench.start_service()
    request = replace(bench.request("start", order=Order(0.013, 0.1)), expires_wire_s=1e9)
    bench.give(request)
    bench.run(40.0)
    assert bench.stands() is State.COMPLETE
    bench.ask("reset")
    records = len(bench.named(Record))
    assert refused_whole(bench, request)
    assert len(bench.named(Record)) == records


def test_a_repeated_request_is_known_over_a_restart_of_the_supervisor() -> None:
    bench = Bench().running()
    request = bench.request("hold")
    bench.give(request)
    again = Bench(state=bench.line.state, now_s=bench.now_s)
    again.start_service()
    assert "done only once" in refused_whole(again, request)[0]


def test_only_so_many_requests_are_remembered() -> None:
    bench = Bench()
    bench.start_service()
    for _ in range(REMEMBERED + 10):
        bench.ask("reset")
    assert len(bench.line.state.requests) == REMEMBERED


@pytest.mark.parametrize("order", [
    None, Order(NAN, 1.0), Order(0.013, NAN), Order(INF, 1.0), Order(0.013, -1.0), Order(-0.013, 1.0), Order(0.0, 1.0),
    Order(0.013, 0.0), Order(0.013, 1.0, density_a_per_m2=NAN), Order(0.013, 1.0, density_a_per_m2=-150.0),
    Order(0.013, 1.0, voltage_v=-1.0), Order(0.013, 1.0, voltage_v=NAN), Order(0.013, 1.0, ramp_s=-1.0),
    Order(0.013, 1.0, ramp_s=INF), Order(1e306, 1.0), Order(0.013, 1.0, ramp_s=1e308),
    Order(0.013, 1.0, density_a_per_m2=1e-300, mode="voltage"), Order(5e-324, 5e-324),
])  # fmt: skip
def test_a_malformed_order_is_refused_with_reasons_and_changes_nothing(order: Order | None) -> None:
    bench = Bench()
    bench.start_service()
    assert refused_whole(bench, bench.request("start", order=order))


def test_a_request_for_a_supply_or_an_alarm_that_is_not_there_changes_nothing() -> None:
    bench = Bench(line_setup(2))
    bench.start_service()
    for what in ("start", "hold", "off", "reset"):
        reasons = refused_whole(bench, bench.request(what, supply="mian", order=Order(0.013, 1.0)))
        assert reasons == ("supply: there is no supply mian; this line has main, side.",)
    reasons = refused_whole(bench, bench.request("hold"))
    assert reasons == ("supply: this line has several; name one of main, side.",)
    bench.temperature(25.0)
    reasons = refused_whole(bench, bench.request("alarm reset", alarm="main-acid/bath-hihg-high"))
    assert reasons == ("alarm: there is no alarm main-acid/bath-hihg-high. Did you mean main-acid/bath-high-high?",)


@pytest.mark.parametrize(("what", "says"), [
    ("hold", "operation: main is idle, where hold does nothing; it takes start."),
    ("reset", "operation: main is idle, where reset does nothing; it takes start."),
])  # fmt: skip
def test_a_request_that_does_nothing_is_refused_with_what_would(what: RequestKind, says: str) -> None:
    bench = Bench()
    bench.start_service()
    assert refused_whole(bench, bench.request(what)) == (says,)


def test_an_alarm_that_does_not_stand_cannot_be_acknowledged() -> None:
    bench = Bench().running()
    bench.temperature(25.0)
    assert bench.ask("alarm acknowledge", alarm="main-acid/bath-high-high").ok
    answer = bench.ask("alarm acknowledge", alarm="main-acid/bath-high-high")
    assert answer.reasons == ("alarm: main-acid/bath-high-high is acknowledged; there is nothing to acknowledge.",)


# -- R10


def undated(state: LineState) -> LineState:
    log = tuple(replace(happening, wall_s=0.0) for happening in state.alarm_log)
    alarms = {name: replace(alarm, since_wall_s=0.0) for name, alarm in state.alarms.items()}
    return replace(state, alarms=alarms, alarm_log=log)


@settings(max_examples=6, derandomize=True, deadline=None)
@given(jumps=st.lists(st.floats(-1e9, 1e9), min_size=6, max_size=6))
def test_jumps_of_the_wall_clock_change_records_alone(jumps: list[float]) -> None:
    plain, jumping = Bench(), Bench()
    for bench, walls in ((plain, [0.0] * 6), (jumping, jumps)):
        bench.start_service()
        bench.start(target_um=0.1)
        for wall_s in walls:
            bench.wall_s = 1.79e9 + wall_s
            bench.run(2.0)
        bench.temperature(25.0)
        bench.run(2.0)
    assert plain.actions == jumping.actions
    assert undated(plain.line.state) == undated(jumping.line.state)
