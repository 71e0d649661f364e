"""What a demo that went as it must leaves behind, by its fault: for the tests of its judges."""

from __future__ import annotations

import copy
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from supervisor.core.interlocks import CAUSES
from supervisor.demo.judge import ROWS, Evidence

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
