"""The rows of the table of causes, column by column: what trips, what may be weakened, what waits for a person.

Effects and delays are those of a line that runs unattended over acid (common practice, no source); agitation lost is an
alarm after 10-15 s and a hold by 30-60 s.
"""

from __future__ import annotations

from typing import get_args

import pytest

from supervisor.core.alarms import Priority
from supervisor.core.effects import About, Effect, Interlock, Row
from supervisor.core.interlocks import CAUSES, standard_interlocks, strongest

CONTACTS = {"contact-lost-part", "contact-creeping", "contact-hot", "cathode-touched"}
ELECTRICAL = CONTACTS | {"no-growth", "burning"}
"""What current and volts tell; at the first four somebody will lay hands on the rack."""

TRIPS = {
    Effect.ABORT: {"emergency-stop", "over-current", "over-voltage"},
    Effect.STOP: {"longest-time", "largest-charge", "bath-high-high", "lid-shut"},
    Effect.HOLD: {
        "communication-lost", "heartbeat-lost", "loop-late", "contactor-dropped", "contactor-failed", "not-ready",
        "supply-silent", "current-lost", "output-dropped", "settings-differ", "command-failed", "interrupted",
        "supply-restarted", "meters-differ", "bath-low-low", "temperature-lost", "temperature-doubted",
        "ventilation-lost", "agitation-long-lost", "level-low", "guard-open", *ELECTRICAL,
    },
}  # fmt: skip

WARNINGS = {
    "urgent-switch-failed", "switch-failed", "button-held", "supply-absent", "current-without-operation",
    "off-not-proven", "contactor-stuck", "ramp-not-confirmed", "current-off-plan", "switch-off-by-hand",
    "voltage-ceiling", "bath-low", "bath-high", "lid-open", "agitation-lost", "no-rise", "no-fall",
    "heating-unattended", "left-in-acid", "left-long-in-acid", "bath-will-overheat", "area-wrong",
    "calibration-due", "second-sensor-lost",
}  # fmt: skip

HANDS_AT_ONCE = {
    "urgent-switch-failed", "current-without-operation", "off-not-proven", "contactor-stuck", "switch-off-by-hand",
}  # fmt: skip


def those(**columns: object) -> set[str]:
    """Causes whose rows have these values."""
    return {cause for cause, row in CAUSES.items() if all(getattr(row, of) == value for of, value in columns.items())}


def other_than(column: str, usual: float) -> dict[str, float]:
    """What a column says where it is not as usual."""
    return {cause: getattr(row, column) for cause, row in CAUSES.items() if getattr(row, column) != usual}


@pytest.mark.parametrize("effect", TRIPS)
def test_what_holds_stops_or_aborts(effect: Effect) -> None:
    assert those(effect=effect) == TRIPS[effect]


def test_everything_else_warns() -> None:
    assert those(effect=Effect.WARN) == WARNINGS


def test_a_trip_and_what_asks_for_hands_at_once_are_of_high_priority_and_little_is_low() -> None:
    tripping = set().union(*TRIPS.values())
    assert those(priority=Priority.HIGH) == (tripping - {"not-ready"}) | HANDS_AT_ONCE | {"no-rise"}
    assert those(priority=Priority.LOW) == {
        "button-held", "lid-open", "heating-unattended", "left-in-acid", "calibration-due", "second-sensor-lost",
    }  # fmt: skip


def test_what_asks_for_hands_at_once_is_never_hidden() -> None:
    assert those(shelvable=False) == HANDS_AT_ONCE


def test_a_line_file_may_weaken_a_trip_to_a_hold_and_only_what_it_may_leave_out_further() -> None:
    assert those(least=Effect.ABORT) == {"emergency-stop"}
    assert those(least=Effect.STOP) == {"longest-time", "largest-charge"}
    weaker = {cause for cause in set().union(*TRIPS.values()) if CAUSES[cause].least is Effect.WARN}
    assert weaker == {"meters-differ", "bath-low-low"} | ELECTRICAL - {"cathode-touched"}


def test_a_line_file_may_weaken_no_row_to_more_than_it_does() -> None:
    assert all(row.least <= row.effect for row in CAUSES.values())


def test_what_marks_the_load_as_suspect() -> None:
    assert those(suspect=True) == {
        "emergency-stop", "contactor-dropped", "current-lost", "output-dropped", "over-current", "largest-charge",
        "supply-restarted", "over-voltage", *ELECTRICAL,
    }  # fmt: skip


def test_warnings_that_wait_for_a_person_after_their_cause_is_gone() -> None:
    assert those(latch=True) == {"current-without-operation", "off-not-proven", "contactor-stuck", "no-rise"}


def test_what_turns_the_heater_off_and_what_opens_the_contactor() -> None:
    assert {cause for cause, row in CAUSES.items() if "heater off" in row.also} == {
        "emergency-stop", "communication-lost", "heartbeat-lost", "bath-high-high", "temperature-lost",
        "temperature-doubted", "level-low", "no-rise",
    }  # fmt: skip
    assert {cause for cause, row in CAUSES.items() if "contactor open" in row.also} == {
        "emergency-stop", "contactor-dropped", "supply-silent", "current-lost", "output-dropped", "supply-restarted",
        "over-voltage", *CONTACTS,
    }  # fmt: skip


def test_how_long_a_cause_must_be_there_before_it_counts() -> None:
    assert other_than("on_delay_s", 0.0) == {
        "button-held": 30.0, "current-off-plan": 30.0, "voltage-ceiling": 30.0, "meters-differ": 10.0, "lid-shut": 1.0,
        "lid-open": 600.0, "ventilation-lost": 5.0, "agitation-lost": 12.0, "agitation-long-lost": 45.0,
        "level-low": 3.0, "left-in-acid": 120.0, "left-long-in-acid": 300.0, "bath-will-overheat": 20.0,
        "second-sensor-lost": 10.0,
    }  # fmt: skip


def test_how_long_a_line_file_may_let_a_cause_be_there() -> None:
    assert other_than("longest_s", 0.0) == {
        "button-held": 300.0, "current-off-plan": 300.0, "voltage-ceiling": 300.0, "meters-differ": 120.0,
        "lid-shut": 5.0, "lid-open": 7200.0, "ventilation-lost": 15.0, "agitation-lost": 15.0,
        "agitation-long-lost": 60.0, "level-low": 60.0, "guard-open": 2.0, "left-in-acid": 300.0,
        "left-long-in-acid": 900.0, "bath-will-overheat": 120.0, "second-sensor-lost": 3600.0,
    }  # fmt: skip


def test_how_long_a_cause_must_be_gone_before_it_has_gone() -> None:
    assert other_than("off_delay_s", 0.0) == {
        "bath-low": 30.0,
        "bath-high": 30.0,
        "lid-open": 5.0,
        "agitation-lost": 5.0,
        "bath-will-overheat": 60.0,
        "second-sensor-lost": 30.0,
    }


def test_what_counts_only_while_current_flows() -> None:
    assert those(when="with current") == {
        "lid-shut", "ventilation-lost", "agitation-lost", "agitation-long-lost", "guard-open",
    }  # fmt: skip
    assert those(when="always") == set(CAUSES) - those(when="with current")


@pytest.mark.parametrize("cause", CAUSES)
def test_a_row_is_about_something_there_is_and_brings_other_causes_along(cause: str) -> None:
    row = CAUSES[cause]
    assert row.about in get_args(About)
    assert set(row.brings) <= set(CAUSES) - {cause}


def test_a_row_that_says_no_more_than_it_must() -> None:
    row = Row(Effect.WARN, Priority.LOW, "What.", "Follows.", "First.", "Long.")
    assert row.standard == Interlock(Effect.WARN, frozenset(), 0.0, 0.0)
    assert (row.least, row.longest_s, row.about, row.when) == (Effect.WARN, 0.0, "supply", "always")
    assert (row.suspect, row.latch, row.shelvable) == (False, False, True)


def test_effects_rise_from_a_warning_to_an_abort() -> None:
    assert list(Effect) == sorted(Effect)
    assert [effect.name for effect in Effect] == ["WARN", "HOLD", "STOP", "ABORT"]


@pytest.mark.parametrize(
    ("interlock", "trips"),
    [
        (Interlock(Effect.WARN), False),
        (Interlock(Effect.HOLD), True),
        (Interlock(Effect.ABORT), True),
        (Interlock(Effect.WARN, frozenset({"heater off"})), True),
    ],
)
def test_whatever_switches_something_off_trips_and_waits_for_a_person(interlock: Interlock, trips: bool) -> None:
    row = Row(Effect.WARN, Priority.LOW, "What.", "Follows.", "First.", "Long.")
    assert interlock.trips is trips
    assert row.latches(interlock) is trips


def test_a_warning_may_wait_for_a_person_by_itself() -> None:
    row = Row(Effect.WARN, Priority.LOW, "What.", "Follows.", "First.", "Long.", latch=True)
    assert row.latches(row.standard)


def test_an_interlock_that_says_no_more_has_no_delays() -> None:
    assert (Interlock(Effect.HOLD).on_delay_s, Interlock(Effect.HOLD).off_delay_s) == (0.0, 0.0)


def test_the_mains_are_cut_by_hand_only_where_nothing_else_can() -> None:
    row = Row(Effect.WARN, Priority.LOW, "What.", "Follows.", "First {subject}.", "Long.", by_hand="Cut {subject}.")
    assert row.told("main", second_means=True)[2] == "First main."
    assert row.told("main", second_means=False)[2] == "Cut main."
    plain = Row(Effect.WARN, Priority.LOW, "{subject} is.", "{subject} follows.", "First.", "Long.")
    assert plain.told("main", second_means=False) == ("main is.", "main follows.", "First.")


def test_a_line_does_what_the_rows_say_where_its_file_says_nothing() -> None:
    assert standard_interlocks() == {cause: row.standard for cause, row in CAUSES.items()}


def test_of_equally_strong_causes_the_first_in_the_table_names_the_trip() -> None:
    assert strongest({"supply-silent": Effect.HOLD, "heartbeat-lost": Effect.HOLD}) == "heartbeat-lost"
    assert strongest({"heartbeat-lost": Effect.HOLD, "supply-silent": Effect.STOP}) == "supply-silent"
