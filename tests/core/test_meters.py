"""Set point, meter and the supply's own counter: more than 5 % apart is told, and a good supply is never blamed."""

from __future__ import annotations

from dataclasses import replace

import pytest

from supervisor.core.anodize import State
from supervisor.core.events import Quality
from tests.core.guarded import Guarded, guarded_setup

APART = "main/meters-differ"


@pytest.mark.parametrize("gain", [0.955, 1.045])
def test_a_meter_within_five_percent_and_its_accuracy_is_not_blamed(gain: float) -> None:
    bench = Guarded().under_way()
    bench.devices["main"].gain = gain
    bench.counter_gain = gain
    bench.run(60.0)
    assert bench.stands() is State.RUNNING


@pytest.mark.parametrize("gain", [0.93, 1.04])
def test_a_counter_that_tells_another_charge_than_the_meter_holds_the_load(gain: float) -> None:
    bench = Guarded()
    bench.counter_gain = gain
    bench.under_way()
    bench.run(600.0)
    apart = abs(gain - 1) > 0.05
    assert (bench.stands() is State.HELD) is apart
    assert (APART in bench.line.state.alarms) is apart


def test_a_supply_at_its_voltage_ceiling_may_give_less_than_it_is_set_to() -> None:
    bench = Guarded().under_way()
    bench.devices["main"].gain, bench.devices["main"].voltage_held, bench.counter_gain = 0.6, True, 0.6
    bench.run(60.0)
    assert APART not in bench.line.state.alarms


def test_a_counter_that_did_not_begin_at_nought_is_compared_by_what_it_gains() -> None:
    bench = Guarded()
    bench.counted_c = 1e6
    bench.under_way()
    bench.run(120.0)
    assert bench.stands() is State.RUNNING


def test_a_counter_is_compared_only_after_forty_of_its_steps() -> None:
    """Until then one step is more than 5 % of what it gained."""
    bench = Guarded()
    bench.counter_gain = 0.0
    bench.start_service()
    bench.run(31.0)
    bench.running(target_um=20.0)
    assert APART not in bench.line.state.alarms
    bench.run(30.0)
    assert bench.line.state.alarms[APART].count == 1


@pytest.mark.parametrize("sign", [{"main_uptime": 0.4}, {"main_restarted": 1.0}])
def test_a_supply_that_began_anew_while_off_has_forgotten_its_time_out(sign: dict[str, float]) -> None:
    plain = guarded_setup()
    bench = Guarded(replace(plain, supplies={"main": replace(plain.supplies["main"], device_time_out_s=5.0)}))
    bench.start_service()
    assert bench.supply().armed
    bench.later(0.1)
    bench.tell(**sign)
    assert not bench.supply().armed
    assert "main/supply-restarted" not in bench.line.state.alarms


def test_the_word_that_power_came_on_counts_under_current_alone() -> None:
    bench = Guarded()
    bench.start_service()
    bench.tell(main_restarted=1.0)
    assert "main/supply-restarted" not in bench.line.state.alarms
    bench.run(31.0)
    bench.running(target_um=20.0)
    bench.later(0.1)
    bench.tell(main_restarted=1.0)
    assert bench.operation().why == "supply-restarted"


def test_readings_that_are_not_good_do_not_begin_the_delay_anew() -> None:
    bench = Guarded().under_way()
    bench.devices["main"].gain = 0.85
    for _ in range(8):
        bench.run(1.6)
        bench.current(None, quality=Quality.MALFORMED)
    assert bench.operation().why == "meters-differ"
