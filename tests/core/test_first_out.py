"""First-out: where one cause trips many things the first is the head, its consequences are folded under it."""

from __future__ import annotations

from supervisor.core import alarm_log
from supervisor.core.alarms import AlarmState
from supervisor.core.interlocks import CAUSES
from tests.core.guarded import Guarded


def heads(bench: Guarded) -> dict[str, str]:
    """What stands or is latched, with what it is folded under."""
    return {name: alarm.under for name, alarm in bench.line.state.alarms.items() if alarm.active or alarm.latch}


def lost() -> Guarded:
    """The inputs have fallen silent: their own alarm and what is missed because of it."""
    bench = Guarded().under_way()
    bench.silent = {"inputs"}
    bench.run(8.0)
    return bench


def test_consequences_are_folded_under_what_came_first() -> None:
    bench = lost()
    folded = heads(bench)
    assert folded.pop("inputs/communication-lost") == ""
    assert {"stop/emergency-stop", "acid-level/level-low"} <= set(folded)
    assert set(folded.values()) == {"inputs/communication-lost"}


def test_only_the_head_is_told_in_full() -> None:
    bench = lost()
    assert bench.alarm_texts("inputs/communication-lost")[0].startswith("Nothing good comes from the device inputs")
    (text, *_) = bench.alarm_texts("acid-level/level-low")
    assert text == "acid-level/level-low: unacknowledged, a consequence of inputs/communication-lost."


def test_a_fault_that_the_head_does_not_bring_is_told_for_itself() -> None:
    bench = lost()
    bench.bath_c["main-acid"] = 25.0
    bench.run(1.0)
    assert heads(bench)["main-acid/bath-high-high"] == ""


def test_acknowledging_the_head_acknowledges_its_consequences() -> None:
    bench = lost()
    bench.ask("alarm acknowledge", alarm="inputs/communication-lost")
    assert bench.alarm("acid-level/level-low") is AlarmState.ACKNOWLEDGED


def test_resetting_the_head_resets_the_consequences_whose_cause_is_gone_too() -> None:
    bench = lost()
    bench.silent = set()
    bench.run(8.0)
    bench.ask("alarm reset", alarm="inputs/communication-lost")
    assert heads(bench) == {}


def test_a_consequence_whose_cause_outlives_its_head_is_told_for_itself() -> None:
    bench = lost()
    bench.silent, bench.open = set(), {"acid-level"}
    bench.run(8.0)
    bench.ask("alarm reset", alarm="inputs/communication-lost")
    assert heads(bench) == {"acid-level/level-low": ""}


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


def test_consequences_do_not_count_for_the_rate() -> None:
    bench = lost()
    assert alarm_log.told_lately(bench.line.state.alarm_log, bench.now_s) == 1
    bench.run(601.0)
    assert alarm_log.told_lately(bench.line.state.alarm_log, bench.now_s) == 0


def test_what_one_cause_brings_is_in_the_table() -> None:
    for cause, row in CAUSES.items():
        assert set(row.brings) <= set(CAUSES), cause
        assert cause not in row.brings
