"""The demo passes only where all that must appear did: each row as it should be, and then with one thing missing."""

from __future__ import annotations

import copy
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from supervisor.core.interlocks import CAUSES
from supervisor.demo.account import Account, no_account
from supervisor.demo.judge import FAULTS, ROWS, Evidence, judge
from supervisor.demo.stage import script_of

ON_S, OFF_S = 10.0, 20.0
"""Wire times at which the supply of these demos was switched on, and off at last."""

CAUSE_OF = {
    "bath-overheats": "acid/bath-high-high",
    "supply-silent": "main/supply-silent",
    "contact-lost": "main/current-lost",
    "thermocouple-open": "acid/temperature-lost",
    "supervisor-killed": "main/interrupted",
    "microcontroller-resets": "board/heartbeat-lost",
    "lid-shut": "lid/lid-shut",
    "fan-stops": "air-flow/ventilation-lost",
    "emergency-stop": "emergency-stop/emergency-stop",
}


def state(name: str, wire_s: float, *, proven: bool, width_c: float = 10.0, **operation: Any) -> dict[str, Any]:
    """Return what the supervisor tells of a load whose true charge is 1000 C and true thickness 4.2 um."""
    return {
        "units": "metric",
        "at": {"wire_s": wire_s},
        "supplies": {
            "main": {
                "state": name,
                "off_proven": proven,
                "operation": {
                    "why": "",
                    "suspect": "",
                    "elapsed_s": 600.0,
                    "target": {"thickness_um": 4.2, "charge_c": 1001.0},
                    "charge_c": {"low": 1000 - width_c / 2, "best": 1001.0, "high": 1000 + width_c / 2},
                    "thickness_um": {"low": 3.6, "best": 4.3, "high": 4.5},
                    **operation,
                },
            }
        },
        "heartbeats": {"board": {"seconds": 60.0, "reading": "good"}},
        "tanks": {"acid": {"temperature_c": 20.5, "reading": "good"}},
        "contacts": {name: {"healthy": True} for name in ("lid", "air-flow", "emergency-stop")},
        "outputs": {"fan": {"on": True}},
        "alarms": [],
    }


def alarm(name: str, under: str = "", since_wall_s: float = 0.0) -> dict[str, Any]:
    subject, cause = name.split("/")
    row = CAUSES[cause]
    what, follows, first = row.told(subject, second_means=False)
    return {"name": name, "state": "unacknowledged", "priority": str(row.priority), "active": True, "under": under,
            "what": what, "follows": follows, "first": first, "since_wall_s": since_wall_s}  # fmt: skip


def output(on: bool, wire_s: float, *, changed: bool = True) -> dict[str, Any]:
    return {"truth": "output", "on": on, "changed": changed, "cause": "command", "wire_s": wire_s}


def good(fault: str | None) -> Evidence:
    """Return the evidence of a demo in which all went as it must."""
    history = [state("running", 15.0, proven=False), state(ROWS[fault][0], OFF_S + 0.1, proven=True)]
    truths = [output(False, 1.0, changed=False), output(True, ON_S), output(False, OFF_S)]
    end = {"supplies": {"rectifier": {"on": False, "charge_c": 1000.0, "thickness_um": 4.2}}}
    evidence = Evidence(history, truths, end, [[0.9, OFF_S - 0.002]])
    if fault in CAUSE_OF:
        last(evidence)["operation"]["why"] = CAUSE_OF[fault].split("/")[1]
        evidence.last["alarms"] = [alarm(CAUSE_OF[fault])]
    return SPECIAL[fault](evidence) if fault in SPECIAL else evidence


def last(evidence: Evidence) -> dict[str, Any]:
    supply: dict[str, Any] = evidence.last["supplies"]["main"]
    return supply


def _silent(evidence: Evidence) -> Evidence:
    running, held = evidence.history
    holding = state("holding", 16.0, proven=False, why="supply-silent")
    held["alarms"].append(alarm("main/off-not-proven"))
    fault = {"truth": "fault", "begins": False, "wire_s": OFF_S - 0.2}
    offs = [0.9, *(15.0 + 0.5 * number for number in range(11))]
    opened = {"truth": "switch", "switch": "main-contactor", "on": False, "changed": True, "wire_s": 17.0}
    truths = [*evidence.truths, fault, output(False, OFF_S + 0.01, changed=False), opened]
    return replace(evidence, history=[running, holding, held], truths=truths, offs=[offs])


def _lost(evidence: Evidence) -> Evidence:
    last(evidence)["operation"]["suspect"] = "current-lost"
    return evidence


def _open(evidence: Evidence) -> Evidence:
    evidence.last["tanks"]["acid"].update(temperature_c=None, reading="absent")
    return evidence


def _killed(evidence: Evidence) -> Evidence:
    last(evidence)["operation"]["charge_c"].update(low=900.0, high=2000.0)
    return replace(evidence, offs=[[0.9], [OFF_S - 0.002]], killed_wire_s=16.0, restarted_wire_s=19.0)


def _away(evidence: Evidence) -> Evidence:
    running, complete = evidence.history
    history = [copy.deepcopy(running) for _ in range(2)]
    for status, connected in zip((running, *history, complete), (True, False, True, True), strict=True):
        status["mqtt"] = {"connected": connected, "published": 90, "states_missed": 7, "events_lost": 0}
    return replace(evidence, history=[running, *history, complete])


def _reset(evidence: Evidence) -> Evidence:
    switch = {"truth": "switch", "switch": "main-contactor", "on": False, "changed": True, "wire_s": OFF_S + 0.05}
    evidence.end["switches"] = {"main-contactor": False}
    return replace(evidence, truths=[*evidence.truths, switch])


def _shut(evidence: Evidence) -> Evidence:
    evidence.last["contacts"]["lid"]["healthy"] = False
    return evidence


def _still(evidence: Evidence) -> Evidence:
    evidence.last["contacts"]["air-flow"]["healthy"] = False
    return evidence


def _pressed(evidence: Evidence) -> Evidence:
    """The stop takes the mains at 16 s; off is sent all the while and reaches the supply when they are back."""
    running, aborted = evidence.history
    aborting = state("aborting", 16.5, proven=False, why="emergency-stop")
    aborted["contacts"]["emergency-stop"]["healthy"] = False
    aborted["alarms"].append(alarm("main/supply-silent", "emergency-stop/emergency-stop", since_wall_s=1.0))
    dip = {**output(False, 16.0), "cause": "dip"}
    fault = {"truth": "fault", "begins": False, "wire_s": OFF_S}
    opened = {"truth": "switch", "switch": "main-contactor", "on": False, "changed": True, "wire_s": 16.4}
    truths = [*evidence.truths[:2], dip, opened, fault, output(False, OFF_S + 0.01, changed=False)]
    return replace(evidence, history=[running, aborting, aborted], truths=truths, offs=[[0.9, 16.4, OFF_S]])


SPECIAL: dict[str | None, Callable[[Evidence], Evidence]] = {
    "broker-away": _away,
    "supply-silent": _silent,
    "contact-lost": _lost,
    "microcontroller-resets": _reset,
    "thermocouple-open": _open,
    "supervisor-killed": _killed,
    "lid-shut": _shut,
    "fan-stops": _still,
    "emergency-stop": _pressed,
}


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


def test_a_person_is_told_how_many_messages_were_lost() -> None:
    told = "\n".join(account("broker-away").sentences())
    assert "90 messages; while the broker was away 7 states were overtaken by newer ones and 0 events were lost" in told
    figures = account("broker-away").figures()
    assert figures["published"] == {"published": 90, "states_missed": 7, "events_lost": 0}


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
