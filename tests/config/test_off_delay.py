"""The worst off delay that `check` prints."""

from __future__ import annotations

import pytest

from drivers.modbus_times import transaction_s
from supervisor.config.load import load_line
from supervisor.config.setup import worst_off_delays
from tests.config.conftest import PLAIN, Written

SECOND = """
[devices.second]
link = "bus"
unit = 3
profile = "profiles/bench-supply.toml"
period = "6 s"

[supplies.second]
device = "second"
tank = "acid-two"
output = "second-output"
rated_current = "10 A"
rated_voltage = "60 V"
cap_current = "5 A"
off_threshold = "50 mA"

[outputs.second-output]
role = "supply output"
device = "second"
safe = "off"

[tanks.acid-two]
role = "anodize"
volume = "8 L"
acid = "165 g/L"
temperature = "acid-temperature"

[tanks.acid-two.limits]
trip_low = "16 degC"
warn_low = "19 degC"
warn_high = "22 degC"
trip_high = "24 degC"
deadband = "0.3 degC"
delay = "10 s"

[growth]"""


def test_the_parts_are_time_out_quiet_own_transaction_and_own_work() -> None:
    delay = worst_off_delays(load_line(PLAIN))["main-output"]
    assert (delay.blocked_s, delay.quiet_s, delay.ahead_s, delay.work_s) == (0.15, 0.08, 0, 0.02)
    assert delay.own_s == pytest.approx(16 * 11 / 19200 + 0.08 + 38.5 / 19200)
    assert delay.total_s == pytest.approx(0.15 + 0.08 + 0.02 + delay.own_s)


def test_another_supply_on_the_link_may_go_off_first(written: Written) -> None:
    delays = worst_off_delays(load_line(written(("[growth]", SECOND))))
    assert delays["main-output"].ahead_s == pytest.approx(transaction_s(19200, 8, 0.08))
    assert delays["second-output"].ahead_s == delays["main-output"].ahead_s


def test_a_long_good_answer_counts_where_it_is_longer_than_the_time_out(written: Written) -> None:
    """Four registers at 300 baud: 21 characters take 770 ms, more than any time-out that would be allowed."""
    slow = ('speed = "19200 baud"', 'speed = "300 baud"'), ('"150 ms"', '"900 ms"')
    allowed = ('safe = "off"', 'safe = "off"\nallow_slow_off = true'), ("50 mA", '50 mA"\nproof_deadline = "9 s')
    delay = worst_off_delays(load_line(written(*slow, *allowed)))["main-output"]
    assert delay.blocked_s == pytest.approx(transaction_s(300, 13, 0.08))
    assert delay.blocked_s > 0.9
    assert delay.quiet_s == pytest.approx(38.5 / 300)
