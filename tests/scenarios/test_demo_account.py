"""What a demo tells of itself: its latency and figures, and the words for a person."""

from __future__ import annotations

import copy
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from supervisor.demo.account import Account, no_account
from supervisor.demo.judge import FAULTS, judge
from supervisor.demo.stage import script_of
from tests.scenarios.evidence import OFF_S, ON_S, good, output


def test_the_off_latency_runs_from_the_first_decision_after_on_to_the_switch() -> None:
    evidence = replace(good(None), offs=[[0.9, OFF_S - 0.004, OFF_S - 0.001]])
    assert evidence.off_latency_ms() == pytest.approx(4.0)


def test_an_off_that_came_before_every_decision_has_no_latency_and_is_no_fault() -> None:
    evidence = replace(good("supervisor-killed"), offs=[[0.9], [OFF_S + 0.02]])
    assert evidence.off_latency_ms() is None
    assert judge("supervisor-killed", evidence) == []


@pytest.mark.parametrize(
    "truths",
    [
        [output(True, ON_S)],
        [output(True, ON_S), {**output(False, OFF_S), "cause": "trip"}],
        [output(True, ON_S), output(False, OFF_S), output(True, OFF_S + 1)],
    ],
)
def test_without_an_off_command_that_worked_there_is_no_off_latency(truths: list[dict[str, Any]]) -> None:
    evidence = replace(good(None), truths=truths)
    assert evidence.off_latency_ms() is None
    assert "No off command switched the simulated supply off." in judge(None, evidence)


def test_an_alarm_is_kept_as_it_was_told_while_its_cause_stood() -> None:
    evidence = good("contact-lost")
    gone = copy.deepcopy(evidence.last)
    gone["alarms"][0].update(active=False, what="over")
    evidence.history.append(gone)
    assert evidence.alarms()["main/current-lost"]["what"] != "over"


def account(fault: str | None, problems: tuple[str, ...] = ()) -> Account:
    return Account(fault, good(fault), problems, 60.0, 12.0, Path("records"))


def test_the_overshoot_is_signed_and_told_only_where_the_target_ended_the_load() -> None:
    overshoot = account(None).figures()["stop"]["overshoot_percent"]
    assert overshoot == pytest.approx((1000 / 1001 - 1) * 100)
    assert account("contact-lost").figures()["stop"]["overshoot_percent"] is None


def test_the_figures_carry_every_key_a_script_may_read() -> None:
    figures = account("contact-lost").figures()
    assert figures["version"] == 1
    assert figures["outcome"] == "held"
    assert figures["target"] == {"thickness_um": 4.2, "charge_c": 1001.0}
    assert figures["estimate"] == {
        "thickness_um": 4.3, "low_um": 3.6, "high_um": 4.5, "charge_c": 1001.0, "charge_low_c": 995.0,
        "charge_high_c": 1005.0,
    }  # fmt: skip
    assert figures["truth"] == {"thickness_um": 4.2, "charge_c": 1000.0}
    assert figures["stop"]["off_latency_ms"] == pytest.approx(2.0)
    assert figures["alarms"] == [{"name": "main/current-lost", "priority": "high", "under": ""}]
    assert (figures["speed"], figures["process_s"], figures["wall_s"]) == (60.0, 600.0, 12.0)


def test_a_person_is_told_which_alarm_came_first_and_what_it_brought_along() -> None:
    told = "\n".join(account("emergency-stop").sentences())
    assert "Alarms:     emergency-stop/emergency-stop, and in consequence main/supply-silent\n" in told
    assert "Alarms:" not in "\n".join(account(None).sentences())


def test_a_person_is_told_how_many_messages_were_lost() -> None:
    told = "\n".join(account("broker-away").sentences())
    assert "90 messages; while the broker was away 7 states were overtaken by newer ones and 0 events were lost" in told
    figures = account("broker-away").figures()
    assert figures["published"] == {"published": 90, "states_missed": 7, "events_lost": 0}


def test_a_demo_that_came_to_nothing_has_the_same_keys() -> None:
    nothing, something = no_account(None, "It broke."), account(None).figures()
    assert nothing.keys() == something.keys()
    for key, value in something.items():
        if isinstance(value, dict):
            assert nothing[key].keys() == value.keys()


def test_a_person_is_told_what_was_asked_estimated_and_true_where_the_record_is_and_what_went_wrong() -> None:
    told = "\n".join(account(None, ("The bath boiled.",)).sentences())
    for part in ("4.2 µm", "4.3 µm (3.6 µm to 4.5 µm)", "16.7 A·min", "complete, off proven", "-0.10 %", "records",
                 "The bath boiled."):  # fmt: skip
        assert part in told


def test_every_fault_of_the_simulated_line_has_a_script() -> None:
    assert [fault for fault in FAULTS if not script_of(fault).is_file()] == [
        "broker-away", "supervisor-killed",
    ]  # fmt: skip
