"""Instruments held against something better: readings put right, what is refused, the due date, and old records."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from supervisor.core.actions import Answer, Note
from supervisor.core.alarms import AlarmState
from supervisor.core.anodize import State
from supervisor.core.believe import FROZEN
from supervisor.core.events import Quality, Reading, Scanned, Started
from supervisor.core.heating import HeatingState
from supervisor.core.setup import Accuracy, ChannelSetup, LineSetup
from supervisor.core.state import LineState
from supervisor.core.tank_setup import BelieveSetup
from supervisor.records import codec
from supervisor.trade.calibration import Point
from tests.core.kit import Bench
from tests.core.plain import fitted_setup, line_setup

BATH, CURRENT = "main-acid-temperature", "main-current"
DAY_S = 86400.0


def degc(*pairs: tuple[float, float], spread: float = 0.0) -> tuple[Point, ...]:
    return tuple(Point(shown, true, spread, "degC") for shown, true in pairs)


def ampere(*pairs: tuple[float, float], spread: float = 0.0) -> tuple[Point, ...]:
    return tuple(Point(shown, true, spread, "A") for shown, true in pairs)


THERMOMETER = degc((0.5, 0.0), (99.5, 100.0))
METER = ampere((0.0, 0.0), (4.95, 5.0))


def calibrate(bench: Bench, channel: str, points: tuple[Point, ...], **changes: object) -> Answer:
    asked: dict[str, object] = {
        "reference": "the reference",
        "due": "2030-01-31",
        "due_wall_s": bench.at.wall_s + 365 * DAY_S,
    }
    return bench.ask("calibrate", channel=channel, points=points, **(asked | changes))  # type: ignore[arg-type]


def refused(bench: Bench, channel: str, points: tuple[Point, ...], **changes: object) -> tuple[str, ...]:
    """Tell what must be refused; nothing of it is kept."""
    before = bench.line.state.calibrations
    answer = calibrate(bench, channel, points, **changes)
    assert not answer.ok
    assert bench.line.state.calibrations == before
    return answer.reasons


def value(bench: Bench, channel: str) -> float | None:
    return bench.line.state.channels[channel].reading.value


@pytest.fixture
def bench() -> Bench:
    bench = Bench()
    bench.start_service()
    return bench


def test_a_good_reading_is_put_right_before_it_is_used_and_kept_as_shown(bench: Bench) -> None:
    assert calibrate(bench, BATH, THERMOMETER).ok
    bench.temperature(21.9)
    assert value(bench, BATH) == pytest.approx(21.9 - 0.5 + (21.4 / 99.0))
    assert bench.line.state.channels[BATH].shown == 21.9
    bench.temperature(22.2)
    assert bench.alarm("main-acid/bath-high") is AlarmState.NORMAL  # 22 degC is its limit


def test_what_is_shown_too_low_trips_where_the_truth_does(bench: Bench) -> None:
    assert calibrate(bench, BATH, degc((-1.5, 0.0), (98.5, 100.0))).ok
    bench.temperature(22.8)
    assert bench.alarm("main-acid/bath-high-high") is AlarmState.UNACKNOWLEDGED  # 24.3 degC in truth


def test_a_reading_that_is_not_good_is_no_reading_whatever_the_calibration(bench: Bench) -> None:
    assert calibrate(bench, BATH, THERMOMETER).ok
    bench.temperature(21.0, quality=Quality.LATE)
    latest = bench.line.state.channels[BATH]
    assert (latest.reading.value, latest.shown) == (None, None)


def test_the_charge_is_counted_from_what_is_true() -> None:
    plain, right = Bench(), Bench()
    for one in (plain, right):
        one.start_service()
    assert calibrate(right, CURRENT, ampere((0.0, 0.0), (4.9, 5.0))).ok
    for one in (plain, right):
        assert one.start().ok
        one.run(60.0)
    ratio = right.operation().dose.charge.best / plain.operation().dose.charge.best
    assert ratio == pytest.approx(5.0 / 4.9, rel=1e-3)


def test_no_calibration_makes_a_current_vanish_from_the_proof_of_off() -> None:
    bench = Bench()
    bench.start_service()
    assert calibrate(bench, CURRENT, ampere((0.06, 0.0), (5.06, 5.0))).ok  # the threshold is 0.05 A
    bench.current(0.06)
    assert value(bench, CURRENT) == pytest.approx(0.0)
    assert not bench.supply().output.proven_off
    assert bench.alarm("main/current-without-operation") is AlarmState.UNACKNOWLEDGED


def test_a_calibration_that_shows_a_current_where_the_meter_shows_none_is_no_proof_either() -> None:
    bench = Bench()
    bench.start_service()
    assert calibrate(bench, CURRENT, ampere((0.0, 0.06), (5.0, 5.06))).ok
    bench.current(0.0)
    assert not bench.supply().output.proven_off


def test_nothing_is_calibrated_or_forgotten_under_an_operation() -> None:
    bench = Bench()
    bench.start_service()
    assert calibrate(bench, BATH, THERMOMETER).ok
    assert bench.start().ok
    bench.run(12.0)
    for channel, points in ((BATH, THERMOMETER), (CURRENT, METER), ("main-voltage", METER)):
        assert "operation: main is running" in refused(bench, channel, points)[0]
    assert not bench.ask("calibrate forget", channel=BATH).ok
    bench.ask("hold")
    bench.run(5.0)
    assert bench.stands() is State.HELD
    assert "main is held" in refused(bench, BATH, THERMOMETER)[0]
    bench.ask("stop")
    bench.run(5.0)
    assert calibrate(bench, BATH, THERMOMETER).ok


def test_nothing_is_calibrated_while_a_start_is_on_its_way(bench: Bench) -> None:
    bench.pending()
    assert "a start of main is on its way" in refused(bench, CURRENT, METER)[0]


def test_another_supply_s_operation_is_no_hindrance() -> None:
    bench = Bench(line_setup(2)).running(supply="main")
    assert calibrate(bench, "side-current", METER).ok


def test_a_thermometer_that_a_heater_follows_is_left_alone(bench: Bench) -> None:
    bench.line.state = replace(bench.line.state, heating={"main-acid": HeatingState(demanded=True)})
    assert "heater: main-acid is heated" in refused(bench, BATH, THERMOMETER)[0]


def test_fewer_than_two_points_are_refused(bench: Bench) -> None:
    assert refused(bench, BATH, THERMOMETER[:1]) == ("points: at least 2 are needed; there are 1.",)


def test_the_same_point_twice_is_refused(bench: Bench) -> None:
    (reason,) = refused(bench, BATH, degc((0.5, 0.0), (0.9, 0.3)))
    assert "0.0 °C and 0.3 °C are one point told twice; two must be at least 10.00 °C apart" in reason
    assert "at least 1 A apart" in refused(bench, CURRENT, ampere((0.0, 0.0), (0.9, 0.9)))[0]  # a tenth of 10 A


def test_a_correction_larger_than_the_set_amount_is_refused() -> None:
    setup = line_setup()
    assert setup.calibration.largest_c == 2.0
    bench = Bench(setup)
    bench.start_service()
    assert calibrate(bench, BATH, degc((2.0, 0.0), (99.0, 100.0))).ok
    (reason,) = refused(bench, BATH, degc((2.01, 0.0), (99.0, 100.0)))
    assert "at 0.0 °C it is off by 2.01 °C, and no more than 2.00 °C is corrected" in reason
    assert "no more than 0.2 A is corrected" in refused(bench, CURRENT, ampere((0.0, 0.0), (4.7, 5.0)))[0]


def test_a_reading_that_was_not_steady_is_refused(bench: Bench) -> None:
    reasons = refused(bench, BATH, degc((0.5, 0.0), (99.5, 100.0), spread=0.31))
    assert len(reasons) == 2
    assert "at 0.0 °C it moved by 0.31 °C; wait until it moves by less than 0.30 °C" in reasons[0]


def test_a_meter_that_does_not_follow_is_refused(bench: Bench) -> None:
    setup = replace(line_setup(), calibration=replace(line_setup().calibration, largest_c=50.0))
    bench = Bench(setup)
    bench.start_service()
    assert "it showed no rise" in refused(bench, BATH, degc((30.0, 0.0), (29.0, 50.0)))[0]


def test_every_reason_is_told_at_once(bench: Bench) -> None:
    reasons = refused(bench, BATH, degc((40.0, 0.0), spread=1.0), reference="", due="2001-01-01", due_wall_s=1.0)
    assert [reason.partition(":")[0] for reason in reasons] == ["points", "points", "points", "reference", "due"]


@pytest.mark.parametrize(
    ("channel", "says"),
    [("main-acid-temprature", "did you mean main-acid-temperature?"), ("main-mode", "no thermometer and no meter")],
)
def test_what_is_no_instrument_is_refused(bench: Bench, channel: str, says: str) -> None:
    assert says in refused(bench, channel, THERMOMETER)[0]


def test_points_of_another_kind_and_beyond_the_range_are_refused(bench: Bench) -> None:
    assert "it shows degC" in refused(bench, BATH, METER)[0]
    for hot in ((149.5, 150.5), (150.5, 149.5)):  # it shows up to 150 degC
        assert "not within what the instrument can show" in refused(bench, BATH, degc((0.5, 0.0), hot))[0]


def test_a_line_in_us_units_is_told_in_them() -> None:
    bench = Bench(replace(line_setup(), units="us"))
    bench.start_service()
    assert "at 32.0 °F it is off by 5.40 °F" in refused(bench, BATH, degc((3.0, 0.0), (99.0, 100.0)))[0]


def test_a_calibration_is_told_and_can_be_forgotten(bench: Bench) -> None:
    answer = calibrate(bench, BATH, THERMOMETER)
    assert "-0.50 °C at 0.0 °C, +0.50 °C at 100.0 °C" in answer.data["notice"]
    assert bench.named(Note)[-1].text == answer.data["notice"]
    assert bench.ask("calibrate forget", channel=BATH).ok
    bench.temperature(21.0)
    assert value(bench, BATH) == 21.0
    assert "never calibrated" in bench.ask("calibrate forget", channel=BATH).reasons[0]


def test_a_due_date_is_told_by_an_alarm_of_low_priority_that_goes_with_a_new_calibration(bench: Bench) -> None:
    name = f"{BATH}/calibration-due"
    assert calibrate(bench, BATH, THERMOMETER, due_wall_s=bench.at.wall_s + DAY_S).ok
    bench.temperature(20.5)
    assert bench.alarm(name) is AlarmState.NORMAL
    bench.wall_s += DAY_S
    bench.temperature(20.5)
    assert bench.alarm(name) is AlarmState.UNACKNOWLEDGED
    assert "main-acid-temperature was to be calibrated again" in bench.alarm_texts(name)[0]
    assert bench.start().ok  # it stands in nothing's way
    bench.ask("off")
    bench.run(5.0)
    assert calibrate(bench, BATH, THERMOMETER).ok
    assert bench.alarm(name) is AlarmState.RETURNED_UNACKNOWLEDGED


def test_a_forgotten_calibration_is_due_no_more(bench: Bench) -> None:
    assert calibrate(bench, BATH, THERMOMETER, due_wall_s=bench.at.wall_s + 1.0).ok
    bench.wall_s += 2.0
    bench.temperature(20.5)
    assert bench.ask("calibrate forget", channel=BATH).ok
    assert bench.alarm(f"{BATH}/calibration-due") is AlarmState.RETURNED_UNACKNOWLEDGED


def test_a_clock_that_is_set_moves_no_dose_though_a_date_passes() -> None:
    """R10."""
    steady, moved = Bench(), Bench()
    for bench in (steady, moved):
        bench.start_service()
        assert calibrate(bench, CURRENT, METER).ok
        assert bench.start(target_um=2.0).ok
        bench.run(20.0)
    moved.wall_s += 400 * DAY_S
    for bench in (steady, moved):
        bench.run(20.0)
    assert moved.alarm(f"{CURRENT}/calibration-due") is AlarmState.UNACKNOWLEDGED
    assert moved.operation().dose.charge.best == pytest.approx(steady.operation().dose.charge.best, rel=1e-9)
    assert moved.operation().commanded_c == pytest.approx(steady.operation().commanded_c, rel=1e-9)
    assert moved.stands() is steady.stands()


def believing() -> LineSetup:
    plain = line_setup()
    tank = replace(plain.tanks["main-acid"], believe=BelieveSetup(0.2 / 60))
    return replace(plain, tanks={"main-acid": tank})


def test_the_step_of_a_calibration_is_no_jump_of_the_bath() -> None:
    bench = Bench(believing())
    bench.start_service()
    assert calibrate(bench, BATH, degc((1.5, 0.0), (101.5, 100.0))).ok
    bench.temperature(20.5)
    assert value(bench, BATH) == pytest.approx(19.0)


def test_what_is_doubted_stays_doubted_when_it_is_calibrated() -> None:
    bench = Bench(believing())
    bench.start_service()
    bench.temperature(0.5)  # in ice
    assert bench.line.state.channels[BATH].reading.quality is Quality.DOUBTED
    assert bench.line.state.channels[BATH].shown == 0.5
    assert calibrate(bench, BATH, THERMOMETER).ok
    bench.temperature(0.5)
    assert bench.line.state.channels[BATH].reading.quality is Quality.DOUBTED
    assert bench.line.state.believed["main-acid"].why != FROZEN


def test_a_calibration_outlives_a_restart_and_goes_with_its_instrument(bench: Bench) -> None:
    assert calibrate(bench, BATH, THERMOMETER, due_wall_s=bench.at.wall_s + 1.0).ok
    bench.wall_s += 2.0
    bench.temperature(20.5)
    again = Bench(state=bench.line.state, now_s=bench.now_s + 1, wall_s=bench.wall_s)
    again.start_service()
    assert again.line.state.calibrations == bench.line.state.calibrations
    setup = line_setup()
    other = replace(setup.channels[BATH], point="other")
    moved = Bench(replace(setup, channels={**setup.channels, BATH: other}), state=bench.line.state)
    moved.give(Started(moved.at, "boot", "1", "hash", watch_only=False))
    assert moved.line.state.calibrations == {}
    assert not moved.line.state.alarms[f"{BATH}/calibration-due"].active
    assert any("another instrument" in note.text for note in moved.named(Note))


def test_a_calibration_comes_back_from_the_record_and_an_older_record_has_none(bench: Bench) -> None:
    assert calibrate(bench, BATH, THERMOMETER).ok
    text = codec.encode_state(bench.line.state)
    assert codec.decode_state(LineState, text) == bench.line.state
    (old,) = json.loads(text)
    for name in ("calibrations", "commissioned"):
        del old[name]
    for latest in old["channels"].values():
        del latest["shown"]
    assert codec.decode_state(LineState, json.dumps([old])).calibrations == {}


def test_every_thermometer_and_every_meter_of_a_line_can_be_calibrated() -> None:
    bench = Bench(fitted_setup())
    bench.start_service()
    assert calibrate(bench, BATH, THERMOMETER).ok
    assert calibrate(bench, CURRENT, METER).ok
    assert calibrate(bench, "main-voltage", (Point(0.0, 0.0, 0.0, "V"), Point(19.9, 20.0, 0.0, "V"))).ok


def counting() -> LineSetup:
    plain = line_setup()
    counter = ChannelSetup("main-counter", "main-device", "charge", "C", 0.0, 1e9, Accuracy(0.005, 0.36), 0.4, 3.0)
    supply = replace(plain.supplies["main"], counter="main-counter", counts=Accuracy(0.005, 0.36))
    return replace(plain, channels={**plain.channels, "main-counter": counter}, supplies={"main": supply})


@pytest.mark.parametrize("calibrated", [False, True])
def test_a_counter_bounds_no_charge_where_its_own_supply_s_meter_had_to_be_put_right(calibrated: bool) -> None:
    bench = Bench(counting())
    bench.start_service()
    if calibrated:
        assert calibrate(bench, CURRENT, METER).ok
    assert bench.start().ok
    bench.run(12.0)
    bench.later(0.01)
    reading = Reading("main-counter", Quality.GOOD, 20.0)
    bench.give(Scanned(bench.at, "main-device", bench.now_s, bench.now_s, (reading,)))
    assert (bench.operation().dose.counted is None) is calibrated
