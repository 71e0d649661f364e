"""Whether what had to happen in a demo happened: by the supervisor's word, the simulators' truth and the record."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import groupby, pairwise
from typing import Any

from supervisor.core.alarms import AlarmState
from supervisor.units import System, show

Status = dict[str, Any]
Truth = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Evidence:
    """All that a demo is judged by.

    Attributes:
        history: the supervisor's states as it told them, oldest first; the last one is the outcome.
        truths: the simulators' switches and faults, oldest first. end: their state at the end.
        offs: wire times, s, at which the supervisor decided each off command, one list for each of its runs.
        killed_wire_s, restarted_wire_s: wire times of the kill and of the new start, s; None where none was killed.
    """

    history: list[Status]
    truths: list[Truth]
    end: Truth
    offs: list[list[float]] = field(default_factory=list)
    killed_wire_s: float | None = None
    restarted_wire_s: float | None = None

    @property
    def last(self) -> Status:
        """The outcome as the supervisor tells it."""
        return self.history[-1]

    @property
    def supply(self) -> Status:
        """The only supply of the demo's line at the end."""
        supply: Status = _only(self.last["supplies"])
        return supply

    @property
    def operation(self) -> Status:
        """Its operation at the end."""
        operation: Status = self.supply["operation"]
        return operation

    @property
    def true(self) -> Truth:
        """What the simulators say of that supply at the end."""
        true: Truth = _only(self.end["supplies"])
        return true

    @property
    def switches(self) -> list[Truth]:
        """Every switch command that reached the simulated supply, and whatever else switched it."""
        return [truth for truth in self.truths if truth["truth"] == "output"]

    def alarms(self) -> dict[str, Status]:
        """Every alarm that ever came up, by name, as it was told last while its cause stood.

        Not what was only suppressed by design: a contact of no account while no current flows.
        """
        found: dict[str, Status] = {}
        for status in self.history:
            for alarm in status["alarms"]:
                suppressed = alarm["state"] == AlarmState.SUPPRESSED
                if not suppressed and (alarm["active"] or alarm["name"] not in found):
                    found[alarm["name"]] = alarm
        return found

    def switched_off(self) -> tuple[float, float] | None:
        """Wire times, s, of the last change to on and of the off command that undid it; None if none did."""
        switched = [switch for switch in self.switches if switch["changed"]]
        if len(switched) < 2 or switched[-1]["on"] or switched[-1]["cause"] != "command":
            return None
        return switched[-2]["wire_s"], switched[-1]["wire_s"]

    def off_latency_ms(self) -> float | None:
        """Wire time from the decision to switch off to the moment it reached the supply, ms.

        None if it never did, and where it went out at a start, which comes before every decision.
        """
        switched = self.switched_off()
        if switched is None:
            return None
        on_s, off_s = switched
        decided_s = [at_s for run in self.offs for at_s in run if on_s < at_s <= off_s]
        return (off_s - min(decided_s)) * 1000 if decided_s else None


def _only(named: dict[str, Any]) -> Any:
    (value,) = named.values()
    return value


Check = Callable[[Evidence], Iterator[str]]


def judge(fault: str | None, evidence: Evidence) -> list[str]:
    """Return what should have happened and did not, a plain sentence each; empty when all is well."""
    outcome, check = ROWS[fault]
    problems = [f"The outcome is {evidence.supply['state']}, not {outcome}."] * (evidence.supply["state"] != outcome)
    # With the emergency stop it is the stop itself that switches off, and its own row asks for that.
    commanded = [] if check is _emergency_stop else _switched_off(evidence)
    return [*problems, *_always(evidence), *commanded, *check(evidence)]


def _always(evidence: Evidence) -> Iterator[str]:
    """What holds at the end of every demo: off is proven and true, and the truth lies within what was said of it."""
    if not evidence.supply["off_proven"]:
        yield "Off is not proven."
    if evidence.true["on"] or not evidence.switches or evidence.switches[-1]["on"]:
        yield "The simulated supply's output is still on."
    charge, grown, true = evidence.operation["charge_c"], evidence.operation["thickness_um"], evidence.true
    units: System = evidence.last["units"]
    if not charge["low"] <= true["charge_c"] <= charge["high"]:
        at, low, high = (show(c, "charge", units) for c in (true["charge_c"], charge["low"], charge["high"]))
        yield f"The true charge of {at} is not within {low} to {high}."
    if not grown["low"] <= true["thickness_um"] <= grown["high"]:
        at, low, high = (show(um, "thickness", units) for um in (true["thickness_um"], grown["low"], grown["high"]))
        yield f"The true thickness of {at} is not within the band of {low} to {high}."


def _switched_off(evidence: Evidence) -> Iterator[str]:
    if evidence.switched_off() is None:
        yield "No off command switched the simulated supply off."


def _complete(evidence: Evidence) -> Iterator[str]:
    if evidence.alarms():
        yield f"Alarms came up where nothing was wrong: {', '.join(evidence.alarms())}."
    if evidence.operation["why"] or evidence.operation["suspect"]:
        yield "The load is marked although nothing was wrong."


MOST_FROM_TARGET = 0.002
"""Share of the target's charge by which the estimate may miss it, as in a demo in which the broker is there."""


def _broker_away(evidence: Evidence) -> Iterator[str]:
    """A broker that goes and comes back changes nothing of the load."""
    yield from _complete(evidence)
    there = [there for there, _ in groupby((s.get("mqtt") or {}).get("connected", False) for s in evidence.history)]
    if there[-3:] != [True, False, True]:
        yield "The broker was not seen going and coming back."
    best_c, target_c = evidence.operation["charge_c"]["best"], evidence.operation["target"]["charge_c"]
    if abs(best_c / target_c - 1) > MOST_FROM_TARGET:
        yield f"The charge is {best_c / target_c - 1:+.2%} from the target, more than with the broker there."


def _bath_overheats(evidence: Evidence) -> Iterator[str]:
    yield from _alarm(evidence, "bath-high-high", of="tanks")
    yield from _because(evidence, "bath-high-high")


def _supply_silent(evidence: Evidence) -> Iterator[str]:
    yield from _alarm(evidence, "supply-silent", of="supplies")
    yield from _alarm(evidence, "off-not-proven", of="supplies")
    yield from _because(evidence, "supply-silent")
    yield from _contactor_opened(evidence)
    yield from _until_proof(evidence, "holding", "held")
    yield from _unsure_while_silent(evidence)
    yield from _sent_until_proof(evidence)


def _contactor_opened(evidence: Evidence) -> Iterator[str]:
    """The second means: while the supply is silent its contactor opens, long before it answers again."""
    opened = [
        truth["wire_s"]
        for truth in evidence.truths
        if truth["truth"] == "switch" and truth["switch"] == "main-contactor" and truth["changed"] and not truth["on"]
    ]
    answers_s = [truth["wire_s"] for truth in evidence.truths if truth["truth"] == "fault" and not truth["begins"]]
    if not opened or (answers_s and opened[-1] >= answers_s[-1]):
        yield "The contactor did not open while the supply was silent."


def _until_proof(evidence: Evidence, going: str, gone: str) -> Iterator[str]:
    """From the first `going` on, nothing but that before the proof of off and `gone` with it."""
    states = [
        (_only(status["supplies"])["state"], _only(status["supplies"])["off_proven"]) for status in evidence.history
    ]
    first = next((number for number, (state, _) in enumerate(states) if state == going), None)
    if first is None:
        yield f"The operation was never seen {going}."
    elif any(state != (gone if proven else going) for state, proven in states[first:]):
        yield f"The operation did not stay {going} until off was proven."


def _unsure_while_silent(evidence: Evidence) -> Iterator[str]:
    """What was told shortly before the proof, with no reading for long, must hold the true charge already."""
    told = [s for s in evidence.history if _only(s["supplies"])["state"] == "holding"][-1:]
    for status in told:
        charge = _only(status["supplies"])["operation"]["charge_c"]
        if not charge["low"] <= evidence.true["charge_c"] <= charge["high"]:
            yield "While the supply was silent the charge was told as surer than it was."


MOST_BETWEEN_OFFS_S = 1.0
"""Wire time between two off commands while off is not proven: the line file's 250 ms with room for a slow machine."""


def _sent_until_proof(evidence: Evidence) -> Iterator[str]:
    """Off was sent again and again through the silence, none left out, and the first after it was obeyed."""
    ends = [t["wire_s"] for t in evidence.truths if t["truth"] == "fault" and not t["begins"]]
    on = [switch["wire_s"] for switch in evidence.switches if switch["on"]]
    obeyed = [switch["wire_s"] for switch in evidence.switches if switch["changed"] and not switch["on"]]
    if not ends or not on or not obeyed:
        yield "The supply did not fall silent and answer again."
        return
    sent = [at_s for run in evidence.offs for at_s in run if on[-1] < at_s <= obeyed[-1]]
    if len(sent) < 2:
        yield "Off was not sent again."
    if any(later - earlier > MOST_BETWEEN_OFFS_S for earlier, later in pairwise(sent)):
        yield f"There were more than {MOST_BETWEEN_OFFS_S:g} s between two off commands."
    if not 0 <= obeyed[-1] - ends[-1] <= MOST_BETWEEN_OFFS_S:
        yield "The supply was not switched off as soon as it answered again."


def _contact_lost(evidence: Evidence) -> Iterator[str]:
    yield from _alarm(evidence, "current-lost", of="supplies")
    yield from _because(evidence, "current-lost")
    if evidence.operation["suspect"] != "current-lost":
        yield "The load is not marked suspect."


def _thermocouple_open(evidence: Evidence) -> Iterator[str]:
    yield from _alarm(evidence, "temperature-lost", of="tanks")
    yield from _because(evidence, "temperature-lost")
    for name, tank in evidence.last["tanks"].items():
        if tank["reading"] == "good":
            yield f"The reading of {name} is not marked bad."
        if tank["temperature_c"] is not None:
            yield f"A temperature is shown for {name} although its thermocouple is broken."


def _supervisor_killed(evidence: Evidence) -> Iterator[str]:
    killed_s, restarted_s = evidence.killed_wire_s, evidence.restarted_wire_s
    if killed_s is None or restarted_s is None:
        yield "The supervisor was not killed and started again."
        return
    yield from _alarm(evidence, "interrupted", of="supplies")
    yield from _because(evidence, "interrupted")
    commands = [switch for switch in evidence.switches if switch["wire_s"] > killed_s]
    if not commands or commands[0]["on"] or commands[0]["wire_s"] < restarted_s:
        yield "The first command after the new start was not off."
    if any(switch["on"] for switch in commands):
        yield "The output was switched on again by itself."
    before, after = (_width_c(status) for status in (_before(evidence, killed_s), evidence.last))
    if before is None or after is None or after <= before:
        yield "The charge did not become less certain by the gap."


def _before(evidence: Evidence, wire_s: float) -> Status:
    """The last that was told before that moment; the first of all where there is none."""
    return next((s for s in reversed(evidence.history) if s["at"]["wire_s"] <= wire_s), evidence.history[0])


def _width_c(status: Status) -> float | None:
    operation = _only(status["supplies"])["operation"]
    return None if operation is None else operation["charge_c"]["high"] - operation["charge_c"]["low"]


def _lid_shut(evidence: Evidence) -> Iterator[str]:
    yield from _alarm(evidence, "lid-shut", of="lid")
    yield from _because(evidence, "lid-shut")
    yield from _not_healthy(evidence, "lid")


def _fan_stops(evidence: Evidence) -> Iterator[str]:
    yield from _alarm(evidence, "ventilation-lost", of="air-flow")
    yield from _because(evidence, "ventilation-lost")
    yield from _not_healthy(evidence, "air-flow")
    if not evidence.last["outputs"]["fan"]["on"]:
        yield "The fan was switched off, so that its relay alone would have shown as much."


def _emergency_stop(evidence: Evidence) -> Iterator[str]:
    """The copy comes first and what the stop itself did to the supply is told as its consequence."""
    yield from _alarm(evidence, "emergency-stop", of="emergency-stop")
    yield from _because(evidence, "emergency-stop")
    yield from _not_healthy(evidence, "emergency-stop")
    silent = evidence.alarms().get("main/supply-silent")
    if silent is None or silent["under"] != "emergency-stop/emergency-stop":
        yield "The supply's silence was not told as a consequence of the emergency stop."
    switched = [switch for switch in evidence.switches if switch["changed"]]
    if not switched or switched[-1]["cause"] != "dip":
        yield "The emergency stop did not take the supply's mains."
    elif not any(not switch["on"] for switch in evidence.switches if switch["wire_s"] > switched[-1]["wire_s"]):
        yield "No off command reached the supply when its mains were back."
    yield from _contactor_opened(evidence)
    yield from _until_proof(evidence, "aborting", "aborted")


def _not_healthy(evidence: Evidence, contact: str) -> Iterator[str]:
    if evidence.last["contacts"][contact]["healthy"] is not False:
        yield f"The contact {contact} is not told as not healthy."


def _alarm(evidence: Evidence, cause: str, *, of: str) -> Iterator[str]:
    """What must be told of an alarm, by itself; `of` names its subject, or the kind of which there is only one."""
    (subject,) = evidence.last.get(of, (of,))
    alarm = evidence.alarms().get(f"{subject}/{cause}")
    if alarm is None:
        yield f"The alarm {subject}/{cause} did not come."
    elif alarm["priority"] != "high":
        yield f"The alarm {subject}/{cause} is not of high priority."
    elif alarm["under"]:
        yield f"The alarm {subject}/{cause} is told as a consequence of {alarm['under']}."


def _because(evidence: Evidence, cause: str) -> Iterator[str]:
    if evidence.operation["why"] != cause:
        yield f"The cause named is {evidence.operation['why'] or 'none'}, not {cause}."


def _microcontroller_resets(evidence: Evidence) -> Iterator[str]:
    yield from _alarm(evidence, "heartbeat-lost", of="heartbeats")
    yield from _because(evidence, "heartbeat-lost")
    if not any(truth["truth"] == "switch" and truth["switch"] == "main-contactor" for truth in evidence.truths):
        yield "The contactor was not told anything."
    if evidence.end["switches"]["main-contactor"]:
        yield "The contactor is still closed."


ROWS: dict[str | None, tuple[str, Check]] = {
    None: ("complete", _complete),
    "broker-away": ("complete", _broker_away),
    "bath-overheats": ("stopped", _bath_overheats),
    "supply-silent": ("held", _supply_silent),
    "contact-lost": ("held", _contact_lost),
    "thermocouple-open": ("held", _thermocouple_open),
    "microcontroller-resets": ("held", _microcontroller_resets),
    "lid-shut": ("stopped", _lid_shut),
    "fan-stops": ("held", _fan_stops),
    "emergency-stop": ("aborted", _emergency_stop),
    "supervisor-killed": ("held", _supervisor_killed),
}
"""By the name of the fault: the state in which the operation must end, and what must have appeared on the way."""

FAULTS = tuple(name for name in ROWS if name is not None)
