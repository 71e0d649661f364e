"""The line of acid and seal with contacts, buttons and mains that a fault operates: one fault is one alarm told."""

from __future__ import annotations

import pytest

from supervisor.core.anodize import State
from supervisor.core.interlocks import CAUSES
from supervisor.records.replay import replay
from supervisor.service.app import journal_path
from supervisor.service.restore import make_line
from tests.harness.virtual import VirtualLine, virtual_line, virtually
from tests.harness.virtual_loop import virtual_loop

AIR_S = 75.0
"""The fan starts with the supervisor's first safe state, and air must be proven for 30 s, process time, s."""


async def under_current(line: VirtualLine) -> None:
    await line.start()
    await line.pass_time(AIR_S)
    await line.begin("10 um", ramp="10 s")
    await line.until(line.truly_on, 20.0)
    await line.pass_time(20.0)
    assert line.told_alarms() == {}


OPENED: dict[str, str] = {
    "acid-lid": "acid-lid/lid-shut",
    "guard": "guard/guard-open",
    "emergency-stop": "emergency-stop/emergency-stop",
    "acid-level": "acid-level/level-low",
    "air-flow": "air-flow/ventilation-lost",
    "air-pressure": "air-pressure/agitation-lost",
}


@pytest.mark.parametrize("contact", OPENED)
def test_an_opened_contact_ends_the_load_and_is_one_alarm_told(contact: str) -> None:
    @virtually
    async def scenario() -> None:
        async with virtual_line(base="acid-and-seal") as line:
            await under_current(line)
            line.strike("contact opens", contact=contact)
            await line.until_alarm(OPENED[contact], 20.0)
            await line.until(lambda: not line.truly_on() and line.supply.output.proven_off, 60.0)
            await line.pass_time(30.0)
            told = line.told_alarms()
            assert told[OPENED[contact]] == 1
            # Agitation is told twice by design: a warning first, and that the load is held half a minute later.
            assert set(told) - {OPENED[contact]} <= {f"{contact}/agitation-long-lost"}
            line.mend("contact opens")
            await line.pass_time(60.0)
            assert not line.truly_on()

    scenario()


@pytest.mark.parametrize("dip_s", [0.2, 2.0, 30.0])
def test_a_dip_of_the_supplys_mains_ends_the_load_for_good(dip_s: float) -> None:
    @virtually
    async def scenario() -> None:
        async with virtual_line(base="acid-and-seal") as line:
            await under_current(line)
            line.strike("mains dip", supply="rectifier", for_s=dip_s)
            await line.pass_time(dip_s)
            await line.until(lambda: line.supply.output.proven_off, 30.0)
            assert not line.simulated.switches["main-contactor"].is_on
            switched_on = sum(bool(truth["on"]) for truth in line.told_truths("output"))
            await line.pass_time(120.0)
            assert not line.truly_on()
            assert sum(bool(truth["on"]) for truth in line.told_truths("output")) == switched_on
            assert line.stands in {State.HELD, State.ABORTED}
            told = line.told_alarms()
            # That off could not be proven at a supply without power is told for itself, whatever it came from.
            assert sum(told.values()) - told["main/off-not-proven"] == 1, told

    scenario()


@virtually
async def test_a_button_that_is_pressed_does_what_the_line_file_says_once() -> None:
    async with virtual_line(base="acid-and-seal") as line:
        await line.start()
        await line.pass_time(AIR_S)
        line.strike("contact opens", contact="emergency-stop")
        await line.until_alarm("emergency-stop/emergency-stop", 5.0)
        assert line.state.alarms["emergency-stop/emergency-stop"].state == "unacknowledged"
        await line.press("acknowledge-button")
        await line.pass_time(2.0)
        assert line.state.alarms["emergency-stop/emergency-stop"].state == "acknowledged"
        assert [note.text for note in line.notes if note.subject == "acknowledge-button"] == [
            "acknowledge-button: pressed, acknowledge."
        ]


@virtually
async def test_a_run_with_a_standstill_a_shelving_and_a_trip_replays_as_it_was() -> None:
    async with virtual_line(base="acid-and-seal") as line:
        await under_current(line)
        line.strike("contact opens", contact="seal-level", for_s=60.0)
        await line.until_alarm("seal-level/level-low", 30.0)
        shelving = {"alarm": "seal-level/level-low", "for": "10 min", "why": "being filled"}
        assert (await line.ask("alarm shelve", **shelving))["ok"]
        virtual_loop().jump(3.0)
        await line.until(lambda: "main/loop-late" in line.alarms, 5.0)
        assert set(line.told_alarms()) == {"seal-level/level-low", "main/loop-late"}
        line.strike("contact opens", contact="acid-lid", for_s=10.0)
        await line.until(lambda: line.supply.output.proven_off, 30.0)
        await line.pass_time(60.0)
        await line.stop()
        result = replay(journal_path(line.files.load()), make_line)
        assert result.steps > 500
        assert result.differences == ()


def test_what_the_table_of_this_file_names_are_causes() -> None:
    assert {name.partition("/")[2] for name in OPENED.values()} <= set(CAUSES)
