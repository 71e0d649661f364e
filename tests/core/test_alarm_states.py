"""The alarm table of IEC 62682 state by state, and what one alarm remembers as it walks it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from supervisor.core import alarms
from supervisor.core.alarms import HIDDEN, LATCHED, STANDING, TABLE, UNANSWERED, Alarm, AlarmState, AlarmTrigger

S, T = AlarmState, AlarmTrigger
SEEN = sorted(set(S) - HIDDEN)
SHOWS = {T.SHOW_NORMAL: S.NORMAL, T.SHOW_STANDING: S.UNACKNOWLEDGED, T.SHOW_LATCHED: S.LATCHED_UNACKNOWLEDGED}


def moves(trigger: AlarmTrigger) -> dict[AlarmState, AlarmState]:
    """Where a trigger leads to from each state that it moves."""
    return {state: row[trigger] for state, row in TABLE.items() if row[trigger] is not state}


def stood(*, latches: bool = False, state: AlarmState = S.UNACKNOWLEDGED) -> Alarm:
    """An alarm whose cause appeared at process time 10 s."""
    return replace(alarms.appear(Alarm("bath-high", "acid"), 10.0, 0.0, latches=latches), state=state)


# -- the table


def test_a_cause_that_appears_is_told_from_every_state_in_which_it_was_gone() -> None:
    gone = {S.NORMAL, S.RETURNED_UNACKNOWLEDGED, S.LATCHED_UNACKNOWLEDGED, S.LATCHED_ACKNOWLEDGED}
    assert moves(T.APPEARS) == dict.fromkeys(gone, S.UNACKNOWLEDGED)


def test_a_cause_that_goes_leaves_what_was_not_acknowledged_and_what_latches() -> None:
    assert moves(T.GOES) == {S.UNACKNOWLEDGED: S.RETURNED_UNACKNOWLEDGED, S.ACKNOWLEDGED: S.NORMAL}
    assert moves(T.GOES_LATCHED) == {
        S.UNACKNOWLEDGED: S.LATCHED_UNACKNOWLEDGED,
        S.ACKNOWLEDGED: S.LATCHED_ACKNOWLEDGED,
    }


def test_an_acknowledgement_moves_what_nobody_has_answered_and_nothing_else() -> None:
    assert moves(T.ACKNOWLEDGE) == {
        S.UNACKNOWLEDGED: S.ACKNOWLEDGED,
        S.RETURNED_UNACKNOWLEDGED: S.NORMAL,
        S.LATCHED_UNACKNOWLEDGED: S.LATCHED_ACKNOWLEDGED,
    }
    assert set(moves(T.ACKNOWLEDGE)) == UNANSWERED


def test_a_reset_clears_what_is_gone_and_never_what_stands_or_is_hidden() -> None:
    gone = {S.RETURNED_UNACKNOWLEDGED, S.LATCHED_UNACKNOWLEDGED, S.LATCHED_ACKNOWLEDGED}
    assert moves(T.RESET) == dict.fromkeys(gone, S.NORMAL)


def test_only_an_acknowledged_alarm_is_told_again() -> None:
    assert moves(T.AGAIN) == {S.ACKNOWLEDGED: S.UNACKNOWLEDGED}


def test_every_alarm_that_is_seen_can_be_hidden_and_a_hidden_one_only_further() -> None:
    assert moves(T.SHELVE) == dict.fromkeys((*SEEN, S.SUPPRESSED), S.SHELVED)
    assert moves(T.SUPPRESS) == dict.fromkeys(SEEN, S.SUPPRESSED)
    assert moves(T.TAKE_OUT) == dict.fromkeys((*SEEN, S.SHELVED, S.SUPPRESSED), S.OUT_OF_SERVICE)


@pytest.mark.parametrize("trigger", SHOWS)
def test_what_is_shown_again_stands_where_its_cause_is(trigger: AlarmTrigger) -> None:
    assert {TABLE[state][trigger] for state in HIDDEN} == {SHOWS[trigger]}
    assert all(TABLE[state][trigger] is state for state in SEEN)


def test_the_named_sets_of_states_are_what_the_table_makes_of_them() -> None:
    assert set(moves(T.GOES_LATCHED)) == STANDING
    assert set(moves(T.GOES_LATCHED).values()) == LATCHED
    assert {S.SHELVED, S.SUPPRESSED, S.OUT_OF_SERVICE} == HIDDEN


# -- delays


def test_a_cause_counts_once_it_was_there_for_the_on_delay() -> None:
    begun, due = alarms.turn(Alarm("bath-high", "acid"), True, 100.0, 5.0, 50.0)
    assert (begun.turning_s, due) == (100.0, False)
    assert alarms.turn(begun, True, 104.9, 5.0, 50.0) == (begun, False)
    done, due = alarms.turn(begun, True, 105.0, 5.0, 50.0)
    assert (done.turning_s, due) == (None, True)


def test_a_cause_is_gone_once_it_was_gone_for_the_off_delay() -> None:
    begun, due = alarms.turn(stood(), False, 100.0, 50.0, 5.0)
    assert (begun.turning_s, due) == (100.0, False)
    assert alarms.turn(begun, False, 104.9, 50.0, 5.0) == (begun, False)
    assert alarms.turn(begun, False, 105.0, 50.0, 5.0)[1]


def test_a_cause_that_says_what_holds_already_ends_a_delay() -> None:
    begun, _ = alarms.turn(Alarm("bath-high", "acid"), True, 100.0, 5.0, 5.0)
    assert alarms.turn(begun, False, 101.0, 5.0, 5.0) == (replace(begun, turning_s=None), False)


@pytest.mark.parametrize(
    ("active", "turning_s", "state", "present"),
    [
        (False, None, S.NORMAL, False),
        (False, 5.0, S.NORMAL, True),
        (True, None, S.UNACKNOWLEDGED, True),
        (True, 5.0, S.UNACKNOWLEDGED, False),
        (False, None, S.SUPPRESSED, True),
    ],
)
def test_a_cause_is_present_as_it_says_now_whatever_its_delay(
    active: bool, turning_s: float | None, state: AlarmState, present: bool
) -> None:
    assert Alarm("bath-high", "acid", state, active=active, turning_s=turning_s).present is present


# -- what one alarm remembers


def test_an_appearance_dates_the_alarm_and_takes_back_its_acknowledgement() -> None:
    before = Alarm("bath-high", "acid", S.LATCHED_ACKNOWLEDGED, count=2, acknowledged_s=7.0, recent_s=(1.0, 2.0, 3.0))
    after = alarms.appear(before, 10.0, 1e9, latches=True)
    assert after == replace(
        before, state=S.UNACKNOWLEDGED, active=True, latch=True, since_wall_s=1e9, since_s=10.0, count=3,
        recent_s=(2.0, 3.0, 10.0), acknowledged_s=None,
    )  # fmt: skip


@pytest.mark.parametrize("state", sorted(HIDDEN))
def test_a_hidden_alarm_whose_cause_appears_stays_hidden_and_acts(state: AlarmState) -> None:
    alarm = alarms.appear(Alarm("bath-high", "acid", state), 10.0, 0.0, latches=True)
    assert (alarm.state, alarm.standing, alarm.told) == (state, True, False)


def test_a_cause_that_goes_leaves_a_latch_behind_and_only_where_there_is_one() -> None:
    latched, plain = alarms.go(stood(latches=True)), alarms.go(stood())
    assert (latched.state, latched.active, latched.latched) == (S.LATCHED_UNACKNOWLEDGED, False, True)
    assert (plain.state, plain.active, plain.latched) == (S.RETURNED_UNACKNOWLEDGED, False, False)


def test_what_stands_is_not_latched_yet() -> None:
    assert not stood(latches=True).latched


def test_an_acknowledgement_is_dated_while_the_alarm_is_acknowledged_and_no_longer() -> None:
    seen = alarms.acknowledge(stood(), 20.0)
    assert (seen.state, seen.acknowledged_s) == (S.ACKNOWLEDGED, 20.0)
    assert alarms.acknowledge(seen, 30.0) is seen
    assert alarms.go(seen).acknowledged_s is None
    assert alarms.acknowledge(alarms.go(stood(latches=True)), 20.0).acknowledged_s is None


def test_a_reset_ends_a_latch_whose_cause_is_gone_hidden_or_not() -> None:
    latched = alarms.go(stood(latches=True))
    assert (alarms.reset(latched).state, alarms.reset(latched).latch) == (S.NORMAL, False)
    shelved = alarms.hide(latched, T.SHELVE, "why", 100.0)
    assert (alarms.reset(shelved).state, alarms.reset(shelved).latch) == (S.SHELVED, False)


def test_a_reset_does_nothing_while_the_cause_is_there() -> None:
    shelved = alarms.hide(stood(latches=True), T.SHELVE, "why", 100.0)
    assert alarms.reset(shelved) is shelved


def test_one_told_again_is_to_be_acknowledged_anew() -> None:
    again = alarms.again(alarms.acknowledge(stood(), 20.0))
    assert (again.state, again.acknowledged_s) == (S.UNACKNOWLEDGED, None)


def test_a_hidden_alarm_keeps_why_and_until_when_and_a_shelving_can_be_given_another_time() -> None:
    shelved = alarms.hide(alarms.acknowledge(stood(), 20.0), T.SHELVE, "noise", 100.0)
    assert (shelved.state, shelved.why, shelved.shelved_until_s) == (S.SHELVED, "noise", 100.0)
    assert shelved.acknowledged_s is None
    assert alarms.hide(shelved, T.SHELVE, "more noise", 200.0).shelved_until_s == 200.0
    out = alarms.hide(shelved, T.TAKE_OUT, "repair")
    assert (out.state, out.why, out.shelved_until_s) == (S.OUT_OF_SERVICE, "repair", None)


def test_what_is_out_of_service_is_not_hidden_otherwise() -> None:
    out = alarms.hide(stood(), T.TAKE_OUT, "repair")
    assert alarms.hide(out, T.SHELVE, "noise", 100.0) is out
    assert alarms.hide(out, T.SUPPRESS) is out


@pytest.mark.parametrize(
    ("alarm", "state"),
    [
        (stood(latches=True), S.UNACKNOWLEDGED),
        (alarms.go(stood(latches=True)), S.LATCHED_UNACKNOWLEDGED),
        (alarms.go(stood()), S.NORMAL),
    ],
)
def test_the_end_of_a_hiding_shows_what_the_cause_came_to(alarm: Alarm, state: AlarmState) -> None:
    shown = alarms.show(alarms.hide(alarm, T.SHELVE, "noise", 100.0))
    assert (shown.state, shown.why, shown.shelved_until_s) == (state, "", None)


def test_a_consequence_stays_one_until_it_is_normal() -> None:
    folded = replace(stood(), under="guard/guard-open")
    assert not folded.told
    assert alarms.go(folded).under == "guard/guard-open"
    assert alarms.reset(alarms.go(folded)).under == ""


@pytest.mark.parametrize("state", sorted(S))
def test_an_alarm_is_told_unless_it_is_normal_or_hidden(state: AlarmState) -> None:
    assert Alarm("bath-high", "acid", state).told is (state not in HIDDEN | {S.NORMAL})


def test_an_alarm_that_never_was_is_undated_and_neither_acts_nor_latches() -> None:
    never = Alarm("bath-high", "acid")
    assert (never.state, never.since_s, never.since_wall_s, never.count) == (S.NORMAL, 0.0, 0.0, 0)
    assert not any((never.active, never.latch, never.present, never.chatters))


def test_chattering_is_three_appearances_within_a_minute_whenever_that_is() -> None:
    alarm = Alarm("bath-high", "acid", recent_s=(1000.0, 1030.0, 1060.0))
    assert alarm.chatters
    assert not replace(alarm, recent_s=(1000.0, 1030.0, 1060.1)).chatters
    assert not replace(alarm, recent_s=(1030.0, 1060.0)).chatters


@pytest.mark.parametrize("since_s", [0.1, 100.7, 4242.3, 99999.123])
@pytest.mark.parametrize("delay_s", [0.7, 1.1, 3.3])
def test_a_delay_is_over_at_the_very_moment_that_the_line_is_woken_for(since_s: float, delay_s: float) -> None:
    """Their difference may be a hair less than the delay, and nobody would be woken again."""
    turning = replace(Alarm("bath-high", "acid"), turning_s=since_s)
    assert alarms.turn(turning, True, since_s + delay_s, delay_s, 0.0)[1]
