"""One load from start to proven off through the whole service, and what must happen when something goes wrong."""

from __future__ import annotations

import json

import pytest

from supervisor.core.anodize import State
from supervisor.records.replay import replay
from supervisor.service.app import journal_path
from supervisor.service.restore import make_line
from tests.harness.lines import with_true_meter
from tests.harness.virtual import VirtualLine, virtual_line, virtually


def contains_truth(line: VirtualLine) -> bool:
    charge = line.operation.dose.charge
    return charge.low <= line.true_charge_c <= charge.high


@virtually
async def test_a_load_completes_at_its_target_with_the_output_truly_off() -> None:
    async with virtual_line(plan=with_true_meter) as line:
        await line.start()
        await line.begin("4 um")
        await line.until_state(State.COMPLETE)
        assert not line.truly_on()
        assert abs(line.true_charge_c / line.operation.plan.target_c - 1) < 0.001
        assert contains_truth(line)
        assert line.alarms == set()


@virtually
async def test_the_truth_lies_within_the_charge_although_the_meter_reads_high() -> None:
    async with virtual_line() as line:
        await line.start()
        await line.begin("4 um")
        await line.until_state(State.COMPLETE)
        assert line.operation.dose.charge.best > line.true_charge_c
        assert contains_truth(line)


@virtually
async def test_a_bath_that_overheats_stops_the_load() -> None:
    async with virtual_line({"what": "bath heats", "after_current_s": 60.0, "rate_c_per_min": 1.5}) as line:
        await line.start()
        await line.begin("20 um")
        await line.until_state(State.STOPPED)
        assert "acid/bath-high-high" in line.alarms
        assert not line.truly_on()
        assert contains_truth(line)


@virtually
async def test_a_lost_contact_holds_the_load_and_marks_it_suspect() -> None:
    async with virtual_line({"what": "contact lost", "after_current_s": 120.0}) as line:
        await line.start()
        await line.begin("20 um")
        await line.until_state(State.HELD)
        assert line.state.loads[line.operation.load].suspect == "current-lost"
        assert not line.truly_on()
        assert contains_truth(line)


@virtually
async def test_an_open_thermocouple_holds_the_load_and_shows_no_number() -> None:
    fault = {"what": "thermocouple open", "sensor": "acid-middle", "after_current_s": 120.0}
    async with virtual_line(fault) as line:
        await line.start()
        await line.begin("20 um")
        await line.until_state(State.HELD)
        shown = line.service.status()["tanks"]["acid"]
        assert shown["temperature_c"] is None
        assert shown["reading"] == "absent"
        assert not line.truly_on()
        assert contains_truth(line)


@virtually
async def test_a_silent_supply_is_holding_until_off_is_proven_and_held_only_then() -> None:
    fault = {"what": "device silent", "device": "rectifier", "after_current_s": 120.0, "for_wire_s": 20.0}
    async with virtual_line(fault) as line:
        await line.start()
        await line.begin("20 um")
        await line.until_state(State.HOLDING)
        began_s = line.clock.now()
        await line.pass_time(15.0 * line.speed)
        assert line.stands is State.HOLDING
        assert line.truly_on()
        assert "main/off-not-proven" in line.alarms
        await line.until_state(State.HELD)
        assert line.clock.now() - began_s < 22.0
        assert not line.truly_on()
        assert contains_truth(line)
        told = " ".join(note.text for note in line.notes if note.kind == "alarm")
        assert "cut the mains of main by hand" in told


@virtually
async def test_current_that_is_gone_while_nobody_can_read_it_lies_within_the_charge() -> None:
    unseen = {"what": "contact lost", "after_current_s": 200.5, "for_s": 8.0}
    silent = {"what": "device silent", "device": "rectifier", "after_current_s": 200.0, "for_s": 9.0}
    async with virtual_line(silent, unseen, plan=with_true_meter) as line:
        await line.start()
        began_s = line.clock.instant().process_s
        await line.begin("4 um")
        await line.until(lambda: (line.operation.dose.last_s or 0.0) > began_s + 215.0, 300.0)
        dose, current_a = line.operation.dose, line.operation.plan.current_a
        assert dose.last_s is not None
        line.server.tell_state("state")
        since_c = current_a * (line.clock.instant().process_s - dose.last_s)
        assert dose.charge.low <= line.true_charge_c - since_c <= dose.charge.high
        assert line.true_charge_c - since_c < dose.charge.best - 0.9 * 8.0 * current_a
        await line.until_state(State.COMPLETE)
        assert contains_truth(line)


@virtually
async def test_a_second_load_runs_after_a_reset() -> None:
    async with virtual_line() as line:
        await line.start()
        await line.begin("2 um")
        await line.until_state(State.COMPLETE)
        first_c = line.true_charge_c
        assert (await line.ask("reset"))["ok"]
        assert await line.begin("2 um") == "demo-2"
        await line.until_state(State.COMPLETE)
        charge = line.operation.dose.charge
        assert charge.low <= line.true_charge_c - first_c <= charge.high


@virtually
async def test_what_a_gauge_shows_of_one_load_is_the_growth_of_the_next() -> None:
    async with virtual_line() as line:
        await line.start()
        await line.begin("4 um", load="brackets")
        refused = await line.ask("gauge", load="brackets", readings=["4 um"])
        assert "gauge it when its operation is over" in refused["reasons"][0]
        await line.until_state(State.COMPLETE)
        first = line.operation.plan
        assert (await line.ask("reset"))["ok"]
        assert not (await line.ask("gauge", load="brackets", readings=["0.15 um", "3 furlong"]))["ok"]
        assert line.state.gauged == {}
        told = await line.ask("gauge", load="brackets", readings=["3.4 um", "0.135 mil"])
        assert "serves from the next start on" in told["notice"]
        (factor,) = (await line.ask("factor"))["factors"]
        assert [load["load"] for load in factor["loads"]] == ["brackets"]
        await line.begin("2 um")
        assert first.growth is not None
        growth = line.operation.plan.growth
        assert growth is not None
        assert growth.best == pytest.approx(factor["factor"]["best"])
        assert growth.best < first.growth.best
        await line.until_state(State.COMPLETE)
        assert (await line.ask("reset"))["ok"]
        assert (await line.ask("gauge forget", load="brackets"))["ok"]
        assert (await line.ask("factor"))["factors"] == []


@virtually
async def test_a_held_load_that_is_restarted_still_ends_at_its_target() -> None:
    async with virtual_line(plan=with_true_meter) as line:
        await line.start()
        await line.begin("4 um")
        await line.pass_time(200.0)
        assert (await line.ask("hold"))["ok"]
        await line.until_state(State.HELD)
        held_c = line.true_charge_c
        await line.pass_time(30.0)
        assert line.true_charge_c == held_c
        assert (await line.ask("restart"))["ok"]
        await line.until_state(State.COMPLETE)
        assert abs(line.true_charge_c / line.operation.plan.target_c - 1) < 0.002
        assert contains_truth(line)


@virtually
async def test_a_restart_at_held_volts_waits_for_the_coats_own_voltage_and_blames_nobody() -> None:
    async with virtual_line() as line:
        await line.start()
        await line.begin("8 um", mode="voltage", voltage="15 V", ramp="60 s")
        await line.pass_time(300.0)
        assert (await line.ask("hold"))["ok"]
        await line.until_state(State.HELD)
        await line.pass_time(40.0)
        assert (await line.ask("restart"))["ok"]
        await line.pass_time(30.0)
        supply, current = line.state.supplies["main"], line.state.channels["main-current"]
        assert (line.stands, current.good_value) == (State.RESTARTING, 0.0)
        assert supply.coat.awaited_v == pytest.approx(15.0, abs=0.2)
        await line.pass_time(60.0)
        assert line.state.channels["main-current"].good_value > 1.5
        assert line.state.supplies["main"].coat.awaited_v is None
        assert (line.stands, line.alarms) == (State.RUNNING, set())


@virtually
async def test_a_supervisor_that_only_watches_reads_everything_and_refuses_to_energise() -> None:
    async with virtual_line() as line:
        await line.start(watch_only=True)
        answer = await line.ask("start", area="130 cm^2", target="4 um")
        assert not answer["ok"]
        assert any("watch" in reason for reason in answer["reasons"])
        await line.pass_time(600.0)
        offs = [truth for truth in line.truths if truth["truth"] == "output"]
        assert [truth["on"] for truth in offs] == [False]
        assert line.service.status()["tanks"]["acid"]["temperature_c"] is not None


@virtually
async def test_a_supervisor_that_only_watched_leaves_a_run_made_by_hand_alone_when_it_ends() -> None:
    async with virtual_line() as line:
        await line.start(watch_only=True)
        line.switch_on_by_hand()
        await line.pass_time(60.0)
        assert await line.stop() == []
        assert line.truly_on()


@virtually
async def test_the_recorded_events_give_the_same_actions_again() -> None:
    async with virtual_line({"what": "bath heats", "after_current_s": 60.0, "rate_c_per_min": 3.0}) as line:
        await line.start()
        await line.begin("20 um")
        await line.until_state(State.STOPPED)
        await line.stop()
        result = replay(journal_path(line.files.load()), make_line)
        assert result.steps >= 50
        assert result.differing == 0
        assert result.runs[0].lost == 0


@virtually
async def test_replay_shows_a_difference_where_the_line_would_decide_otherwise() -> None:
    async with virtual_line({"what": "bath heats", "after_current_s": 60.0, "rate_c_per_min": 3.0}) as line:
        await line.start()
        await line.begin("20 um")
        await line.until_state(State.STOPPED)
        await line.stop()
        path = journal_path(line.files.load())
        hotter = replay(
            path,
            lambda text, profiles, speed, state, /: make_line(
                text.replace('trip_high = "24 degC"', 'trip_high = "30 degC"'), profiles, speed, state
            ),
        )
        assert hotter.differing > 0
        assert "switch off" in json.dumps([json.loads(d.expected) for d in hotter.differences if d.event != "snapshot"])
