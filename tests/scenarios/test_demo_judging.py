"""The demo passes only where all that must appear did: each row as it should be, and then with one thing missing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from supervisor.demo.judge import ROWS, Evidence, judge
from tests.scenarios.evidence import CAUSE_OF, OFF_S, alarm, good, last, output, state


@pytest.mark.parametrize("fault", ROWS)
def test_a_demo_that_went_as_it_must_passes(fault: str | None) -> None:
    assert judge(fault, good(fault)) == []


@pytest.mark.parametrize("fault", ROWS)
def test_another_outcome_fails(fault: str | None) -> None:
    evidence = good(fault)
    last(evidence)["state"] = "idle"
    assert any("The outcome is idle" in problem for problem in judge(fault, evidence))


@pytest.mark.parametrize("fault", ROWS)
def test_off_without_a_proof_fails(fault: str | None) -> None:
    evidence = good(fault)
    last(evidence)["off_proven"] = False
    assert "Off is not proven." in judge(fault, evidence)


@pytest.mark.parametrize("fault", ROWS)
def test_an_output_that_is_still_on_fails_whatever_the_supervisor_says(fault: str | None) -> None:
    evidence = good(fault)
    evidence.true["on"] = True
    assert "The simulated supply's output is still on." in judge(fault, evidence)


@pytest.mark.parametrize("fault", ROWS)
def test_a_true_charge_outside_its_interval_fails(fault: str | None) -> None:
    evidence = good(fault)
    evidence.true["charge_c"] = 2001.0
    assert any("true charge" in problem for problem in judge(fault, evidence))


@pytest.mark.parametrize(("fault", "true_um"), [(fault, um) for fault in ROWS for um in (3.59, 4.51)])
def test_a_true_thickness_outside_the_band_fails(fault: str | None, true_um: float) -> None:
    evidence = good(fault)
    evidence.true["thickness_um"] = true_um
    assert any("true thickness" in problem for problem in judge(fault, evidence))


@pytest.mark.parametrize("fault", CAUSE_OF)
def test_a_fault_whose_alarm_did_not_come_fails(fault: str) -> None:
    evidence = good(fault)
    evidence.last["alarms"] = []
    assert f"The alarm {CAUSE_OF[fault]} did not come." in judge(fault, evidence)


@pytest.mark.parametrize("fault", CAUSE_OF)
def test_an_alarm_of_lesser_priority_fails(fault: str) -> None:
    evidence = good(fault)
    evidence.last["alarms"][0]["priority"] = "medium"
    assert any("not of high priority" in problem for problem in judge(fault, evidence))


@pytest.mark.parametrize("fault", CAUSE_OF)
def test_another_cause_than_the_fault_fails(fault: str) -> None:
    evidence = good(fault)
    last(evidence)["operation"]["why"] = "longest-time"
    assert any("The cause named is longest-time" in problem for problem in judge(fault, evidence))


def test_an_alarm_where_nothing_is_wrong_fails() -> None:
    evidence = good(None)
    evidence.history[0]["alarms"] = [alarm("acid/bath-high")]
    assert "Alarms came up where nothing was wrong: acid/bath-high." in judge(None, evidence)


def without_off_alarm(evidence: Evidence) -> Evidence:
    evidence.last["alarms"] = evidence.last["alarms"][:1]
    return evidence


def contactor_left_closed(evidence: Evidence) -> Evidence:
    return replace(evidence, truths=[truth for truth in evidence.truths if truth["truth"] != "switch"])


def contactor_opened_late(evidence: Evidence) -> Evidence:
    switch = next(truth for truth in evidence.truths if truth["truth"] == "switch")
    switch["wire_s"] = OFF_S + 0.5
    return evidence


def stopped_meanwhile(evidence: Evidence) -> Evidence:
    evidence.history.insert(2, state("stopped", 17.0, proven=False))
    return evidence


def held_before_proof(evidence: Evidence) -> Evidence:
    evidence.history.insert(2, state("held", 17.0, proven=False))
    return evidence


def never_holding(evidence: Evidence) -> Evidence:
    return replace(evidence, history=[evidence.history[0], state("running", 21.0, proven=True)])


def sent_once(evidence: Evidence) -> Evidence:
    return replace(evidence, offs=[[OFF_S - 0.002]])


def one_left_out(evidence: Evidence) -> Evidence:
    return replace(evidence, offs=[[at_s for at_s in evidence.offs[0] if not 16.8 < at_s < 17.7]])


def obeyed_late(evidence: Evidence) -> Evidence:
    evidence.truths[3]["wire_s"] = OFF_S - 1.5
    return evidence


def sure_in_silence(evidence: Evidence) -> Evidence:
    evidence.history[1]["supplies"]["main"]["operation"]["charge_c"]["high"] = 999.0
    return evidence


def never_silent(evidence: Evidence) -> Evidence:
    return replace(evidence, truths=[truth for truth in evidence.truths if truth["truth"] != "fault"])


@pytest.mark.parametrize(
    ("spoil", "problem"),
    [
        (without_off_alarm, "The alarm main/off-not-proven did not come."),
        (contactor_left_closed, "The contactor did not open while the supply was silent."),
        (contactor_opened_late, "The contactor did not open while the supply was silent."),
        (stopped_meanwhile, "The operation did not stay holding until off was proven."),
        (held_before_proof, "The operation did not stay holding until off was proven."),
        (never_holding, "The operation was never seen holding."),
        (sent_once, "Off was not sent again."),
        (one_left_out, "There were more than 1 s between two off commands."),
        (obeyed_late, "The supply was not switched off as soon as it answered again."),
        (sure_in_silence, "While the supply was silent the charge was told as surer than it was."),
        (never_silent, "The supply did not fall silent and answer again."),
    ],
)
def test_a_silent_supply_must_be_sent_off_until_the_proof(spoil: Callable[[Evidence], Evidence], problem: str) -> None:
    assert problem in judge("supply-silent", spoil(good("supply-silent")))


def test_a_lost_contact_must_leave_the_load_suspect() -> None:
    evidence = good("contact-lost")
    last(evidence)["operation"]["suspect"] = ""
    assert judge("contact-lost", evidence) == ["The load is not marked suspect."]


def test_a_broken_thermocouple_must_be_marked_bad() -> None:
    evidence = good("thermocouple-open")
    evidence.last["tanks"]["acid"]["reading"] = "good"
    assert judge("thermocouple-open", evidence) == ["The reading of acid is not marked bad."]


def test_a_broken_thermocouple_must_show_no_number() -> None:
    evidence = good("thermocouple-open")
    evidence.last["tanks"]["acid"]["temperature_c"] = 20.5
    assert judge("thermocouple-open", evidence) == [
        "A temperature is shown for acid although its thermocouple is broken."
    ]


@pytest.mark.parametrize(
    ("fault", "contact"), [("lid-shut", "lid"), ("fan-stops", "air-flow"), ("emergency-stop", "emergency-stop")]
)
def test_a_contact_that_opened_must_be_told_as_not_healthy(fault: str, contact: str) -> None:
    evidence = good(fault)
    evidence.last["contacts"][contact]["healthy"] = True
    assert judge(fault, evidence) == [f"The contact {contact} is not told as not healthy."]


def test_a_fan_that_stopped_must_be_noticed_though_its_relay_is_on() -> None:
    evidence = good("fan-stops")
    evidence.last["outputs"]["fan"]["on"] = False
    (problem,) = judge("fan-stops", evidence)
    assert problem.startswith("The fan was switched off")


def silence_by_itself(evidence: Evidence) -> Evidence:
    evidence.last["alarms"][1]["under"] = ""
    return evidence


def no_silence(evidence: Evidence) -> Evidence:
    evidence.last["alarms"] = evidence.last["alarms"][:1]
    return evidence


def stop_under_silence(evidence: Evidence) -> Evidence:
    evidence.last["alarms"][0]["under"] = "main/supply-silent"
    return evidence


def mains_left(evidence: Evidence) -> Evidence:
    evidence.truths[2]["cause"] = "command"
    return evidence


def no_off_afterwards(evidence: Evidence) -> Evidence:
    return replace(evidence, truths=evidence.truths[:-1])


@pytest.mark.parametrize(
    ("spoil", "problem"),
    [
        (silence_by_itself, "The supply's silence was not told as a consequence of the emergency stop."),
        (no_silence, "The supply's silence was not told as a consequence of the emergency stop."),
        (
            stop_under_silence,
            "The alarm emergency-stop/emergency-stop is told as a consequence of main/supply-silent.",
        ),
        (mains_left, "The emergency stop did not take the supply's mains."),
        (no_off_afterwards, "No off command reached the supply when its mains were back."),
        (contactor_left_closed, "The contactor did not open while the supply was silent."),
        (never_holding, "The operation was never seen aborting."),
        (held_before_proof, "The operation did not stay aborting until off was proven."),
    ],
)
def test_an_emergency_stop_must_be_told_first_and_obeyed_by_all(
    spoil: Callable[[Evidence], Evidence], problem: str
) -> None:
    assert problem in judge("emergency-stop", spoil(good("emergency-stop")))


def test_what_design_suppresses_is_no_alarm() -> None:
    evidence = good(None)
    evidence.last["alarms"] = [alarm("lid/lid-shut") | {"state": "suppressed by design", "active": False}]
    assert judge(None, evidence) == []


def never_away(evidence: Evidence) -> Evidence:
    return replace(evidence, history=[status | {"mqtt": evidence.last["mqtt"]} for status in evidence.history])


def never_back(evidence: Evidence) -> Evidence:
    return replace(evidence, history=[*evidence.history[:2], evidence.last | {"mqtt": evidence.history[1]["mqtt"]}])


def other_dose(evidence: Evidence) -> Evidence:
    last(evidence)["operation"]["charge_c"].update(best=1004.0)
    return evidence


def an_alarm(evidence: Evidence) -> Evidence:
    evidence.last["alarms"] = [alarm("acid/bath-high")]
    return evidence


@pytest.mark.parametrize(
    ("spoil", "problem"),
    [
        (never_away, "The broker was not seen going and coming back."),
        (never_back, "The broker was not seen going and coming back."),
        (other_dose, "The charge is +0.30% from the target, more than with the broker there."),
        (an_alarm, "Alarms came up where nothing was wrong: acid/bath-high."),
    ],
)
def test_a_broker_that_goes_and_comes_back_must_change_nothing(
    spoil: Callable[[Evidence], Evidence], problem: str
) -> None:
    assert judge("broker-away", spoil(good("broker-away"))) == [problem]


def never_killed(evidence: Evidence) -> Evidence:
    return replace(evidence, killed_wire_s=None)


def on_first(evidence: Evidence) -> Evidence:
    return replace(evidence, truths=[*evidence.truths[:2], output(True, 19.5, changed=False), *evidence.truths[2:]])


def on_again(evidence: Evidence) -> Evidence:
    return replace(evidence, truths=[*evidence.truths, output(True, 21.0), output(False, 21.5)])


def as_sure_as_before(evidence: Evidence) -> Evidence:
    last(evidence)["operation"]["charge_c"].update(low=995.0, high=1005.0)
    return evidence


@pytest.mark.parametrize(
    ("spoil", "problem"),
    [
        (never_killed, "The supervisor was not killed and started again."),
        (on_first, "The first command after the new start was not off."),
        (on_again, "The output was switched on again by itself."),
        (as_sure_as_before, "The charge did not become less certain by the gap."),
    ],
)
def test_a_killed_supervisor_must_come_back_with_off_and_less_sure(
    spoil: Callable[[Evidence], Evidence], problem: str
) -> None:
    assert problem in judge("supervisor-killed", spoil(good("supervisor-killed")))
