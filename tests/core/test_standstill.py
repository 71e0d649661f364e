"""A standstill of the supervisor says nothing of any device: the load is held, and only what stays silent is told."""

from __future__ import annotations

import pytest

from supervisor.core.anodize import State
from supervisor.core.events import Delayed, Started
from tests.core.guarded import Guarded

LONG_S = 30.0
"""Longer than any age of a reading, any silence of a device and any delay."""


def stood_still(bench: Guarded, wire_s: float = LONG_S) -> Guarded:
    bench.later(wire_s)
    bench.give(Delayed(bench.at, wire_s))
    return bench


def alarms(bench: Guarded) -> set[str]:
    return {name for name, alarm in bench.line.state.alarms.items() if alarm.state != "normal"}


def test_a_long_standstill_holds_the_load_and_blames_no_device() -> None:
    bench = stood_still(Guarded().under_way())
    assert bench.stands() is State.HOLDING
    bench.obeys = True
    bench.run(10.0)
    assert bench.stands() is State.HELD
    assert alarms(bench) == {"main/loop-late"}


@pytest.mark.parametrize(
    ("silent", "unread", "alarm"),
    [
        ({"main"}, set[str](), "main/supply-silent"),
        ({"inputs"}, set[str](), "inputs/communication-lost"),
        (set[str](), {"stop"}, "stop/emergency-stop"),
        (set[str](), {"acid-lid"}, "acid-lid/lid-shut"),
    ],
)
def test_what_stays_silent_after_a_standstill_is_told(silent: set[str], unread: set[str], alarm: str) -> None:
    bench = stood_still(Guarded().under_way())
    bench.silent, bench.unread, bench.obeys = silent, unread, True
    bench.run(5.0)
    assert alarm in alarms(bench)


def test_a_contact_that_nobody_has_read_since_a_standstill_permits_nothing() -> None:
    bench = Guarded()
    bench.start_service()
    bench.run(bench.setup.ventilation.before_s)
    stood_still(bench)
    reasons = bench.start().reasons
    assert any(reason.startswith("emergency stop released: stop") for reason in reasons)
    assert any(reason.startswith("guard shut: guard") for reason in reasons)


def test_short_standstills_do_not_hide_a_supply_that_went_silent() -> None:
    bench = Guarded().under_way()
    bench.silent = {"main"}
    for _ in range(6):
        bench.later(0.6)
        bench.give(Delayed(bench.at, 0.5))
    assert "main/supply-silent" in alarms(bench)


STANDING = [
    ({"main"}, set[str](), "main/supply-absent"),
    ({"main-acid"}, set[str](), "main-acid/temperature-lost"),
    ({"inputs"}, set[str](), "inputs/communication-lost"),
    ({"board"}, set[str](), "board/heartbeat-lost"),
    (set[str](), {"stop"}, "stop/emergency-stop"),
]


@pytest.mark.parametrize(("silent", "unread", "alarm"), STANDING)
@pytest.mark.parametrize("again", [False, True])
def test_neither_a_standstill_nor_a_start_clears_what_no_good_reading_has(
    silent: set[str], unread: set[str], alarm: str, *, again: bool
) -> None:
    bench = Guarded()
    bench.start_service()
    bench.silent, bench.unread = silent, unread
    bench.run(5.0)
    if again:
        bench.give(Started(bench.at, "boot", "1", "hash", watch_only=False, journal_s=bench.now_s))
    else:
        bench.give(Delayed(bench.at, LONG_S))
    assert bench.line.state.alarms[alarm].active
    bench.silent, bench.unread = set(), set()
    bench.run(1.0)
    assert not bench.line.state.alarms[alarm].active
    assert bench.line.state.alarms[alarm].count == 1
