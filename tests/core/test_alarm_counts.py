"""Delays, and what is counted of alarms: chattering, standing long, the rate of ten minutes."""

from __future__ import annotations

from supervisor.core import alarm_log, alarms
from supervisor.core.alarms import Alarm, AlarmState
from tests.core.guarded import Guarded

LEVEL = "acid-level/level-low"


def test_a_cause_that_is_gone_within_the_on_delay_never_was() -> None:
    bench = Guarded().under_way()
    bench.opens("acid-level", after_s=2.5)
    bench.open = set()
    bench.run(10.0)
    assert LEVEL not in bench.line.state.alarms
    assert not [one for one in bench.line.state.alarm_log if one.alarm == LEVEL]


def test_the_on_delay_begins_anew_after_a_gap() -> None:
    bench = Guarded().under_way()
    for _ in range(3):
        bench.opens("acid-level", after_s=2.0)
        bench.open = set()
        bench.run(1.0)
    assert LEVEL not in bench.line.state.alarms


def test_a_cause_counts_as_gone_only_after_the_off_delay() -> None:
    bench = Guarded().under_way()
    bench.opens("air-pressure", after_s=13.0)
    bench.open = set()
    bench.run(4.0)
    assert bench.alarm("air-pressure/agitation-lost") is AlarmState.UNACKNOWLEDGED
    bench.run(2.0)
    assert bench.alarm("air-pressure/agitation-lost") is AlarmState.RETURNED_UNACKNOWLEDGED


def test_the_delay_ends_by_time_alone() -> None:
    """No reading need come in the moment at which it is over."""
    bench = Guarded().under_way()
    bench.opens("acid-level")
    assert bench.wake.process_s is not None
    bench.later(3.0)
    bench.wake_up()
    assert bench.line.state.alarms[LEVEL].active


def test_three_appearances_within_a_minute_chatter_and_two_do_not() -> None:
    alarm = Alarm("bath-high", "acid")
    for moment_s in (0.0, 30.0):
        alarm = alarms.go(alarms.appear(alarm, moment_s, 0.0, latches=False))
    assert not alarm.chatters
    assert alarms.appear(alarm, 60.0, 0.0, latches=False).chatters
    assert not alarms.appear(alarm, 60.1, 0.0, latches=False).chatters


def test_chattering_is_told_for_ten_minutes() -> None:
    alarm = Alarm("bath-high", "acid")
    for moment_s in (0.0, 20.0, 40.0):
        alarm = alarms.go(alarms.appear(alarm, moment_s, 0.0, latches=False))
    assert alarm_log.chattering([alarm], 640.0) == ("acid/bath-high",)
    assert alarm_log.chattering([alarm], 640.1) == ()


def test_an_alarm_stands_long_after_more_than_a_day() -> None:
    alarm = alarms.appear(Alarm("bath-high", "acid"), 100.0, 0.0, latches=False)
    assert alarm_log.standing_long([alarm], 100.0 + 86400.0) == ()
    assert alarm_log.standing_long([alarm], 100.1 + 86400.0) == ("acid/bath-high",)
    assert alarm_log.standing_long([alarms.go(alarm)], 100.1 + 86400.0) == ()


def test_the_log_keeps_the_newest() -> None:
    bench = Guarded().under_way()
    for _ in range(alarm_log.KEPT // 2 + 5):
        bench.opens("guard")
        bench.open = set()
        bench.run(0.5)
        bench.ask("alarm reset", alarm="guard/guard-open")
    assert len(bench.line.state.alarm_log) == alarm_log.KEPT
    newest = bench.line.state.alarm_log[-1]
    assert (newest.alarm, newest.state) == ("guard/guard-open", "normal")
