"""What a temperature that is not believed does to a line: it permits nothing, clears nothing, and may still trip."""

from __future__ import annotations

from dataclasses import replace

from supervisor.core.actions import Note
from supervisor.core.alarms import AlarmState
from supervisor.core.anodize import State
from supervisor.core.events import Quality, Reading, Scanned
from supervisor.core.setup import LineSetup, OutputSetup
from supervisor.core.tank_setup import BelieveSetup
from tests.core.guarded import Guarded
from tests.core.kit import Bench
from tests.core.plain import line_setup

DOUBTED = "main-acid/temperature-doubted"


def believing(**changes: object) -> LineSetup:
    """The plain line with a bath that moves by 0.3 degC/min at most."""
    plain = line_setup()
    tank = replace(plain.tanks["main-acid"], believe=BelieveSetup(0.3 / 60), **changes)  # type: ignore[arg-type]
    return replace(plain, tanks={"main-acid": tank})


def under_way() -> Bench:
    bench = Bench(believing()).running(target_um=20.0)
    assert bench.stands() is State.RUNNING
    return bench


def test_one_reading_that_cannot_be_true_is_told_and_holds_nothing() -> None:
    bench = under_way()
    bench.bath_c["main-acid"] = 21.4
    bench.run(0.4)
    assert bench.line.state.channels["main-acid-temperature"].reading.quality is Quality.DOUBTED
    assert "moves faster than a bath can" in bench.named(Note)[-1].text
    bench.bath_c["main-acid"] = 20.5
    bench.run(5.0)
    assert bench.stands() is State.RUNNING
    assert DOUBTED not in bench.line.state.alarms


def test_readings_that_go_on_being_doubted_hold_the_load_and_are_one_alarm() -> None:
    bench = under_way()
    bench.bath_c["main-acid"] = 21.4
    bench.run(5.0)
    assert (bench.stands(), bench.operation().why) == (State.HELD, "temperature-doubted")
    assert "main-acid/temperature-lost" not in bench.line.state.alarms


def test_a_doubted_reading_beyond_a_trip_limit_trips_in_the_same_step() -> None:
    bench = under_way()
    bench.bath_c["main-acid"] = 30.0
    bench.later(0.1)
    bench.scan()
    assert bench.operation().why == "bath-high-high"
    assert bench.stands() in {State.STOPPING, State.STOPPED}


def test_a_doubted_reading_inside_the_band_clears_no_limit() -> None:
    bench = under_way()
    bench.bath_c["main-acid"] = 30.0
    bench.run(600.0)
    bench.bath_c["main-acid"] = 20.5
    bench.run(2.0)
    assert bench.line.state.bands["main-acid"].beyond >= {"bath-high-high"}
    bench.run(600.0)
    assert not bench.line.state.bands["main-acid"].beyond


def test_a_start_is_refused_on_a_doubted_temperature() -> None:
    bench = Bench(believing())
    bench.start_service()
    bench.bath_c["main-acid"] = 21.5
    bench.run(1.0)
    assert any("no good temperature" in reason for reason in bench.start().reasons)


def test_the_alarm_goes_on_standing_while_nothing_at_all_comes() -> None:
    bench = under_way()
    bench.bath_c["main-acid"] = 21.4
    bench.run(5.0)
    bench.silent = {"main-acid"}
    bench.run(60.0)
    assert bench.alarm(DOUBTED) is AlarmState.UNACKNOWLEDGED


def test_after_a_start_the_first_reading_is_believed() -> None:
    bench = under_way()
    bench.bath_c["main-acid"] = 21.4
    bench.run(5.0)
    again = Bench(bench.setup, state=bench.line.state, now_s=bench.now_s)
    again.bath_c["main-acid"] = 21.4
    again.start_service()
    assert again.line.state.channels["main-acid-temperature"].reading.quality is Quality.GOOD


def test_a_second_sensor_beyond_a_trip_limit_trips_though_the_first_one_shows_nothing_of_it() -> None:
    setup = believing(second="second-temperature")
    plain = setup.channels["main-acid-temperature"]
    bench = Bench(
        replace(setup, channels={**setup.channels, "second-temperature": replace(plain, name="second-temperature")})
    )
    bench.running(target_um=20.0)
    bench.later(0.1)
    hot = Reading("second-temperature", Quality.GOOD, 30.0)
    bench.give(Scanned(bench.at, "thermometer", bench.now_s, bench.now_s, (hot,)))
    assert bench.operation().why == "bath-high-high"


# -- a still bath


def stirred(bench_s: float) -> Bench:
    """A line whose acid is stirred by a blower that rests while nothing runs, nothing proving it."""
    setup = believing(stirred_s=60.0)
    blower = OutputSetup("blower", "agitation", safe_on=False, device="board", point="k2", tank="main-acid")
    bench = Bench(replace(setup, outputs={**setup.outputs, "blower": blower}))
    bench.start_service()
    bench.run(bench_s)
    return bench


def test_a_start_before_the_agitation_has_run_is_refused_and_switches_it_on() -> None:
    bench = stirred(5.0)
    (reason,) = bench.start().reasons
    assert reason.startswith(
        "bath in band: main-acid's temperature is not trusted yet: its agitation must run for 60 s"
    )
    assert bench.shut["blower"]
    bench.run(30.0)
    assert "for 30 s more" in bench.start().reasons[0]
    bench.run(31.0)
    assert bench.start().ok


def test_a_second_sensor_that_is_silent_is_told_and_holds_nothing() -> None:
    bench = Guarded().under_way()
    lost = "main-acid/second-sensor-lost"
    bench.silent.add("acid-second")
    bench.run(3.5 + 10.0)
    assert bench.alarm(lost) is AlarmState.UNACKNOWLEDGED
    assert bench.stands() is State.RUNNING
    bench.silent.remove("acid-second")
    bench.run(31.0)
    assert bench.alarm(lost) is AlarmState.RETURNED_UNACKNOWLEDGED


def test_a_tank_with_one_sensor_misses_no_second_one() -> None:
    bench = under_way()
    bench.run(20.0)
    assert not [name for name in bench.line.state.alarms if "second-sensor-lost" in name]
