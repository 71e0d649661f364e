"""Mains dips and lost power of any length: what falls off, what boots, what comes back, and what is forgotten."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from simulators.microcontroller import sentence
from simulators.plan import LinePlan
from simulators.tables import FileError
from tests.simulators.lines import BASE, made
from tests.simulators.served import Served

BUS = """
[switches]
main-contactor = { kind = "contactor", supply = "main" }
fan = { kind = "fan", rests_on = true }

[contacts]
contactor-closed = { kind = "auxiliary", follows = "main-contactor" }

[links.bus]

[devices.supply]
link = "bus"
unit = 1
supply = "main"
registers = [
    { table = "input register", address = 0, value = "current_a", step = 0.001 },
    { table = "input register", address = 2, value = "charge_ah", kind = "uint32", step = 0.0001 },
    { table = "input register", address = 4, value = "uptime_s", kind = "uint32" },
    { table = "holding register", address = 16, value = "set_current_a", step = 0.001 },
    { table = "holding register", address = 17, value = "set_voltage_v", step = 0.01 },
    { table = "holding register", address = 18, value = "switch" },
    { table = "holding register", address = 19, value = "time_out_s", step = 0.1 },
]

[devices.relays]
link = "bus"
unit = 2
registers = [
    { table = "coil", address = 0, switch = "main-contactor" },
    { table = "coil", address = 1, switch = "fan" },
    { table = "discrete input", address = 0, contact = "contactor-closed" },
]
"""
TEXT = """
[switches]
pump = { kind = "agitation", tank = "acid" }

[links.supply]
kind = "serial text"

[links.board]
kind = "serial text"

[devices.supply]
kind = "scpi supply"
link = "supply"
supply = "main"
number_form = "NR2"
charge_query = "MEASure:CHARge?"

[devices.board]
kind = "microcontroller"
link = "board"
boot_ms = 300.0
beat_period_ms = 100.0
relays = [ { name = "pump", switch = "pump" } ]
groups = []
"""
KEEPS = BASE.replace("[supplies.main]", '[supplies.main]\nafter_dip = "last state"\ncounter_gain_error = 0.01')
ASK, RELAYS_ASK = "01 03 00 12 00 01", "02 01 00 00 00 02"
SETTLES_S = 1e-3
"""Wire time beside an exact moment, s."""


def heard(body: str) -> str:
    """A sentence as a board hears it, without its LF."""
    return sentence(body).decode().removesuffix("\n")


PUMP_ON = heard("SET,1,pump=1")

ServedOf = Callable[..., Served]


@pytest.fixture
def served_of(tmp_path: Path) -> Iterator[ServedOf]:
    opened: list[Served] = []

    def served_of(text: str = BUS, base: str = BASE, speed: float = 1.0) -> Served:
        opened.append(Served(made(tmp_path, text, base), speed))
        return opened[-1]

    yield served_of
    for served in opened:
        served.close()


def run(served: Served) -> None:
    """Let the supply give 2 A through its closed contactor."""
    served.ask("02 05 00 00 FF 00")
    served.ask("01 10 00 10 00 02 04 07 D0 0F A0")
    served.ask("01 06 00 12 00 01")
    assert served.line.supplies["main"].current_a == 2.0


@pytest.mark.parametrize("dip_s", [0.2, 2.0, 30.0])
@pytest.mark.parametrize(("base", "after_a"), [(BASE, 0.0), (KEEPS, 2.0)])
def test_a_dip_of_any_length_takes_output_and_answer_until_it_has_booted(
    served_of: ServedOf, dip_s: float, base: str, after_a: float
) -> None:
    served = served_of(base=base)
    supply = served.line.supplies["main"]
    run(served)
    served.rest(5.0)
    served.fault("mains dip", for_s=dip_s)
    assert (supply.current_a, served.ask(ASK)) == (0.0, "")
    served.rest(dip_s + 0.5 - SETTLES_S)
    assert (served.ask(ASK), supply.current_a) == ("", 0.0)
    served.rest(2 * SETTLES_S)
    assert served.ask(ASK).startswith("01 03 02")
    assert (supply.current_a, supply.set_current_a, supply.set_voltage_v) == (after_a, 2.0, 40.0)


@pytest.mark.parametrize("dip_s", [0.2, 2.0, 30.0])
def test_nobody_needs_to_look_for_a_dip_to_cost_its_whole_charge(served_of: ServedOf, dip_s: float) -> None:
    served = served_of(base=KEEPS)
    run(served)
    began_s = served.line.now_s
    served.fault("mains dip", for_s=dip_s)
    served.rest(100.0)
    served.server.tell_state("state")
    given_s = served.line.now_s - began_s - dip_s - 0.5
    assert served.line.supplies["main"].charge_c == pytest.approx(2.0 * given_s, abs=1e-3)


def test_a_boot_takes_wire_time_however_fast_the_process_goes(served_of: ServedOf) -> None:
    served = served_of(speed=60.0)
    served.fault("mains dip", for_wire_s=1.0)
    served.rest(1.5 - SETTLES_S)
    assert served.ask(ASK) == ""
    served.rest(2 * SETTLES_S)
    assert served.ask(ASK) != ""


def test_a_boot_lasts_as_its_file_says(served_of: ServedOf) -> None:
    served = served_of(BUS.replace("unit = 1\n", "unit = 1\nboot_ms = 4000.0\n"))
    served.fault("mains dip", for_s=1.0)
    served.rest(5.0 - SETTLES_S)
    assert served.ask(ASK) == ""
    served.rest(2 * SETTLES_S)
    assert served.ask(ASK) != ""


def test_a_second_dip_while_it_boots_lets_it_boot_anew_into_the_state_before_the_first(served_of: ServedOf) -> None:
    served = served_of(base=KEEPS)
    run(served)
    served.fault("mains dip", for_s=1.0)
    served.fault("mains dip", at_s=served.line.now_s + 1.3, for_s=1.0)
    served.rest(2.3 + 0.5 - SETTLES_S)
    assert served.line.supplies["main"].current_a == 0.0
    served.rest(2 * SETTLES_S)
    assert served.line.supplies["main"].current_a == 2.0


def test_of_two_dips_that_overlap_the_last_one_ends_it(served_of: ServedOf) -> None:
    served = served_of()
    served.fault("mains dip", for_s=1.0)
    served.fault("mains dip", for_s=10.0)
    served.rest(5.0)
    assert served.ask(ASK) == ""
    served.rest(5.5 + SETTLES_S)
    assert served.ask(ASK) != ""


def test_a_time_out_that_was_armed_is_forgotten_and_never_fires(served_of: ServedOf) -> None:
    served = served_of(base=KEEPS)
    run(served)
    served.ask("01 06 00 13 00 1E")
    assert served.ask("01 03 00 13 00 01") == "01 03 02 00 1E"
    served.fault("mains dip", for_s=1.0)
    served.rest(20.0)
    served.server.tell_state("state")
    assert served.line.supplies["main"].is_on
    assert served.ask("01 03 00 13 00 01") == "01 03 02 00 00"


def test_no_hand_switches_on_what_has_no_mains(served_of: ServedOf) -> None:
    served = served_of()
    run(served)
    served.fault("mains dip")
    served.line.supplies["main"].switch(on=True, cause="hand")
    assert (served.line.supplies["main"].is_on, served.line.supplies["main"].current_a) == (False, 0.0)


def test_its_own_counter_and_clock_begin_anew_at_every_power_on(served_of: ServedOf) -> None:
    served = served_of(base=KEEPS)
    run(served)
    served.rest(3600.0)
    # 2 A for an hour, read 1 % high.
    assert served.value(2, 2) * 0.0001 == pytest.approx(2.02, abs=0.0005)
    assert served.value(4, 2) == 3600
    served.fault("mains dip", for_s=0.2)
    served.rest(0.7 + 90.0)
    assert served.value(2, 2) * 0.0001 == pytest.approx(2.02 * 90.0 / 3600.0, abs=0.0002)
    assert served.value(4, 2) == 90


def test_a_meter_that_is_off_leaves_the_counter_right(served_of: ServedOf) -> None:
    served = served_of()
    run(served)
    served.fault("meter gain", gain_error=-0.1)
    served.rest(3600.0)
    assert served.value(0) == 1800
    assert served.value(2, 2) == pytest.approx(20000, abs=5)


@pytest.mark.parametrize("lost_s", [0.2, 2.0, 30.0])
def test_relays_without_power_rest_at_once_and_at_rest_they_come_back(served_of: ServedOf, lost_s: float) -> None:
    served = served_of()
    run(served)
    served.ask("02 05 00 01 00 00")
    served.fault("power lost", device="relays", for_s=lost_s)
    assert served.switched()[-2:] == [("main-contactor", False, "power lost"), ("fan", True, "power lost")]
    assert served.line.supplies["main"].current_a == 0.0
    assert served.ask("02 05 00 00 FF 00") == ""
    served.rest(lost_s + 0.3 - SETTLES_S)
    assert served.ask(RELAYS_ASK) == ""
    served.rest(2 * SETTLES_S)
    assert served.ask(RELAYS_ASK) == "02 01 01 02"
    assert served.ask("02 02 00 00 00 01") == "02 02 01 00"


def test_dips_on_supply_and_board_do_not_touch_each_other(served_of: ServedOf) -> None:
    served = served_of()
    served.fault("power lost", device="relays", for_s=10.0)
    assert served.ask(ASK) != ""
    served.rest(11.0)
    served.fault("mains dip", for_s=10.0)
    assert (served.ask(ASK), served.ask(RELAYS_ASK)) == ("", "02 01 01 02")


def test_only_a_device_that_is_no_supply_loses_power_this_way(served_of: ServedOf) -> None:
    served = served_of()
    assert "device" in served.server.order({"fault": {"what": "power lost", "device": "supply"}})
    served.fault("power lost", link="bus")
    assert [t["target"] for t in served.truths if t["truth"] == "fault"] == ["relays"]
    served_of(TEXT)
    assert "'supply'" in served_of(TEXT).server.order({"fault": {"what": "power lost", "link": "supply"}})


def test_relays_with_a_time_out_of_their_own_rest_without_requests(served_of: ServedOf) -> None:
    served = served_of(BUS.replace("unit = 2\n", "unit = 2\nrests_after_ms = 2000.0\n"))
    served.ask("02 05 00 00 FF 00")
    for _ in range(3):
        served.rest(1.9)
        assert served.ask("02 01 00 00 00 01") == "02 01 01 01"
    served.rest(1.9)
    served.ask(ASK)  # another device's request is not theirs
    served.rest(0.2)
    assert served.switched()[-1] == ("main-contactor", False, "time-out")
    assert served.ask("02 01 00 00 00 01") == "02 01 01 00"


def test_a_board_without_power_is_silent_with_its_relays_at_rest_and_boots_afterwards(served_of: ServedOf) -> None:
    served = served_of(TEXT)
    board = served.board().board
    assert served.say("board", PUMP_ON)[-1].startswith("$DONE,1,pump=1")
    served.say("board", heard("KEEP,2,900"))
    assert board.keep_s == 0.9
    served.fault("power lost", device="board", for_s=0.2)
    assert served.switched() == [("pump", True, "command"), ("pump", False, "power lost")]
    assert served.say("board", PUMP_ON) == []
    served.texts["board"].said.clear()
    served.rest(0.18 + 0.3 - SETTLES_S)
    assert (served.texts["board"].said, board.keep_s) == ([], 0.0)
    served.rest(2 * SETTLES_S)
    assert [text[:8] for text in served.texts["board"].said] == ["$BEAT,0,"]
    assert not served.line.switches["pump"].is_on


def test_a_reset_boots_no_board_without_power(served_of: ServedOf) -> None:
    served = served_of(TEXT)
    served.fault("power lost", device="board", for_s=5.0)
    served.fault("board resets", device="board", for_s=0.1)
    served.rest(5.0 + 0.3 - SETTLES_S)
    assert served.texts["board"].said == []


@pytest.mark.parametrize("hears", [True, False])
def test_what_a_board_hears_or_says_in_the_moment_its_power_goes_is_nothing(served_of: ServedOf, hears: bool) -> None:
    served = served_of(TEXT)
    served.rest(0.01)
    served.texts["board"].said.clear()
    served.fault("power lost", device="board", at_s=0.05)
    # The loop was busy: a command or a heartbeat is due before the board itself has been told.
    served.loop.jump(0.12)
    if hears:
        served.board()._hear(PUMP_ON.encode(), served.loop.time())
    served.rest(1.0)
    assert (served.switched(), served.texts["board"].said) == ([], [])


def test_a_supply_that_speaks_scpi_tells_each_power_on_once(served_of: ServedOf) -> None:
    # IEEE 488.2, section 11.5.1: bit 7 of the standard event status register is power on; reading clears it.
    served = served_of(TEXT, KEEPS)
    assert served.say("supply", "*ESR?") == ["128"]
    assert served.say("supply", "*ESR?") == ["0"]
    served.say("supply", "NONSENSE")
    served.fault("mains dip", for_s=0.2)
    assert served.say("supply", "*ESR?") == []
    served.rest(0.2 + 0.5)
    assert served.say("supply", "*ESR?;SYST:ERR?") == ['128;0,"No error"']


def test_an_answer_that_was_under_way_is_lost_with_the_mains(served_of: ServedOf) -> None:
    served = served_of(TEXT)
    served.server._texts["supply"]._hear(b"OUTP?", served.loop.time())
    served.fault("mains dip", for_s=1.0)
    served.rest(10.0)
    assert served.texts["supply"].said == []


def test_a_supply_that_speaks_scpi_forgets_who_holds_its_panel_and_its_protection(served_of: ServedOf) -> None:
    served = served_of(TEXT.replace('"NR2"', '"NR2"\nneeds_remote = true'))
    served.say("supply", "SYST:REM;:VOLT:PROT 20;*ESE 255")
    assert served.say("supply", "VOLT:PROT?;*ESE?") == ["20.000;255"]
    served.fault("mains dip", for_s=0.2)
    served.rest(0.8)
    assert served.say("supply", "VOLT:PROT?;*ESE?") == ["66.000;0"]
    served.say("supply", "VOLT 12")
    assert served.say("supply", "VOLT?;SYST:ERR?") == ['0.000;-203,"Command protected"']


def test_a_supply_that_speaks_scpi_tells_its_counter_where_it_is_asked_for_it(served_of: ServedOf) -> None:
    served = served_of(TEXT, KEEPS)
    served.say("supply", "CURR 2;VOLT 40;OUTP ON")
    served.rest(1800.0)
    # 2 A for half an hour, read 1 % high.
    assert float(served.say("supply", "MEAS:CHAR?")[0]) == pytest.approx(1.01, abs=0.001)
    assert float(served.say("supply", "measure:charge?")[0]) == pytest.approx(1.01, abs=0.001)
    assert served.say("supply", "MEAS:CHAR") == []
    none = served_of(TEXT.replace('charge_query = "MEASure:CHARge?"\n', ""))
    assert none.say("supply", "MEAS:CHAR?;*OPC?") == []


@pytest.mark.parametrize("header", ["meas:char?", "MEAS CHAR", ":MEAS"])
def test_a_query_that_is_no_header_is_refused(tmp_path: Path, header: str) -> None:
    with pytest.raises(FileError, match="charge_query"):
        made(tmp_path, TEXT.replace("MEASure:CHARge?", header))


def test_a_supply_with_knobs_comes_back_at_once(tmp_path: Path) -> None:
    plan: LinePlan = made(tmp_path, "", KEEPS.replace("[supplies.main]", "[supplies.main]\nknobs = true"))
    served = Served(plan)
    supply = served.line.supplies["main"]
    served.server.order({"knob": {"current_a": 2.0, "voltage_v": 40.0, "on": True}})
    served.fault("mains dip", for_s=1.0)
    assert supply.current_a == 0.0
    served.rest(1.0 + SETTLES_S)
    assert supply.current_a == 2.0
    served.close()
