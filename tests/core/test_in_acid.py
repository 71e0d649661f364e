"""The part in its acid off the current: told after minutes, and restarted only while its coat can go on.

Common practice, no source: a reminder after 2 min and an alarm after 5 min; a restart with a ramp up to 2 min, with the
coat to be gauged up to 10 min, and none after that or once it was rinsed.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from supervisor.core.actions import Record, SwitchOn
from supervisor.core.alarms import AlarmState
from supervisor.core.anodize import State
from supervisor.core.coat import Coat
from supervisor.core.events import Quality, Reading, Recorded, Scanned, Started
from supervisor.core.line import Line
from supervisor.core.setup import LineSetup
from tests.core.kit import Bench
from tests.core.plain import line_setup

REMINDER, ALARM = "main/left-in-acid", "main/left-long-in-acid"


def on(setup: LineSetup) -> Bench:
    """A load held with off proven."""
    bench = Bench(setup).running(target_um=20.0)
    bench.run(20.0)
    assert bench.ask("hold").ok
    bench.run(2.0)
    assert bench.stands() is State.HELD
    return bench


PLAIN = line_setup()


@pytest.fixture
def held() -> Bench:
    return on(PLAIN)


def with_coat(bench: Bench, **changes: object) -> None:
    supply = bench.supply()
    after = replace(supply, coat=replace(supply.coat, **changes))  # type: ignore[arg-type]
    bench.line.state = replace(bench.line.state, supplies={"main": after})


def off_for(bench: Bench, seconds: float) -> None:
    """As if the current had ended so long ago."""
    with_coat(bench, off_since_s=bench.now_s - seconds)


def goes_on(bench: Bench, seconds: float) -> None:
    """Let time alone pass."""
    bench.later(seconds)
    bench.wake_up()


def reads(bench: Bench, current_a: float, voltage_v: float) -> None:
    bench.later(0.4)
    readings = (
        Reading("main-voltage", Quality.GOOD, voltage_v),
        Reading("main-current", Quality.GOOD, current_a),
    )
    bench.give(Scanned(bench.at, "main-device", bench.now_s, bench.now_s, readings))


def test_time_off_the_current_is_counted_from_the_newest_reading_before_it_ended(held: Bench) -> None:
    since_s = held.supply().coat.off_since_s
    assert since_s is not None
    assert 2.0 <= held.now_s - since_s <= 2.0 + held.scan_s


def test_what_ended_between_two_readings_ended_at_the_first() -> None:
    bench = Bench(PLAIN).running(target_um=20.0)
    read_s = bench.operation().dose.last_s
    goes_on(bench, 0.3)
    assert bench.ask("hold").ok
    assert bench.supply().coat.off_since_s == read_s


def test_a_reminder_comes_after_two_minutes_and_an_alarm_after_five(held: Bench) -> None:
    goes_on(held, 115.0)
    assert (held.alarm(REMINDER), held.alarm(ALARM)) == (AlarmState.NORMAL, AlarmState.NORMAL)
    goes_on(held, 4.0)
    assert (held.alarm(REMINDER), held.alarm(ALARM)) == (AlarmState.UNACKNOWLEDGED, AlarmState.NORMAL)
    goes_on(held, 178.0)
    assert held.alarm(ALARM) is AlarmState.NORMAL
    goes_on(held, 4.0)
    assert held.alarm(ALARM) is AlarmState.UNACKNOWLEDGED


def test_the_line_asks_to_be_woken_for_them(held: Bench) -> None:
    held.wake_up()
    assert held.wake.process_s is not None
    assert held.wake.process_s <= held.now_s + 120.0


def test_it_is_told_of_a_load_that_reached_its_target_too(held: Bench) -> None:
    plan = replace(held.operation().plan, target_c=1.0)
    after = replace(held.operation(), plan=plan, state=State.COMPLETE)
    held.line.state = replace(held.line.state, supplies={"main": replace(held.supply(), operation=after)})
    goes_on(held, 0.1)
    goes_on(held, 121.0)
    assert held.alarm(REMINDER) is AlarmState.UNACKNOWLEDGED


@pytest.mark.parametrize("way", [("out",), ("stop", "reset")])
def test_both_go_once_a_person_says_that_the_part_is_out(held: Bench, way: tuple[str, ...]) -> None:
    goes_on(held, 301.0)
    for what in way:
        assert held.ask(what).ok  # type: ignore[arg-type]
    goes_on(held, 0.1)
    assert held.alarm(REMINDER) is AlarmState.RETURNED_UNACKNOWLEDGED
    assert held.alarm(ALARM) is AlarmState.RETURNED_UNACKNOWLEDGED


def test_nothing_is_told_while_current_flows() -> None:
    bench = Bench().running(target_um=20.0)
    goes_on(bench, 0.1)
    assert not {REMINDER, ALARM} & set(bench.line.state.alarms)


def test_a_part_without_any_charge_is_no_coat_in_acid() -> None:
    bench = Bench()
    bench.start_service()
    bench.pending()
    goes_on(bench, 400.0)
    assert not {REMINDER, ALARM} & set(bench.line.state.alarms)


def test_acid_takes_nothing_more_once_the_part_is_out(held: Bench) -> None:
    assert held.ask("out").ok
    lost = held.supply().coat.outer_nm
    goes_on(held, 600.0)
    assert held.supply().coat.outer_nm == lost


def test_out_is_refused_where_off_is_not_proven_where_nothing_is_and_a_second_time(held: Bench) -> None:
    running, idle = Bench().running(target_um=20.0), Bench()
    idle.start_service()
    assert "Keep hands out of the tank" in running.ask("out").reasons[0]
    assert "nothing is under way" in idle.ask("out").reasons[0]
    assert held.ask("out").ok
    assert "already" in held.ask("out").reasons[0]


def test_out_is_refused_between_off_and_its_proof() -> None:
    bench = Bench().running(target_um=20.0)
    bench.ask("hold")
    assert "not proven off" in bench.ask("out").reasons[0]


def test_within_two_minutes_a_load_is_restarted_as_if_nothing_had_been(held: Bench) -> None:
    off_for(held, 119.0)
    answer = held.ask("restart")
    assert answer.ok
    assert "1.98 min" in answer.data["notice"]
    assert "Gauge" not in answer.data["notice"]
    assert held.line.state.loads["load-1"].gauge == ""
    assert held.operation().ramp is not None


def test_within_ten_minutes_it_is_restarted_and_its_coat_must_be_gauged(held: Bench) -> None:
    off_for(held, 121.0)
    answer = held.ask("restart")
    assert answer.ok
    assert "Gauge it" in answer.data["notice"]
    assert "% of its mass" in answer.data["notice"]
    assert held.line.state.loads["load-1"].gauge == "restarted after 2.02 min off the current"


def test_later_than_ten_minutes_a_restart_is_refused(held: Bench) -> None:
    off_for(held, 601.0)
    held.run(0.4)
    answer = held.ask("restart")
    assert [reason.partition(":")[0] for reason in answer.reasons] == ["coat can go on"]
    assert not held.operation().energised


def test_a_part_that_was_out_is_not_restarted(held: Bench) -> None:
    assert held.ask("out").ok
    answer = held.ask("restart")
    assert [reason.partition(":")[0] for reason in answer.reasons] == ["coat can go on"]


def test_the_limits_of_a_restart_are_the_lines_own() -> None:
    anodize = replace(PLAIN.anodize, restart_plain_s=10.0, restart_within_s=20.0)
    strict = on(replace(PLAIN, anodize=anodize))
    off_for(strict, 21.0)
    assert not strict.ask("restart").ok
    off_for(strict, 19.0)
    assert strict.ask("restart").ok
    assert strict.line.state.loads["load-1"].gauge


def test_ten_minutes_may_pass_between_asking_and_the_record(held: Bench) -> None:
    """What refuses a restart is checked again when its intent is durable."""
    held.keeps_records = False
    off_for(held, 599.9)
    held.give(held.request("restart"))
    held.later(0.5)
    held.keeps_records = True
    ons = len(held.named(SwitchOn))
    held.give(Recorded(held.at, held.named(Record)[-1].intent))
    assert len(held.named(SwitchOn)) == ons


def restarted(held: Bench) -> Bench:
    """A restart whose first readings show no current, as of a coat that waits for its voltage."""
    assert held.ask("restart").ok
    held.devices["main"].broken_contact = True
    return held


def test_the_current_may_stay_away_until_the_voltage_is_near_its_earlier_value(held: Bench) -> None:
    bench = restarted(held)
    for _ in range(10):
        reads(bench, 0.0, 13.4)  # 15 V before
    assert bench.operation().energised
    assert bench.supply().coat.awaited_v == 15.0
    for _ in range(5):
        reads(bench, 0.0, 13.6)
    assert bench.operation().why == "current-lost"


def test_it_may_stay_away_for_two_minutes_at_most(held: Bench) -> None:
    bench = restarted(held)
    for _ in range(5):
        reads(bench, 0.0, 5.0)
    ramp = bench.operation().ramp
    assert ramp is not None
    assert ramp.on_s is not None
    late = replace(bench.operation(), ramp=replace(ramp, on_s=bench.now_s - 119.0, began_s=bench.now_s - 119.0))
    bench.line.state = replace(bench.line.state, supplies={"main": replace(bench.supply(), operation=late)})
    reads(bench, 0.0, 5.0)
    assert bench.operation().energised
    for _ in range(6):
        reads(bench, 0.0, 5.0)
    assert bench.operation().why == "current-lost"


def test_once_the_current_is_back_its_loss_is_told_at_any_voltage(held: Bench) -> None:
    bench = restarted(held)
    reads(bench, 1.9, 12.0)
    assert bench.supply().coat.awaited_v is None
    for _ in range(4):
        reads(bench, 0.0, 5.0)
    assert bench.operation().why == "current-lost"


def test_a_first_start_waits_for_no_voltage() -> None:
    bench = Bench()
    bench.start_service()
    assert bench.start(target_um=20.0).ok
    for _ in range(5):
        reads(bench, 0.0, 5.0)
    assert bench.operation().why == "current-lost"


def test_with_the_current_back_the_time_off_is_over(held: Bench) -> None:
    bench = restarted(held)
    reads(bench, 0.0, 5.0)
    assert bench.supply().coat.off_since_s is not None
    reads(bench, 1.9, 15.0)
    assert bench.supply().coat.off_since_s is None


@pytest.mark.parametrize("same_boot", [True, False])
def test_over_a_new_boot_nobody_knows_for_how_long_it_was_off_and_the_coat_must_be_gauged(
    same_boot: bool,
) -> None:
    supply = replace(PLAIN.supplies["main"], device_time_out_s=5.0)  # it bounds the charge over the new boot
    held = on(replace(PLAIN, supplies={"main": supply}))
    known_s, now_s = held.now_s, held.now_s + 30.0 if same_boot else 50.0
    since_s = held.supply().coat.off_since_s
    assert since_s is not None
    held.line = Line(held.setup, held.line.state)
    held.now_s = now_s
    held.give(Started(held.at, "boot", "1", "hash", False, known_s, same_boot))
    coat = held.supply().coat
    moved_s = since_s if same_boot else since_s + now_s - known_s
    assert coat.off_since_s == pytest.approx(moved_s)
    assert coat.off_unknown is not same_boot
    held.run(2.0)
    answer = held.ask("restart")
    assert answer.ok
    assert ("nobody can say" in answer.data["notice"]) is not same_boot
    assert bool(held.line.state.loads["load-1"].gauge) is not same_boot
    reads(held, 1.9, 15.0)
    assert not held.supply().coat.off_unknown


def test_a_load_that_is_over_is_carried_into_a_new_boot_too(held: Bench) -> None:
    assert held.ask("stop").ok
    held.line = Line(held.setup, held.line.state)
    known_s, held.now_s = held.now_s, 50.0
    held.give(Started(held.at, "boot", "1", "hash", False, known_s, False))
    counted_s = held.supply().coat.counted_s
    assert counted_s == pytest.approx(50.0)


def test_a_fresh_coat_is_not_off() -> None:
    assert Coat().off_for_s(100.0) == 0.0
