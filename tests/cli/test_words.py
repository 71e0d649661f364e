"""How a line stands, in words: every figure with its unit, no number for a bad reading, alarms told in full once."""

from __future__ import annotations

import pytest

from supervisor.cli.words import alarm_text, clock, duration, output_text, state_text, status_lines
from tests.cli.states import IDLE, alarm, running, with_operation, with_switches


@pytest.mark.parametrize(
    ("seconds", "said"), [(None, "---"), (0, "0 s"), (59.4, "59 s"), (59.6, "1 min 00 s"), (962, "16 min 02 s")]
)
def test_a_time_is_said_in_minutes_and_seconds(seconds: float | None, said: str) -> None:
    assert duration(seconds) == said


@pytest.mark.parametrize(
    ("seconds", "said"), [(None, "---"), (0, "0:00"), (59.6, "1:00"), (962, "16:02"), (3599.6, "1:00:00")]
)
def test_a_clock_shows_hours_only_from_an_hour_on(seconds: float | None, said: str) -> None:
    assert clock(seconds) == said


def test_a_line_of_text_tells_state_band_charge_time_volts_amps_and_bath() -> None:
    (line,) = state_text(running())
    for part in (
        "running",
        "12.1 µm",
        "10.5 µm",
        "12.5 µm",
        "48.0 A·min",
        "16 min 02 s",
        "1.95 A",
        "16.33 V",
        "20.6 °C",
    ):
        assert part in line


def test_a_line_in_us_units_shows_mil_and_fahrenheit() -> None:
    (line,) = state_text(running() | {"units": "us"})
    assert "mil" in line
    assert "69.1 °F" in line
    assert "µm" not in line


def test_a_bad_reading_has_no_number() -> None:
    tank = {"temperature_c": None, "reading": "absent", "low_c": 19.0, "high_c": 22.0}
    (line,) = state_text(running(current_a=None, voltage_v=None) | {"tanks": {"acid": tank}})
    assert line.endswith("---, ---, acid --- (reading absent)")


def test_an_idle_supply_is_told_without_a_load() -> None:
    (line,) = state_text(running(**IDLE))
    assert line.startswith("main: idle, output off, proven; 0.00 A")


def test_the_cause_that_ended_an_operation_is_named() -> None:
    (line,) = state_text(with_operation(why="bath-high-high"))
    assert "because of bath-high-high" in line


def test_only_a_proof_makes_an_output_off() -> None:
    assert output_text({"off_proven": True, "wanted_on": False}) == "off, proven"
    assert output_text({"off_proven": False, "wanted_on": False}) == "off, NOT proven"
    assert output_text({"off_proven": False, "wanted_on": True}) == "on"


def test_a_standing_alarm_says_what_happened_what_follows_and_what_to_do() -> None:
    told = alarm_text(alarm("acid/bath-high"), known=True)
    assert all(part in told for part in ("high priority", "What happened", "What follows", "First: What to do"))


def test_an_alarm_that_came_and_went_unseen_is_still_told_in_full() -> None:
    told = alarm_text(alarm("main/current-lost", standing=False), known=False)
    assert "What happened" in told
    assert "its cause is gone" in told


def test_of_a_known_alarm_only_its_end_is_told() -> None:
    told = alarm_text(alarm("main/current-lost", standing=False), known=True)
    assert "What happened" not in told
    assert "its cause is gone (latched, unacknowledged)" in told


WAITED = "waits for: turn up to 1.95 A, 22.00 V at most, then ampminder anodize confirm"
SWITCHES = (
    "exercising fan: away from its safe state for a moment",
    "outputs: breaker closed, fan on (NOT confirmed)",
    "contacts: lid closed, level open, air --- (reading no answer)",
    "heartbeats: board beats",
)


def test_the_status_tells_knobs_what_they_wait_for_and_all_that_is_switched() -> None:
    lines = list(status_lines(with_switches()))
    assert lines[1].startswith("  main (set by its knobs): running")
    assert lines[2] == f"    {WAITED}"
    assert [line.strip() for line in lines if line.strip() in SWITCHES] == list(SWITCHES)


def test_a_live_line_tells_the_same_in_two() -> None:
    supply, switches = state_text(with_switches())
    assert supply.endswith(f"; {WAITED}")
    assert switches == "; ".join(SWITCHES)


def test_a_heartbeat_that_is_not_heard_has_no_beat() -> None:
    silent = with_switches() | {"heartbeats": {"board": {"seconds": None, "reading": "no answer"}}}
    assert "  heartbeats: board --- (reading no answer)" in list(status_lines(silent))


def test_a_line_without_switches_says_nothing_of_them() -> None:
    said = "\n".join(status_lines(running()))
    assert not any(word in said for word in ("outputs", "contacts", "heartbeats", "waits for", "knobs", "exercising"))
