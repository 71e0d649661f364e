"""What is typed about alarms, what is asked of the supervisor for it, and the list that a person reads."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from typing import Any

import pytest

from supervisor.cli.alarm_list import alarm_list, history_lines, rate_text
from supervisor.cli.folding import fold, hidden_text
from supervisor.cli.main import main
from supervisor.core.alarms import AlarmState
from tests.cli.conftest import Asked, Supervisor
from tests.cli.states import RUNNING, alarm, with_alarms

NOW_S = float(RUNNING["at"]["wall_s"])
"""2027-01-15 08:00:00 UTC."""


@pytest.fixture(autouse=True)
def _in_utc(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setenv("TZ", "UTC")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.mark.parametrize(
    ("typed", "kind", "body"),
    [
        ("ack a/b", "alarm acknowledge", {"alarm": "a/b"}),
        ("acknowledge a/b", "alarm acknowledge", {"alarm": "a/b"}),
        ("reset a/b", "alarm reset", {"alarm": "a/b"}),
        ("shelve a/b --for 2h --why pump", "alarm shelve", {"alarm": "a/b", "for": "2h", "why": "pump"}),
        ("unshelve a/b", "alarm unshelve", {"alarm": "a/b"}),
        ("out-of-service a/b --why pump", "alarm out of service", {"alarm": "a/b", "why": "pump"}),
        ("out-of-service a/b", "alarm out of service", {"alarm": "a/b"}),
        ("in-service a/b", "alarm in service", {"alarm": "a/b"}),
        ("silence", "alarm silence", {}),
        ("test", "alarm test", {}),
    ],
)
def test_what_is_typed_is_asked_for(
    typed: str, kind: str, body: dict[str, Any], asked: Asked, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["alarms", *typed.split()]) == 0
    assert asked == [(kind, body)]
    said = capsys.readouterr().out
    assert said.startswith(body["alarm"] if body else ("The horn", "Every lamp"))


def test_a_refusal_gives_every_reason_and_exit_code_1(
    supervisor: Supervisor, capsys: pytest.CaptureFixture[str]
) -> None:
    supervisor.refuses = {"a/b": "why: a reason is needed."}
    assert main(["alarms", "shelve", "a/b"]) == 1
    assert supervisor.asked == [("alarm shelve", {"alarm": "a/b"})]
    assert "why: a reason is needed." in capsys.readouterr().err
    assert main(["alarms", "shelve", "a/b", "--json"]) == 1
    assert json.loads(capsys.readouterr().out) == {"version": 1, "ok": False, "reasons": ["why: a reason is needed."]}


@pytest.mark.parametrize("typed", [["ack"], ["ack", "a/b", "--all"]])
def test_an_acknowledgement_is_of_one_alarm_or_of_all(
    typed: list[str], asked: Asked, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["alarms", *typed]) == 2
    assert asked == []
    assert "NAME" in capsys.readouterr().err.upper()


def test_all_means_each_unanswered_alarm_that_is_told_now_each_by_a_request_of_its_own(
    supervisor: Supervisor, capsys: pytest.CaptureFixture[str]
) -> None:
    supervisor.status = with_alarms(
        alarm("acid/bath-high"),
        alarm("main/current-lost", under="acid/bath-high"),
        alarm("main/latched", active=False),
        alarm("main/seen", state=AlarmState.ACKNOWLEDGED),
        alarm("main/seen-latched", active=False, state=AlarmState.LATCHED_ACKNOWLEDGED),
        alarm("main/shelved", state=AlarmState.SHELVED),
        alarm("main/late", state=AlarmState.ACKNOWLEDGED),
        alarm("main/late-consequence", under="main/late"),
        alarm("main/of-shelved", under="main/shelved"),
    )
    assert main(["alarms", "ack", "--all"]) == 0
    acknowledged = ["main/late", "acid/bath-high", "main/latched"]
    assert all(kind == "alarm acknowledge" for kind, _ in supervisor.asked)
    assert sorted(body["alarm"] for _, body in supervisor.asked) == sorted(acknowledged)
    assert len(set(supervisor.ids)) == 3
    said = capsys.readouterr().out
    assert all(f"{name}: acknowledged." in said for name in acknowledged)
    assert "What to do about acid/bath-high." in said


def test_one_of_all_that_is_refused_is_told_and_the_others_are_acknowledged(
    supervisor: Supervisor, capsys: pytest.CaptureFixture[str]
) -> None:
    supervisor.status = with_alarms(alarm("a/1"), alarm("a/2"))
    supervisor.refuses = {"a/1": "alarm: a/1 is acknowledged already."}
    assert main(["alarms", "ack", "--all", "--json"]) == 1
    assert json.loads(capsys.readouterr().out) == {
        "version": 1, "ok": False, "acknowledged": ["a/2"], "reasons": ["alarm: a/1 is acknowledged already."],
    }  # fmt: skip


def test_with_nothing_to_acknowledge_all_is_done(supervisor: Supervisor, capsys: pytest.CaptureFixture[str]) -> None:
    supervisor.status = with_alarms()
    assert main(["alarms", "ack", "--all"]) == 0
    assert capsys.readouterr().out == "There is nothing to acknowledge.\n"
    assert supervisor.asked == []


@pytest.mark.parametrize(
    "typed", [["alarms", "--json"], ["alarms", "--json", "history"], ["alarms", "history", "--json"]]
)
def test_the_list_and_the_history_are_objects_with_a_version_for_programs(
    typed: list[str], supervisor: Supervisor, capsys: pytest.CaptureFixture[str]
) -> None:
    supervisor.status = with_alarms(alarm("a/1")) | {"alarm_log": []}
    assert main(typed) == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["version"], told["ok"]) == (1, True)
    assert ("alarm_log" in told) is ("history" in typed)
    assert ("alarms" in told) is ("history" not in typed)


def test_without_a_supervisor_the_list_says_so(
    tmp_path: Any, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("AMPMINDER_RUNTIME", str(tmp_path))
    tmp_path.chmod(0o700)
    assert main(["alarms"]) == 1
    assert "No supervisor is running" in capsys.readouterr().err


def listed(*alarms: dict[str, Any], columns: int | None = None, **changes: Any) -> list[str]:
    return list(alarm_list(with_alarms(*alarms) | changes, columns))


def test_an_alarm_is_listed_with_all_that_a_person_needs() -> None:
    lines = listed(alarm("acid/bath-high", "medium", since_wall_s=NOW_S - 61.0, count=3))
    assert lines[:8] == [
        "line bench at 2027-01-15 08:00:00",
        "",
        "ACTING NOW",
        "  MEDIUM acid/bath-high   unacknowledged, since 07:58:59, 3 times by now",
        "        What happened to acid/bath-high.",
        "        What follows acid/bath-high.",
        "        First: What to do about acid/bath-high.",
        "        Time:  How long there is for acid/bath-high.",
    ]


def test_one_that_stands_for_longer_than_a_day_is_listed_with_its_date() -> None:
    assert "since 2027-01-13 08:00:00" in listed(alarm("a/1", since_wall_s=NOW_S - 2 * 86400.0))[3]


def test_one_that_never_came_has_no_moment() -> None:
    lines = listed(alarm("a/1", active=False, state=AlarmState.OUT_OF_SERVICE, count=0))
    assert lines[3] == "  HIGH   a/1   out of service, never come yet"


def test_consequences_stand_under_their_head_and_nowhere_else() -> None:
    lines = listed(alarm("b/head"), alarm("a/first", under="b/head"), alarm("c/second", under="b/head"))
    at = next(number for number, line in enumerate(lines) if "Consequences (2):" in line)
    assert [line.split()[0] for line in lines[at + 1 : at + 3]] == ["a/first", "c/second"]
    assert all(len(line) - len(line.lstrip()) > 8 for line in lines[at + 1 : at + 3])
    assert sum("c/second" in line.split()[:2] for line in lines) == 1


def test_a_consequence_whose_head_is_gone_stands_by_itself() -> None:
    (head,) = fold([alarm("a/1", under="b/gone")])
    assert head.alarm["name"] == "a/1"


EVERY_STATE = (
    alarm("a/suppressed", active=False, state=AlarmState.SUPPRESSED),
    alarm("a/out", state=AlarmState.OUT_OF_SERVICE, why="sensor is broken (kim)"),
    alarm("a/shelved", active=False, state=AlarmState.SHELVED, shelved_for_s=1800.0, why="pump (kim)"),
    alarm("a/returned", active=False, state=AlarmState.RETURNED_UNACKNOWLEDGED),
    alarm("a/latched", active=False),
    alarm("a/latched-seen", active=False, state=AlarmState.LATCHED_ACKNOWLEDGED),
    alarm("a/low", "low", state=AlarmState.ACKNOWLEDGED),
    alarm("a/high"),
)


def test_what_acts_now_is_listed_first_then_latched_returned_and_hidden_ones() -> None:
    lines = listed(*EVERY_STATE)
    titles = [line.split(" (")[0] for line in lines if line[:1].isupper() and " in the last" not in line]
    assert titles == [
        "ACTING NOW", "LATCHED", "RETURNED TO NORMAL", "SHELVED", "OUT OF SERVICE", "SUPPRESSED BY DESIGN",
    ]  # fmt: skip
    names = [line.split()[1] for line in lines if line.startswith("  ") and "since" in line]
    assert names == [
        "a/high", "a/low", "a/latched", "a/latched-seen", "a/returned", "a/shelved", "a/out", "a/suppressed",
    ]  # fmt: skip


@pytest.mark.parametrize("state", [state for state in AlarmState if state is not AlarmState.NORMAL])
def test_every_state_is_listed_in_the_standards_words(state: AlarmState) -> None:
    assert any(f"a/1   {state}, since" in line for line in listed(alarm("a/1", state=state)))


def test_one_whose_consequence_acts_yet_is_listed_among_what_acts() -> None:
    lines = listed(alarm("b/head", active=False), alarm("a/consequence", under="b/head"))
    assert lines[2] == "ACTING NOW"
    assert "b/head" in lines[3]


def test_a_hidden_alarm_says_until_when_why_and_that_its_cause_is_there() -> None:
    said = "\n".join(listed(*EVERY_STATE))
    assert "until 08:30:00, 30 min more; because: pump (kim)" in said
    assert "because: sensor is broken (kim); ITS CAUSE IS THERE NOW" in said


def test_a_hidden_alarm_is_told_in_full_only_while_its_cause_is_there() -> None:
    said = "\n".join(listed(*EVERY_STATE))
    assert "What to do about a/out." in said
    assert "What to do about a/shelved." not in said


def test_at_another_pace_than_life_a_shelving_ends_when_the_clock_on_the_wall_says_so() -> None:
    lines = listed(*EVERY_STATE, speed=60.0)
    assert any("until 08:00:30, 30 min more" in line for line in lines)


def test_a_shelved_consequence_is_found_among_what_is_shelved() -> None:
    heads = fold([alarm("b/head"), alarm("a/1", state=AlarmState.SHELVED, under="b/head")])
    assert sorted(head.alarm["name"] for head in heads) == ["a/1", "b/head"]
    assert all(head.consequences == () for head in heads)


def test_what_people_hid_is_counted_and_what_design_hides_is_not() -> None:
    assert hidden_text(fold(EVERY_STATE)) == "1 shelved, 1 out of service"
    assert hidden_text(fold(EVERY_STATE[:1])) == ""


def test_sentences_are_broken_to_the_width_of_a_terminal() -> None:
    long = alarm("a/1", first="word " * 60)
    assert max(map(len, listed(long, columns=60))) <= 60
    assert max(map(len, listed(long))) > 300


def test_no_alarms_are_said_to_be_none() -> None:
    assert listed()[0] == "line bench at 2027-01-15 08:00:00: no alarms"


def rate(**changes: Any) -> str:
    return rate_text(RUNNING["alarm_rate"] | changes)


def test_the_last_line_tells_the_rate_against_what_a_person_can_deal_with() -> None:
    assert listed()[-1] == (
        "0 alarms in the last 10 min (1 in 10 min can be dealt with, 10 are a flood); chattering: none; "
        "standing for more than a day: none."
    )
    assert rate(told_lately=1).startswith("1 alarm in")
    assert not rate(told_lately=9).startswith("FLOOD")
    assert rate(told_lately=10).startswith("FLOOD: 10 alarms")
    told = rate(chattering=["a/1", "a/2"], standing_long=["a/3"])
    assert told.endswith("chattering: a/1, a/2; standing for more than a day: a/3.")


def test_the_history_tells_when_which_what_where_it_stands_under_what_and_why() -> None:
    one = {"wall_s": NOW_S, "name": "a/1", "what": "shelve", "state": "shelved", "under": "", "why": "pump (kim)"}
    two = one | {"wall_s": NOW_S + 1, "what": "cause appears", "state": "unacknowledged", "under": "b/2", "why": ""}
    assert list(history_lines([one, two])) == [
        "2027-01-15 08:00:00  a/1  shelve: shelved, because: pump (kim)",
        "2027-01-15 08:00:01  a/1  cause appears: unacknowledged, under b/2",
    ]
    assert list(history_lines([])) == ["Nothing has become of any alarm yet."]
