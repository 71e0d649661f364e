"""Faults on values and bytes: when they begin and end, and what each of them does."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path

import pytest

from simulators.faults import KINDS, Fault, read_faults, read_script
from simulators.line import SimulatedLine, Truth, names_of
from simulators.modbus_devices import ModbusDevice
from simulators.modbus_frames import crc_fits, with_crc
from simulators.plan import LinePlan
from simulators.pty import Piece
from simulators.spoil import spoil
from simulators.supply import Supply
from simulators.tables import FileError, Reader

SCRIPTS = Path(__file__).parents[2] / "simulators" / "scripts"
READ_ANSWER = with_crc(bytes.fromhex("01 04 04 07 9E 06 3A"))
WRITE_ANSWER = with_crc(bytes.fromhex("01 06 00 12 00 00"))


def fault(plan: LinePlan, **keys: object) -> Fault:
    return read_faults(Reader(keys, ""), names_of(plan))[0]


class Run:
    """A line under current with faults."""

    def __init__(self, plan: LinePlan, *faults: Fault, voltage_v: float = 22.0) -> None:
        self.told: list[Truth] = []
        self.line = SimulatedLine(plan, seed=1, faults=faults, tell=self.told.append)
        self.supply: Supply = self.line.supplies["rectifier"]
        self.supply.set_current(1.95)
        self.supply.set_voltage(voltage_v)
        self.supply.switch(on=True)

    def begun(self) -> list[tuple[object, object]]:
        return [(truth["begins"], truth["process_s"]) for truth in self.told if truth["truth"] == "fault"]


def test_a_fault_begins_at_its_process_time_and_ends_after_its_duration(plan: LinePlan) -> None:
    run = Run(plan, fault(plan, what="contact lost", at_s=100.25, for_s=50.5))
    run.line.advance(1000.0)
    assert run.begun() == [(True, pytest.approx(100.25)), (False, pytest.approx(150.75))]
    assert run.supply.charge_c == pytest.approx(1.95 * (1000.0 - 50.5), rel=1e-9)


def test_a_fault_waits_for_charge(plan: LinePlan) -> None:
    run = Run(plan, fault(plan, what="contact lost", after_charge_c=500.0))
    run.line.advance(1000.0)
    assert run.supply.charge_c == pytest.approx(500.0, abs=1e-4)


def test_a_fault_waits_for_time_since_the_current_began(plan: LinePlan) -> None:
    run = Run(plan, fault(plan, what="contact lost", after_current_s=60.0))
    run.supply.switch(on=False)
    run.line.advance(500.0)
    run.supply.switch(on=True)
    run.line.advance(1000.0)
    assert run.begun() == [(True, pytest.approx(560.0))]


def test_a_duration_on_the_wire_is_scaled_to_process_time(plan: LinePlan) -> None:
    table = Reader({"what": "contact lost", "at_s": 0, "for_wire_s": 20.0}, "")
    assert read_faults(table, names_of(plan, speed=60.0))[0].for_s == pytest.approx(1200.0)


@pytest.mark.parametrize(
    ("keys", "named"),
    [
        ({"what": "gremlins", "at_s": 0}, "gremlins"),
        ({"what": "contact lost"}, "at_s"),
        ({"what": "contact lost", "at_s": 0, "after_charge_c": 1.0}, "exactly one"),
        ({"what": "contact lost", "at_s": 0, "for_s": 1, "for_wire_s": 1}, "for_wire_s"),
        ({"what": "contact lost", "at_s": 0, "supply": "nobody"}, "nobody"),
        ({"what": "device silent", "at_s": 0}, "device"),
        ({"what": "contact lost", "at_s": 0, "lenght_s": 3}, "lenght_s"),
        ({"what": "contact lost", "at_s": float("nan")}, "at_s"),
    ],
)
def test_a_mistake_in_a_script_is_named(plan: LinePlan, keys: dict[str, object], named: str) -> None:
    with pytest.raises(FileError, match=named):
        fault(plan, **keys)


@pytest.mark.parametrize("name", ["bath-overheats", "supply-silent", "contact-lost", "thermocouple-open"])
def test_bundled_scripts_fit_the_demo_line(plan: LinePlan, name: str) -> None:
    assert read_script(SCRIPTS / f"{name}.toml", names_of(plan, 60.0))


def test_the_bundled_bath_crosses_24_degc_minutes_after_the_current_began(plan: LinePlan) -> None:
    run = Run(plan, *read_script(SCRIPTS / "bath-overheats.toml", names_of(plan)))
    crossed_s = 0.0
    while run.line.baths["acid"].bath_c < 24.0:
        crossed_s += 1.0
        run.line.advance(crossed_s)
    assert 300.0 < crossed_s < 600.0
    run.line.advance(crossed_s + 60.0)
    assert 1.0 <= run.line.baths["acid"].bath_c - 24.0 <= 2.0


def test_one_fault_that_ends_leaves_another_on_the_same_thing(plan: LinePlan) -> None:
    heated = fault(plan, what="bath heats", at_s=0, heat_w=10.0, for_s=10.0)
    short = fault(plan, what="contact lost", at_s=0, for_s=10.0)
    run = Run(plan, heated, fault(plan, what="cooling fails", at_s=0), short, fault(plan, what="area lost", at_s=0))
    run.line.advance(20.0)
    assert not run.line.baths["acid"].cooling_works
    assert run.supply.cell.share == 0.5


def test_a_fault_on_a_link_strikes_every_device_on_it(plan: LinePlan) -> None:
    table = Reader({"what": "device silent", "link": "bus", "at_s": 0}, "")
    assert [entry.target for entry in read_faults(table, names_of(plan))] == ["rectifier", "thermometer"]


def test_failed_cooling_lets_the_bath_warm_by_its_own_load(plan: LinePlan) -> None:
    run = Run(plan, fault(plan, what="cooling fails", at_s=0))
    run.line.advance(3600.0)
    assert run.line.baths["acid"].bath_c > 22.5


def test_extra_heat_in_watts_warms_the_bath(plan: LinePlan) -> None:
    run = Run(plan, fault(plan, what="bath heats", at_s=0, heat_w=600.0, for_s=60.0))
    run.line.advance(60.0)
    assert run.line.baths["acid"].bath_c - 20.5 == pytest.approx(600 * 60 / (8 * 4039), rel=0.1)


def test_a_lost_contact_carries_nothing_and_shows_the_voltage_limit(plan: LinePlan) -> None:
    run = Run(plan, fault(plan, what="contact lost", at_s=60.0))
    run.line.advance(120.0)
    assert (run.supply.current_a, run.supply.voltage_v, run.supply.mode) == (0.0, 22.0, "voltage held")
    assert run.supply.charge_c == pytest.approx(1.95 * 60.0)


def test_lost_area_raises_the_voltage_until_it_comes_back(plan: LinePlan) -> None:
    run = Run(plan, fault(plan, what="area lost", at_s=200.0, for_s=30.0), voltage_v=40.0)
    run.line.advance(199.0)
    before_v = run.supply.voltage_v
    run.line.advance(220.0)
    assert run.supply.voltage_v > before_v + 3.5
    run.line.advance(300.0)
    assert run.supply.voltage_v == pytest.approx(before_v, abs=0.3)


def test_a_creeping_contact_raises_the_voltage_slowly_and_opens_in_the_end(plan: LinePlan) -> None:
    run = Run(plan, fault(plan, what="contact creeps off", at_s=200.0, over_s=600.0))
    run.line.advance(199.0)
    before_v = run.supply.voltage_v
    run.line.advance(500.0)
    assert 0.5 < run.supply.voltage_v - before_v < 2.0
    run.line.advance(810.0)
    assert run.supply.current_a == 0.0


def test_a_contact_that_gets_hot_takes_its_share_of_the_volts_and_keeps_it(plan: LinePlan) -> None:
    run = Run(plan, fault(plan, what="contact gets hot", at_s=200.0, ohm=1.0, over_s=60.0), voltage_v=40.0)
    run.line.advance(199.0)
    before_v = run.supply.voltage_v
    run.line.advance(260.0)
    assert run.supply.voltage_v - before_v == pytest.approx(1.95 * 0.632, abs=0.1)
    run.line.advance(800.0)
    assert run.supply.voltage_v - before_v == pytest.approx(1.95, abs=0.2)


def test_a_rack_that_touches_the_cathode_takes_its_current_at_no_volts_and_grows_no_coat(plan: LinePlan) -> None:
    run = Run(plan, fault(plan, what="rack touches", at_s=200.0, for_s=60.0, ohm=0.2))
    run.line.advance(200.0)
    grown_um, charge_c = run.supply.thickness_um, run.supply.charge_c
    run.line.advance(250.0)
    assert run.supply.current_a == pytest.approx(1.95)
    assert run.supply.voltage_v <= 4.0
    assert run.supply.thickness_um == pytest.approx(grown_um)
    assert run.supply.charge_c == pytest.approx(charge_c + 1.95 * 50.0, rel=0.01)
    run.line.advance(400.0)
    assert run.supply.voltage_v > 12.0
    assert run.supply.thickness_um > grown_um


def test_a_rack_that_touches_under_held_volts_draws_all_the_supply_gives(plan: LinePlan) -> None:
    run = Run(plan, fault(plan, what="rack touches", at_s=200.0, ohm=0.2), voltage_v=15.0)
    run.supply.set_current(2.6)
    run.line.advance(210.0)
    assert run.supply.current_a == pytest.approx(2.6)


def test_a_part_that_burns_needs_ever_fewer_volts_with_its_bath_steady(plan: LinePlan) -> None:
    run = Run(plan, fault(plan, what="part burns", at_s=200.0, rate_c_per_min=4.0))
    run.line.advance(199.0)
    before_v = run.supply.voltage_v
    run.line.advance(320.0)
    assert run.supply.voltage_v < 0.85 * before_v
    assert run.line.baths["acid"].bath_c < 22.0


def test_slow_faults_add_up_and_end(plan: LinePlan) -> None:
    both = (
        fault(plan, what="contact gets hot", at_s=100.0, ohm=0.5, over_s=1.0, for_s=100.0),
        fault(plan, what="contact creeps off", at_s=100.0, over_s=600.0, for_s=50.0),
    )
    run = Run(plan, *both)
    run.line.advance(140.0)
    assert run.supply.cell.creep_ohm > 0.5
    run.line.advance(180.0)
    assert run.supply.cell.creep_ohm == pytest.approx(0.5)
    run.line.advance(220.0)
    assert run.supply.cell.creep_ohm == 0.0


def test_an_open_thermocouple_shows_the_mark_for_no_value_until_it_ends(plan: LinePlan) -> None:
    run = Run(plan, fault(plan, what="thermocouple open", sensor="acid-middle", at_s=10.0, for_s=10.0))
    device = ModbusDevice("thermometer", plan.devices["thermometer"], run.line)
    shown = []
    for at_s in (5.0, 15.0, 25.0):
        run.line.advance(at_s)
        shown.append(device.registers["input register", 0].read())
    assert [value == 0x7FFF for value in shown] == [False, True, False]


def test_a_frozen_sensor_repeats_itself_without_noise(plan: LinePlan) -> None:
    run = Run(plan, fault(plan, what="sensor frozen", sensor="acid-middle", at_s=10.0))
    sensor = run.line.sensors["acid-middle"]
    first = sensor.read()
    assert sensor.read() != first
    run.line.advance(10.0)
    assert len({sensor.read() for _ in range(20)}) == 1


def test_a_meter_off_by_gain_reads_so_until_it_ends_and_the_truth_stays(plan: LinePlan) -> None:
    run = Run(plan, fault(plan, what="meter gain", at_s=10.0, for_s=10.0, gain_error=-0.1))
    device = ModbusDevice("rectifier", plan.devices["rectifier"], run.line)
    shown = []
    for at_s in (5.0, 15.0, 25.0):
        run.line.advance(at_s)
        shown.append(device.registers["input register", 0].read())
    assert shown == [1952, 1755, 1952]
    assert run.supply.charge_c == pytest.approx(1.95 * 25.0)


def test_a_supply_that_trips_goes_off_by_itself_and_may_be_switched_on_again(plan: LinePlan) -> None:
    run = Run(plan, fault(plan, what="supply trips", at_s=30.0))
    run.line.advance(60.0)
    assert not run.supply.is_on
    assert run.told[-1]["cause"] == "trip"
    run.supply.switch(on=True)
    run.line.advance(70.0)
    assert run.supply.current_a == 1.95


@pytest.mark.parametrize(("after_dip", "on"), [("off", False), ("last state", True)])
def test_after_a_mains_dip_a_supply_comes_back_as_it_is_made(plan: LinePlan, after_dip: str, on: bool) -> None:
    made = replace(plan, supplies={"rectifier": replace(plan.supplies["rectifier"], after_dip=after_dip)})
    run = Run(made, fault(made, what="mains dip", at_s=30.0, for_s=5.0))
    run.line.advance(33.0)
    assert run.supply.current_a == 0.0
    assert (run.told[-1]["cause"], run.told[-1]["process_s"]) == ("dip", pytest.approx(30.0))
    run.line.advance(40.0)
    assert (run.supply.is_on, run.supply.current_a) == (on, 1.95 if on else 0.0)
    assert run.supply.charge_c == pytest.approx(1.95 * (35.0 if on else 30.0))


def spoiled(plan: LinePlan, what: str, frame: bytes = READ_ANSWER, **amounts: float) -> list[bytes]:
    pieces = spoil(frame, [fault(plan, what=what, device="rectifier", at_s=0, **amounts)], random.Random(1))
    return [piece.data for piece in pieces]


def test_a_dropped_answer_leaves_nothing(plan: LinePlan) -> None:
    assert spoiled(plan, "answer dropped") == []


def test_a_delayed_answer_comes_whole_but_late(plan: LinePlan) -> None:
    late = fault(plan, what="answer delayed", device="rectifier", at_s=0, delay_ms=250.0)
    assert spoil(READ_ANSWER, [late], random.Random(1)) == [Piece(READ_ANSWER, 0.25)]


def test_a_duplicated_answer_comes_twice(plan: LinePlan) -> None:
    assert spoiled(plan, "answer duplicated") == [READ_ANSWER, READ_ANSWER]


def test_a_truncated_answer_lacks_its_end(plan: LinePlan) -> None:
    assert spoiled(plan, "answer truncated", bytes=4) == [READ_ANSWER[:-4]]


def test_a_corrupted_byte_differs_in_one_bit_and_the_check_sum_tells(plan: LinePlan) -> None:
    (frame,) = spoiled(plan, "byte corrupted")
    assert sum((a ^ b).bit_count() for a, b in zip(frame, READ_ANSWER, strict=True)) == 1
    assert not crc_fits(frame)


def test_a_wrong_check_sum_spoils_nothing_else(plan: LinePlan) -> None:
    (frame,) = spoiled(plan, "wrong CRC")
    assert frame[:-2] == READ_ANSWER[:-2]
    assert not crc_fits(frame)


@pytest.mark.parametrize(
    ("what", "answer", "expected"),
    [
        ("wrong unit", READ_ANSWER, "02 04 04 07 9E 06 3A"),
        ("wrong function", READ_ANSWER, "01 03 04 07 9E 06 3A"),
        ("wrong byte count", READ_ANSWER, "01 04 05 07 9E 06 3A"),
        ("wrong byte count", WRITE_ANSWER, "01 06 00 12"),
        ("wrong register count", READ_ANSWER, "01 04 06 07 9E 06 3A 00 01"),
        ("wrong register count", WRITE_ANSWER, "01 06 00 12 00 01"),
        ("values swapped", READ_ANSWER, "01 04 04 06 3A 07 9E"),
        ("values swapped", WRITE_ANSWER, "01 06 00 12 00 00"),
    ],
)
def test_wrong_contents_come_with_a_fitting_check_sum(plan: LinePlan, what: str, answer: bytes, expected: str) -> None:
    assert spoiled(plan, what, answer) == [with_crc(bytes.fromhex(expected))]


def test_garbage_comes_before_or_instead_of_the_answer(plan: LinePlan) -> None:
    (before,) = spoiled(plan, "garbage before the answer", bytes=6)
    (instead,) = spoiled(plan, "garbage instead of the answer", bytes=6)
    assert before[6:] == READ_ANSWER
    assert len(instead) == 6
    assert not crc_fits(instead)


def test_byte_faults_strike_no_more_often_than_they_may(plan: LinePlan) -> None:
    twice = fault(plan, what="answer dropped", device="rectifier", at_s=0, times=2)
    board = SimulatedLine(plan, faults=[twice]).board
    assert [len(board.strike("rectifier", 0.5)) for _ in range(4)] == [1, 1, 0, 0]


def test_byte_faults_strike_their_share_and_only_their_device(plan: LinePlan) -> None:
    third = fault(plan, what="answer dropped", device="rectifier", at_s=0, share=0.3)
    board = SimulatedLine(plan, faults=[third]).board
    assert [len(board.strike("rectifier", chance)) for chance in (0.1, 0.29, 0.3, 0.9)] == [1, 1, 0, 0]
    assert board.strike("thermometer", 0.1) == []


def test_every_kind_of_fault_has_a_rule_in_these_tests() -> None:
    texts = "".join(path.read_text(encoding="utf-8") for path in Path(__file__).parent.glob("test_*.py"))
    assert [what for what in KINDS if f'"{what}"' not in texts] == []
