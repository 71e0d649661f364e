"""Relays, what they drive, and the contacts that show it."""

from __future__ import annotations

from pathlib import Path

import pytest

from simulators.faults import read_faults
from simulators.line import SimulatedLine, Truth, names_of
from simulators.modbus_devices import ModbusDevice
from simulators.tables import FileError, Reader
from tests.simulators.lines import BASE, made

SWITCHES = """
[switches]
main-contactor = { kind = "contactor", supply = "main" }
heater = { kind = "heater", tank = "acid", power_w = 500.0 }
coil = { kind = "cooling", tank = "acid", power_w = 300.0 }
pump = { kind = "agitation", tank = "acid" }
fan = { kind = "fan" }
lamp = { kind = "lamp" }

[contacts]
contactor-closed = { kind = "auxiliary", follows = "main-contactor" }
air-flow = { kind = "air flow", follows = "fan" }
lid = { kind = "lid" }

[links.bus]
[devices.relays]
link = "bus"
unit = 5
registers = [
    { table = "coil", address = 0, switch = "main-contactor" },
    { table = "holding register", address = 0, switch = "fan" },
    { table = "discrete input", address = 0, contact = "contactor-closed" },
    { table = "discrete input", address = 1, contact = "air-flow" },
    { table = "discrete input", address = 2, contact = "lid" },
    { table = "input register", address = 0, contact = "lid" },
]
"""


class Panel:
    """A line with relays, and what it told."""

    def __init__(self, folder: Path, base: str = BASE) -> None:
        self.told: list[Truth] = []
        self.plan = made(folder, SWITCHES, base)
        self.line = SimulatedLine(self.plan, seed=1, tell=self.told.append)
        self.supply = self.line.supplies["main"]
        self.supply.set_current(1.95)
        self.supply.set_voltage(22.0)
        self.relays = ModbusDevice("relays", self.plan.devices["relays"], self.line)

    def fault(self, what: str, **target: object) -> None:
        for fault in read_faults(Reader({"what": what, **target}, ""), names_of(self.plan), self.line.now_s):
            self.line.add_fault(fault)

    def turn(self, **knobs: object) -> None:
        self.line.turn_knobs(Reader(knobs, "knob"))

    def asked(self, request: str) -> str:
        return self.relays.answer(bytes.fromhex(request)).hex(" ").upper()

    def switches_told(self) -> list[tuple[object, ...]]:
        return [
            (truth["switch"], truth["on"], truth["changed"], truth["cause"])
            for truth in self.told
            if truth["truth"] == "switch"
        ]


@pytest.fixture
def panel(tmp_path: Path) -> Panel:
    return Panel(tmp_path)


def test_a_supply_gives_current_only_while_its_contactor_is_closed(panel: Panel) -> None:
    panel.supply.switch(on=True)
    panel.line.advance(10.0)
    assert (panel.supply.current_a, panel.supply.voltage_v) == (0.0, 22.0)
    assert panel.asked("05 00 00 FF 00") == "05 00 00 FF 00"
    panel.line.advance(70.0)
    assert panel.supply.current_a == 1.95
    panel.asked("05 00 00 00 00")
    panel.line.advance(80.0)
    assert panel.supply.charge_c == pytest.approx(1.95 * 60.0, rel=1e-9)


def test_contacts_show_what_truly_is_and_coils_what_was_told(panel: Panel) -> None:
    assert panel.asked("02 00 00 00 03") == "02 01 04"
    panel.asked("0F 00 00 00 01 01 01")
    panel.asked("06 00 00 00 01")
    assert panel.asked("02 00 00 00 03") == "02 01 07"
    assert panel.asked("03 00 00 00 01") == "03 02 00 01"
    panel.fault("fan stops", switch="fan")
    assert panel.asked("02 00 00 00 03") == "02 01 05"
    assert panel.asked("03 00 00 00 01") == "03 02 00 01"


def test_each_command_is_told_with_the_state_that_came_of_it(panel: Panel) -> None:
    panel.asked("06 00 00 00 01")
    panel.asked("06 00 00 00 01")
    panel.fault("fan stops", switch="fan")
    panel.line.clear_fault("fan stops")
    assert panel.switches_told() == [
        ("fan", True, True, "command"), ("fan", True, False, "command"), ("fan", False, True, "fault"),
        ("fan", True, True, "fault"),
    ]  # fmt: skip


def test_a_welded_contactor_closes_and_does_not_open(panel: Panel) -> None:
    panel.supply.switch(on=True)
    panel.fault("contactor welded", switch="main-contactor")
    panel.asked("05 00 00 FF 00")
    panel.asked("05 00 00 00 00")
    panel.line.advance(1.0)
    assert panel.supply.current_a == 1.95
    assert (panel.asked("01 00 00 00 01"), panel.asked("02 00 00 00 01")) == ("01 01 00", "02 01 01")
    panel.line.clear_fault("contactor welded")
    assert panel.supply.current_a == 0.0


def test_a_stuck_switch_moves_neither_way(panel: Panel) -> None:
    panel.fault("switch stuck", switch="main-contactor")
    panel.asked("05 00 00 FF 00")
    assert panel.asked("02 00 00 00 01") == "02 01 00"


def test_a_contact_opens_by_a_fault_and_closes_after_it(panel: Panel) -> None:
    panel.fault("contact opens", contact="lid")
    assert panel.asked("04 00 00 00 01") == "04 02 00 00"
    panel.line.clear_fault("contact opens")
    assert panel.asked("04 00 00 00 01") == "04 02 00 01"


@pytest.mark.parametrize(("name", "heat_w"), [("heater", 500.0), ("coil", -300.0)])
def test_heater_and_coil_move_their_bath_by_their_power(panel: Panel, name: str, heat_w: float) -> None:
    panel.line.switches[name].command(on=True)
    panel.line.advance(600.0)
    # 8 L of 16.5 % acid, 4.039 kJ/(L*K) (Laliberté correlation).
    rise_c = panel.line.baths["acid"].bath_c - 20.5
    assert rise_c == pytest.approx(heat_w * 600.0 / (8 * 4039), rel=1e-6)
    panel.line.switches[name].command(on=False)
    panel.line.advance(700.0)
    assert panel.line.baths["acid"].bath_c - 20.5 == pytest.approx(rise_c, rel=1e-6)


def test_a_coil_whose_cooling_fails_takes_nothing(panel: Panel) -> None:
    panel.line.switches["coil"].command(on=True)
    panel.fault("cooling fails")
    panel.line.advance(600.0)
    assert panel.line.baths["acid"].bath_c == 20.5


def test_still_acid_lets_the_part_get_6_to_12_degc_over_the_bath_and_agitation_1_to_2_5(panel: Panel) -> None:
    # Knowledge of the trade, from memory.
    panel.line.switches["main-contactor"].command(on=True)
    panel.supply.set_voltage(40.0)
    panel.supply.switch(on=True)
    panel.line.advance(300.0)
    assert 6.0 <= panel.supply.cell.surface_over_bath_c <= 12.0
    panel.line.switches["pump"].command(on=True)
    panel.line.advance(600.0)
    assert 1.0 <= panel.supply.cell.surface_over_bath_c <= 2.5


def test_a_switch_rests_as_its_plan_says(tmp_path: Path) -> None:
    plan = made(tmp_path, '[switches]\nfan = { kind = "fan", rests_on = true }\n')
    assert SimulatedLine(plan).switches["fan"].is_on


def test_the_state_tells_switches_and_contacts(panel: Panel) -> None:
    state = panel.line.state()
    assert state["switches"] == dict.fromkeys(panel.plan.switches, False)
    assert state["contacts"] == {"contactor-closed": False, "air-flow": False, "lid": True}


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ('[switches]\nx = { kind = "contactor" }', "supply"),
        ('[switches]\nx = { kind = "heater", tank = "acid" }', "power_w"),
        ('[switches]\nx = { kind = "heater", tank = "dye", power_w = 1 }', "dye"),
        ('[contacts]\nx = { kind = "auxiliary" }', "follows"),
        ('[contacts]\nx = { kind = "lid", follows = "nobody" }', "nobody"),
        ('[switches]\nx = { kind = "rocket" }', "rocket"),
    ],
)
def test_a_mistake_in_a_switch_or_contact_is_named(tmp_path: Path, text: str, named: str) -> None:
    with pytest.raises(FileError, match=named):
        made(tmp_path, text)


KNOBS = BASE.replace("[supplies.main]", "[supplies.main]\nknobs = true\nmeter_zero_a = 0.02\nripple_share = 0.05")


def test_a_hand_turns_the_knobs_and_a_ramp_passes_exactly_its_charge(tmp_path: Path) -> None:
    panel = Panel(tmp_path, KNOBS)
    panel.line.switches["main-contactor"].command(on=True)
    panel.turn(current_a=0.0, voltage_v=40.0, on=True)
    panel.turn(supply="main", current_a=1.95, ramp_s=60.0)
    panel.line.advance(30.0)
    assert panel.supply.current_a == pytest.approx(0.975)
    panel.line.advance(160.0)
    assert panel.supply.current_a == pytest.approx(1.95)
    assert panel.supply.charge_c == pytest.approx(1.95 * 30.0 + 1.95 * 100.0, rel=1e-9)
    assert panel.told[1]["cause"] == "hand"


def test_a_hand_that_takes_the_knob_ends_a_ramp(tmp_path: Path) -> None:
    panel = Panel(tmp_path, KNOBS)
    panel.turn(current_a=0.0)
    panel.turn(current_a=2.0, ramp_s=60.0)
    panel.line.advance(10.0)
    panel.turn(current_a=0.5)
    panel.line.advance(100.0)
    assert panel.supply.set_current_a == 0.5


def test_a_shunt_shows_its_zero_and_samples_the_ripple(tmp_path: Path) -> None:
    panel = Panel(tmp_path, KNOBS)
    assert panel.supply.shown_current_a() == 0.02
    panel.line.switches["main-contactor"].command(on=True)
    panel.supply.set_voltage(40.0)
    panel.supply.switch(on=True)
    shown = []
    for step in range(1, 401):
        panel.line.advance(step * 0.0103)
        shown.append(panel.supply.shown_current_a() - 0.02)
    assert min(shown) == pytest.approx(1.95 * 0.95, rel=0.005)
    assert max(shown) == pytest.approx(1.95 * 1.05, rel=0.005)
    assert panel.supply.charge_c == pytest.approx(1.95 * 400 * 0.0103, rel=1e-9)


def test_ten_readings_a_second_fall_in_phase_with_the_ripple(tmp_path: Path) -> None:
    # 100 Hz is ten whole periods in each tenth of a second.
    panel = Panel(tmp_path, KNOBS)
    panel.line.switches["main-contactor"].command(on=True)
    panel.supply.set_voltage(40.0)
    panel.supply.switch(on=True)
    panel.line.advance(30.0012)
    shown = []
    for _ in range(10):
        panel.line.advance(panel.line.now_s + 0.1)
        shown.append(panel.supply.shown_current_a())
    assert max(shown) - min(shown) < 1e-6
    assert abs(shown[0] - 0.02 - 1.95) > 0.03


@pytest.mark.parametrize(
    ("knobs", "named"),
    [
        ({"supply": "nobody"}, "nobody"),
        ({"current_a": -1}, "current_a"),
        ({"voltage_v": 30, "amps": 1}, "amps"),
        ({"current_a": 1, "ramp_s": -1}, "ramp_s"),
    ],
)
def test_a_bad_turn_is_told_and_changes_nothing(tmp_path: Path, knobs: dict[str, object], named: str) -> None:
    panel = Panel(tmp_path, KNOBS)
    with pytest.raises(FileError, match=named):
        panel.turn(**knobs)
    assert (panel.supply.set_current_a, panel.supply.set_voltage_v) == (1.95, 22.0)


def test_nobody_turns_the_knobs_of_a_supply_without_any(panel: Panel) -> None:
    with pytest.raises(FileError, match="knobs"):
        panel.turn(current_a=1.0)


def test_no_wire_reaches_the_set_points_of_a_knob_supply(tmp_path: Path) -> None:
    register = '{ table = "holding register", address = 0, supply = "main", value = "set_current_a" }'
    with pytest.raises(FileError, match="knobs"):
        made(tmp_path, f'[links.bus]\n[devices.x]\nlink = "bus"\nunit = 1\nregisters = [{register}]\n', KNOBS)


def test_of_two_faults_on_one_thing_the_first_that_ends_leaves_the_other(panel: Panel) -> None:
    panel.fault("contact opens", contact="lid", for_s=10.0)
    panel.fault("contact opens", contact="lid")
    panel.fault("fan stops", switch="fan", for_s=10.0)
    panel.fault("fan stops", switch="fan")
    panel.line.switches["fan"].command(on=True)
    panel.line.advance(20.0)
    assert not panel.line.contacts["lid"].is_closed
    assert not panel.line.switches["fan"].is_on


def test_a_fault_on_a_switch_needs_its_name(panel: Panel) -> None:
    with pytest.raises(FileError, match="switch"):
        read_faults(Reader({"what": "switch stuck", "at_s": 0}, ""), names_of(panel.plan))
