"""How a current meter averages and its supply ripples: read from profile and line file, told where it costs charge."""

from __future__ import annotations

from pathlib import Path

import pytest

from supervisor.cli.check import check
from supervisor.config.load import load_line
from supervisor.config.metering_told import metering_told
from supervisor.config.setup import line_setup
from supervisor.core.setup import SupplySetup
from supervisor.trade.metering import meter
from tests.config.conftest import Edit, Written, assert_told

AVERAGES = 'averaging = "whole mains cycles"'
TIME = 'averaging_time = "100 ms"'
SPOT: tuple[Edit, ...] = ((AVERAGES, 'averaging = "spot"'), (TIME, ""))
NOBODY: tuple[Edit, ...] = ((AVERAGES, ""), (TIME, ""))
RIPPLE = 'ripple = "2 %"'
MAINS = 'mains = "50 Hz"'
QUICK: Edit = ('period = "6 s"', 'period = "100 ms"')


def supply(path: Path) -> SupplySetup:
    return line_setup(load_line(path)).supplies["main"]


def told(path: Path) -> str:
    return "\n".join(metering_told(load_line(path)))


def test_a_profile_and_a_line_file_say_what_a_reading_is_worth(written: Written) -> None:
    assert supply(written()).meter == meter("whole mains cycles", 0.1, 0.02, 100.0, "mean")
    filtered = ((AVERAGES, 'averaging = "filter"\nshows = "true rms"'),)
    path = written((MAINS, 'mains = "60 Hz"'), profile=filtered)
    assert supply(path).meter == meter("filter", 0.1, 0.02, 120.0, "true rms")


def test_what_nobody_says_is_taken_from_the_careful_side(written: Written) -> None:
    assert supply(written((RIPPLE, ""), profile=NOBODY)).meter == meter("spot", 0.0, None, 100.0, "mean")
    assert supply(written((MAINS, ""))).meter == meter("whole mains cycles", 0.1, 0.02, 100.0, "mean")


def test_the_limit_of_error_may_be_a_share_of_the_range(written: Written) -> None:
    path = written(profile=(("0.2 % of reading + 5 mA", "0.2 % of reading + 0.1 % of range"),))
    accuracy = line_setup(load_line(path)).channels["main-current"].accuracy
    assert (accuracy.of_reading, accuracy.absolute) == pytest.approx((0.002, 0.0105))


def test_a_line_file_says_which_bound_a_stop_hangs_on(written: Written) -> None:
    assert line_setup(load_line(written())).anodize.stops_on == "best"
    path = written(("[anodize]", '[anodize]\nstops_on = "low"'))
    assert line_setup(load_line(path)).anodize.stops_on == "low"


@pytest.mark.parametrize(
    ("profile", "key", "problem", "right"),
    [
        (((TIME, ""),), "averaging_time", "lag", "20 ms"),
        (((AVERAGES, 'averaging = "filter"'), (TIME, "")), "averaging_time", "lag", "time constant"),
        (((AVERAGES, 'averaging = "spot"'),), "averaging_time", "takes no time", "remove"),
        ((*SPOT[1:], (AVERAGES, 'averaging = "spot"\nshows = "true rms"')), "shows", "root of a mean", "averages"),
    ],
    ids=["no window", "no time constant", "a spot with a time", "rms of a spot"],
)
def test_a_mistake_in_how_a_meter_averages_is_told(
    written: Written, profile: tuple[Edit, ...], key: str, problem: str, right: str
) -> None:
    path = written(profile=profile)
    assert_told(path, f"profiles/bench-supply.toml: points.current.{key}", problem, right)


def test_only_the_current_that_is_metered_averages(written: Written) -> None:
    path = written(profile=(("[points.output]", 'averaging = "spot"\n\n[points.output]'),))
    assert_told(path, "profiles/bench-supply.toml: points.voltage.averaging", "not the current", "remove averaging")


def test_spot_readings_of_a_current_that_hardly_is_one_are_refused(written: Written) -> None:
    path = written((RIPPLE, 'ripple = "60 %"'), profile=SPOT)
    assert_told(path, "supplies.main.ripple", "any part of the mean", "whole mains cycles")
    assert supply(written((RIPPLE, 'ripple = "60 %"'))).meter.share.low > 0.99


def test_check_tells_what_nobody_says(written: Written, capsys: pytest.CaptureFixture[str]) -> None:
    assert told(written()) == ""
    path = written((RIPPLE, ""), profile=NOBODY)
    assert "nobody says how its current meter averages" in told(path)
    assert "10% counts" in told(path)
    check(path, as_json=False)
    assert "Metered: Supply main: nobody says" in capsys.readouterr().out


def test_check_tells_of_readings_in_phase_and_of_a_period_that_is_not(written: Written) -> None:
    path = written(QUICK, profile=SPOT)
    assert "fall in phase with a ripple of 100 Hz" in told(path)
    assert "up to 2.0% stands in the best charge too. Read it every 103 ms." in told(path)
    assert "in phase" not in told(written(('period = "6 s"', 'period = "103 ms"'), profile=SPOT))
    assert "in phase" not in told(written(QUICK))
    both = told(written(QUICK, (MAINS, ""), profile=SPOT))
    assert "100 and 120 Hz" in both


def test_check_tells_that_true_rms_reads_high(written: Written) -> None:
    rms = ((AVERAGES, f'{AVERAGES}\nshows = "true rms"'),)
    assert "reads up to 11.1% above the mean" in told(written((RIPPLE, ""), profile=rms))
    assert "reads up to 0.0% above" in told(written(profile=rms))
