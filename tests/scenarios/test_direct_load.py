"""Loads through the core alone, fed by the simulators' physics: what holds for one holds for any draw of chance."""

from __future__ import annotations

from pathlib import Path

import pytest

from supervisor.core.actions import SwitchOff
from supervisor.core.anodize import State
from supervisor.core.events import GaugeReading, Order
from supervisor.core.setup import Mode
from tests.harness.direct import DirectLine, direct_line
from tests.harness.lines import with_true_meter, write_files
from tests.harness.virtual import virtual_line
from tests.harness.virtual_loop import run_virtual

LOADS = 10


def contains_truth(line: DirectLine) -> bool:
    charge = line.operation.dose.charge
    return charge.low <= line.true_charge_c <= charge.high


@pytest.mark.parametrize("seed", range(LOADS))
def test_a_load_completes_within_its_charge_and_never_on_again(tmp_path: Path, seed: int) -> None:
    line = direct_line(tmp_path, seed=seed)
    line.start()
    line.begin(2.0)
    line.until_state(State.COMPLETE)
    line.pass_time(120.0)
    assert not line.truly_on()
    assert contains_truth(line)
    switched = [truth["on"] for truth in line.truths if truth["truth"] == "output" and truth["changed"]]
    assert switched == [True, False]


def test_with_a_true_meter_a_load_ends_within_a_thousandth_of_its_target(tmp_path: Path) -> None:
    plan = with_true_meter(write_files(tmp_path).read_plan())
    line = direct_line(tmp_path, plan=plan)
    line.start()
    line.begin(10.0)
    line.until_state(State.COMPLETE)
    assert line.true_charge_c == pytest.approx(line.operation.plan.target_c, rel=1e-3)


FAULTS: dict[str, tuple[dict[str, object], State, str]] = {
    "bath heats": ({"rate_c_per_min": 1.5}, State.STOPPED, "acid/bath-high-high"),
    "contact lost": ({}, State.HELD, "main/current-lost"),
    "area lost": ({"lost_share": 0.5}, State.HELD, "main/contact-lost-part"),
    "contact creeps off": ({}, State.HELD, "main/contact-creeping"),
    "rack touches": ({"ohm": 0.5}, State.HELD, "main/cathode-touched"),
    "part burns": ({}, State.HELD, "main/burning"),
    "thermocouple open": ({"sensor": "acid-middle"}, State.HELD, "acid/temperature-lost"),
    "device silent": ({"device": "rectifier", "for_s": 1200.0}, State.HELD, "main/supply-silent"),
    "supply trips": ({}, State.HELD, "main/output-dropped"),
}


@pytest.mark.parametrize("what", FAULTS)
def test_a_fault_ends_the_load_as_the_table_says(tmp_path: Path, what: str) -> None:
    amounts, ends, alarm = FAULTS[what]
    line = direct_line(tmp_path, {"what": what, "after_current_s": 120.0, **amounts})
    line.start()
    line.begin(20.0)
    line.until_state(ends)
    assert alarm in line.alarms
    assert not line.truly_on()
    assert contains_truth(line)


def offs(line: DirectLine) -> int:
    return sum(isinstance(action, SwitchOff) for action in line.actions)


def test_a_silent_supply_is_sent_off_again_and_again(tmp_path: Path) -> None:
    line = direct_line(
        tmp_path, {"what": "device silent", "device": "rectifier", "after_current_s": 120.0, "for_s": 1200.0}
    )
    line.start()
    line.begin(20.0)
    line.until_state(State.HOLDING)
    before = offs(line)
    line.pass_time(10.0 * line.speed)
    assert line.stands is State.HOLDING
    assert offs(line) - before >= 10.0 / (line.setup.supplies["main"].resend_s + 0.25)


def test_a_supervisor_that_ends_leaves_the_output_off(tmp_path: Path) -> None:
    line = direct_line(tmp_path)
    line.start()
    line.begin(20.0)
    line.pass_time(300.0)
    line.end()
    line.until(lambda: line.supply.output.proven_off, 60.0)
    assert not line.truly_on()
    assert line.stands is State.HELD


async def virtual_charge_c(mode: Mode) -> float:
    async with virtual_line() as line:
        await line.start()
        await line.begin("2 um", mode=mode, voltage="15 V")
        await line.until_state(State.COMPLETE)
        return line.true_charge_c


@pytest.mark.parametrize("mode", ["current", "voltage"])
def test_a_load_runs_here_as_it_does_over_ptys(tmp_path: Path, mode: Mode) -> None:
    line = direct_line(tmp_path)
    line.start()
    assert line.ask("start", order=Order(0.013, 2.0, mode=mode, voltage_v=15.0)).ok
    line.until_state(State.COMPLETE)
    assert line.true_charge_c == pytest.approx(run_virtual(virtual_charge_c(mode)), rel=1e-4)


def test_a_load_whose_supervisor_was_killed_is_held_with_a_charge_that_holds_the_truth(tmp_path: Path) -> None:
    line = direct_line(tmp_path, seed=3)
    line.start()
    line.begin(20.0)
    line.pass_time(600.0)
    line.kill(30.0)
    line.until_state(State.HELD)
    charge = line.operation.dose.charge
    assert line.alarms == {"main/interrupted"}
    assert charge.low <= line.true_charge_c <= charge.high


def test_answers_lost_one_in_a_hundred_hold_no_load_and_leave_the_truth_in_its_interval(tmp_path: Path) -> None:
    lost = {"what": "answer dropped", "device": "rectifier", "share": 0.01, "at_s": 0.0}
    line = direct_line(tmp_path, lost, seed=4)
    line.start()
    line.begin(20.0)
    line.until_state(State.COMPLETE, within_s=7200.0)
    charge = line.operation.dose.charge
    assert charge.low <= line.true_charge_c <= charge.high


def test_a_load_after_another_is_planned_by_what_that_one_taught(tmp_path: Path) -> None:
    files = write_files(tmp_path)
    first = DirectLine(files.load(), files.read_plan())
    first.start()
    first.begin(2.0)
    first.until_state(State.COMPLETE)
    published = first.operation.plan
    assert first.ask("reset").ok
    assert first.ask("gauge", load="load-1", readings=(GaugeReading(1.8, 1.8, "um"),)).ok
    second = DirectLine(files.load(), files.read_plan(), after=first)
    second.start()
    second.begin(2.0)
    assert (published.learned_from, second.operation.plan.learned_from) == (0, 1)
    assert second.operation.plan.target_c > published.target_c
    assert second.operation.load == "load-2"
    second.until_state(State.COMPLETE)
    assert second.alarms == set()
