"""First-out: where one cause trips many things the first is the head, its consequences are folded under it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from supervisor.core import alarm_log
from supervisor.core.alarms import AlarmState
from supervisor.core.anodize import State
from supervisor.core.interlocks import CAUSES
from supervisor.core.setup import LineSetup
from tests.core.guarded import Guarded, guarded_setup
from tests.core.plain import patient


def heads(bench: Guarded) -> dict[str, str]:
    """What stands or is latched, with what it is folded under."""
    return {name: alarm.under for name, alarm in bench.line.state.alarms.items() if alarm.active or alarm.latch}


def stopped(setup: LineSetup | None = None) -> Guarded:
    """Somebody pressed the emergency stop: it cuts the mains, and what hangs on them falls silent."""
    bench = Guarded(setup or guarded_setup()).under_way()
    bench.open = {"stop"}
    bench.later(0.1)
    bench.contacts()
    bench.silent = {"main", "main-acid"}
    bench.run(8.0)
    return bench


def test_consequences_are_folded_under_what_came_first() -> None:
    folded = heads(stopped())
    assert folded == {
        "stop/emergency-stop": "",
        "main/supply-silent": "stop/emergency-stop",
        "main/off-not-proven": "stop/emergency-stop",
        "main-acid/temperature-lost": "stop/emergency-stop",
    }


def test_only_the_head_is_told_in_full() -> None:
    bench = stopped()
    assert bench.alarm_texts("stop/emergency-stop")[0].startswith("The emergency stop stop is pressed")
    (text, *_) = bench.alarm_texts("main/supply-silent")
    assert text == "main/supply-silent: unacknowledged, a consequence of stop/emergency-stop."


def test_a_fault_that_the_head_does_not_bring_is_told_for_itself() -> None:
    bench = Guarded().under_way()
    bench.opens("stop", after_s=1.0)
    bench.bath_c["main-acid"] = 25.0
    bench.run(1.0)
    assert heads(bench)["main-acid/bath-high-high"] == ""


def test_acknowledging_the_head_acknowledges_its_consequences() -> None:
    bench = stopped()
    bench.ask("alarm acknowledge", alarm="stop/emergency-stop")
    assert bench.alarm("main/supply-silent") is AlarmState.ACKNOWLEDGED


def test_an_acknowledged_head_is_told_again_for_a_consequence_that_asks_for_hands_at_once() -> None:
    bench = Guarded().under_way()
    bench.silent = {"main"}
    bench.obeys = False
    bench.run(3.1)
    bench.ask("alarm acknowledge", alarm="main/supply-silent")
    assert bench.alarm("main/supply-silent") is AlarmState.ACKNOWLEDGED
    bench.run(1.5)
    assert heads(bench)["main/off-not-proven"] == "main/supply-silent"
    assert bench.alarm("main/supply-silent") is AlarmState.UNACKNOWLEDGED


def test_what_a_hidden_alarm_brings_along_is_told_for_itself() -> None:
    bench = Guarded().under_way()
    assert bench.ask("alarm shelve", alarm="stop/emergency-stop", for_s=600.0, why="being mended").ok
    bench.opens("stop")
    bench.silent = {"main"}
    bench.run(5.0)
    assert heads(bench)["main/supply-silent"] == ""


def test_resetting_the_head_resets_the_consequences_whose_cause_is_gone_too() -> None:
    bench = stopped()
    bench.silent, bench.open = set(), set()
    bench.run(8.0)
    bench.ask("alarm reset", alarm="stop/emergency-stop")
    assert heads(bench) == {}


def test_a_consequence_whose_cause_outlives_its_head_is_told_for_itself() -> None:
    bench = stopped()
    bench.silent, bench.open = {"main-acid"}, set()
    bench.run(8.0)
    bench.ask("alarm reset", alarm="stop/emergency-stop")
    assert heads(bench)["main-acid/temperature-lost"] == ""


def test_a_consequence_of_another_tank_is_not_folded() -> None:
    bench = Guarded().under_way()
    bench.opens("stop", after_s=1.0)
    bench.silent = {"seal"}
    bench.run(8.0)
    assert heads(bench)["stop/emergency-stop"] == ""
    assert "temperature-lost" in CAUSES["emergency-stop"].brings
    bench.silent = {"main-acid"}
    bench.run(8.0)
    assert heads(bench)["main-acid/temperature-lost"] == "stop/emergency-stop"


def dropped_first(later_s: float) -> Guarded:
    """The supply's output is seen gone, and the emergency stop that did it is read later."""
    bench = Guarded().under_way()
    bench.devices["main"].on = False
    bench.later(0.1)
    bench.give(bench.supply_scan("main", bench.devices["main"]))
    assert heads(bench) == {"main/output-dropped": ""}
    bench.run(later_s)
    bench.opens("stop")
    return bench


def test_a_cause_that_is_read_a_little_after_what_it_brought_along_becomes_its_head() -> None:
    bench = dropped_first(4.0)
    assert heads(bench) == {"main/output-dropped": "stop/emergency-stop", "stop/emergency-stop": ""}
    newest = [one for one in bench.line.state.alarm_log if one.alarm == "main/output-dropped"][-1]
    assert (newest.what, newest.under) == ("folded", "stop/emergency-stop")


def test_a_cause_that_comes_later_than_that_folds_nothing() -> None:
    assert heads(dropped_first(5.5)) == {"main/output-dropped": "", "stop/emergency-stop": ""}


def test_two_that_bring_each_other_along_are_folded_one_way() -> None:
    bench = Guarded().under_way()
    bench.devices["main"].on = False
    bench.later(0.1)
    bench.give(bench.supply_scan("main", bench.devices["main"]))
    bench.tell(main_uptime=0.1)
    assert "output-dropped" in CAUSES["supply-restarted"].brings
    assert heads(bench)["main/output-dropped"] == ""


def test_the_end_of_the_longest_time_is_a_consequence_of_what_holds_the_load() -> None:
    bench = Guarded().under_way()
    bench.opens("guard", after_s=1.0)
    longest_s = bench.operation().plan.longest_s
    bench.later(longest_s)
    bench.wake_up()
    assert heads(bench)["main/longest-time"] == "guard/guard-open"


def test_what_is_freed_is_told_in_full() -> None:
    bench = stopped()
    bench.silent, bench.open = {"main-acid"}, set()
    bench.run(8.0)
    bench.ask("alarm reset", alarm="stop/emergency-stop")
    assert bench.alarm_texts("main-acid/temperature-lost")[-1].startswith("No good temperature comes from main-acid.")
    assert bench.line.state.alarm_log[-1].what == "stands for itself"


def test_consequences_do_not_count_for_the_rate() -> None:
    bench = stopped(patient(guarded_setup()))
    assert alarm_log.told_lately(bench.line.state.alarm_log, bench.now_s) == 1
    bench.run(601.0)
    assert alarm_log.told_lately(bench.line.state.alarm_log, bench.now_s) == 0


def test_contacts_that_are_not_read_because_their_device_is_lost_are_the_alarm_of_the_device() -> None:
    bench = Guarded().under_way()
    bench.silent = {"inputs"}
    bench.run(60.0)
    assert list(heads(bench)) == ["inputs/communication-lost"]
    assert bench.stands() is State.HELD


def test_a_contact_that_stood_open_when_its_device_was_lost_stays_told() -> None:
    bench = Guarded().under_way()
    bench.opens("acid-level", after_s=3.5)
    bench.silent = {"inputs"}
    bench.run(60.0)
    assert bench.line.state.alarms["acid-level/level-low"].active


def test_what_one_cause_brings_is_in_the_table() -> None:
    for cause, row in CAUSES.items():
        assert set(row.brings) <= set(CAUSES), cause
        assert cause not in row.brings


def unproven() -> Guarded:
    """The supply fell silent under current, and its off is not proven."""
    bench = Guarded().under_way()
    bench.silent, bench.obeys = {"main"}, False
    bench.run(5.0)
    assert heads(bench)["main/off-not-proven"] == "main/supply-silent"
    return bench


def test_hiding_a_head_hides_none_of_its_consequences() -> None:
    bench = unproven()
    assert bench.ask("alarm shelve", alarm="main/supply-silent", for_s=600.0, why="being mended").ok
    assert bench.line.state.alarms["main/off-not-proven"].told
    assert bench.alarm_texts("main/off-not-proven")[-1].startswith("The output of main is not proven off.")


def test_a_head_that_is_gone_and_was_seen_swallows_no_later_alarm() -> None:
    bench = Guarded().under_way()
    bench.silent = {"inputs"}
    bench.run(5.0)
    bench.silent = set()
    bench.run(2.0)
    bench.ask("alarm acknowledge", alarm="inputs/communication-lost")
    assert bench.alarm("inputs/communication-lost") is AlarmState.LATCHED_ACKNOWLEDGED
    bench.opens("stop")
    assert heads(bench)["stop/emergency-stop"] == ""


def test_a_consequence_of_what_the_line_file_has_no_more_is_told_for_itself() -> None:
    before, setup = stopped(), guarded_setup()
    left = {name: contact for name, contact in setup.contacts.items() if name != "stop"}
    bench = Guarded(setup=replace(setup, contacts=left), state=before.line.state, now_s=before.now_s)
    bench.start_service()
    assert bench.line.state.alarms["main/supply-silent"].told


@pytest.mark.parametrize("seen", [False, True])
def test_a_load_left_in_acid_stands_under_what_ended_it_until_a_person_has_seen_that(*, seen: bool) -> None:
    """Who saw why the load was held has gone away again: then it is told for itself."""
    bench = Guarded().under_way()
    bench.opens("guard")
    bench.run(30.0)
    if seen:
        assert bench.ask("alarm acknowledge", alarm="guard/guard-open").ok
    bench.run(300.0)
    assert heads(bench)["main/left-long-in-acid"] == ("" if seen else "guard/guard-open")
