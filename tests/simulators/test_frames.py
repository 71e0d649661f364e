"""Frames as bytes, against the published specification and its examples."""

from __future__ import annotations

import pytest

from simulators import modbus_frames as frames
from simulators.encoding import Encoding
from simulators.line import SimulatedLine
from simulators.modbus_devices import ModbusDevice
from simulators.plan import DevicePlan, LinePlan, RegisterPlan


@pytest.mark.parametrize("frame", ["01 03 00 00 00 02 C4 0B", "11 03 00 6B 00 03 76 87", "01 83 02 C0 F1"])
def test_check_sums_are_those_of_the_specification(frame: str) -> None:
    # Modbus over serial line V1.02, section 6.2.2; the frames are derived from it.
    whole = bytes.fromhex(frame)
    assert frames.with_crc(whole[:-2]) == whole
    assert frames.crc_fits(whole)


def test_any_flipped_bit_spoils_the_check_sum() -> None:
    whole = bytes.fromhex("11 03 00 6B 00 03 76 87")
    for bit in range(8 * len(whole)):
        flipped = bytearray(whole)
        flipped[bit // 8] ^= 1 << bit % 8
        assert not frames.crc_fits(bytes(flipped))


@pytest.mark.parametrize(
    ("head", "length"),
    [
        ("01", None), ("01 01", 8), ("01 02", 8), ("01 03", 8), ("01 04", 8), ("01 05", 8), ("01 06", 8),
        ("01 0F 00 13 00 0A", None), ("01 0F 00 13 00 0A 02", 11), ("01 10 00 01 00 02 04", 13), ("01 2B", 0),
    ],
)  # fmt: skip
def test_a_request_is_as_long_as_its_function_says(head: str, length: int | None) -> None:
    assert frames.request_length(bytes.fromhex(head)) == length


@pytest.mark.parametrize(("baud", "silence_ms"), [(9600, 4.010), (19200, 2.005), (38400, 1.750), (115200, 1.750)])
def test_silence_is_3_5_characters_and_fixed_above_19200_baud(baud: int, silence_ms: float) -> None:
    # Modbus over serial line V1.02, section 2.5.1.1: eleven bits a character.
    assert frames.silence_s(baud) * 1000 == pytest.approx(silence_ms, abs=0.001)


def _entry(table: str, address: int, value: str, step: float = 1.0) -> RegisterPlan:
    return RegisterPlan(table, address, Encoding(step=step), supply="rectifier", value=value)


@pytest.fixture
def line(plan: LinePlan) -> SimulatedLine:
    return SimulatedLine(plan, seed=1)


@pytest.fixture
def device(line: SimulatedLine) -> ModbusDevice:
    """A supply with something in each of the four tables."""
    registers = (
        _entry("coil", 0, "switch"),
        _entry("discrete input", 0, "on"),
        _entry("discrete input", 1, "mode"),
        _entry("input register", 0, "voltage_v", 0.01),
        _entry("holding register", 16, "set_current_a", 0.001),
        _entry("holding register", 17, "set_voltage_v", 0.01),
        _entry("holding register", 18, "switch"),
        _entry("holding register", 19, "on"),
    )
    return ModbusDevice("rectifier", DevicePlan("bus", 1, "rectifier", 0.0, registers), line)


def asked(device: ModbusDevice, request: str) -> str:
    return device.answer(bytes.fromhex(request)).hex(" ").upper()


def test_write_one_register_is_echoed_and_acts(device: ModbusDevice, line: SimulatedLine) -> None:
    assert asked(device, "06 00 10 07 D0") == "06 00 10 07 D0"
    assert line.supplies["rectifier"].set_current_a == 2.0


def test_write_registers_answers_address_and_count_and_acts_in_order(device: ModbusDevice, line: SimulatedLine) -> None:
    assert asked(device, "10 00 10 00 03 06 07 D0 0F A0 00 01") == "10 00 10 00 03"
    supply = line.supplies["rectifier"]
    assert (supply.set_current_a, supply.set_voltage_v, supply.is_on) == (2.0, 40.0, True)


def test_written_registers_read_back(device: ModbusDevice) -> None:
    asked(device, "10 00 10 00 02 04 07 D0 0F A0")
    assert asked(device, "03 00 10 00 03") == "03 06 07 D0 0F A0 00 00"


def test_a_coil_switches_and_contacts_show_it(device: ModbusDevice, line: SimulatedLine) -> None:
    assert asked(device, "05 00 00 FF 00") == "05 00 00 FF 00"
    assert line.supplies["rectifier"].is_on
    assert asked(device, "01 00 00 00 01") == "01 01 01"
    line.supplies["rectifier"].set_current(2.0)
    # Bit 0 is on; bit 1 is the mode: at a voltage limit of zero the voltage is held.
    assert asked(device, "02 00 00 00 02") == "02 01 03"
    assert asked(device, "0F 00 00 00 01 01 00") == "0F 00 00 00 01"
    assert not line.supplies["rectifier"].is_on


@pytest.mark.parametrize(
    ("request_", "answer"),
    [
        ("2B 0E 01 00", "AB 01"),                      # a function it does not have
        ("03 00 10 00 09", "83 02"),                   # past the end of the table
        ("04 00 64 00 01", "84 02"),                   # an address it does not have
        ("03 00 10 00 00", "83 03"),                   # nothing asked for
        ("03 00 10 00 7E", "83 03"),                   # 126 registers, one too many
        ("05 00 00 12 34", "85 03"),                   # neither on nor off
        ("06 00 10 27 11", "86 03"),                   # 10.001 A of 10 A
        ("06 00 12 00 02", "86 03"),                   # neither on nor off
        ("06 00 13 00 01", "86 02"),                   # may only be read
        ("10 00 10 00 02 02 07 D0", "90 03"),          # byte count does not fit
        ("0F 00 00 00 09 01 01", "8F 03"),             # byte count does not fit
    ],
)  # fmt: skip
def test_exceptions_are_those_of_the_application_protocol(device: ModbusDevice, request_: str, answer: str) -> None:
    # Modbus application protocol V1.1b3, section 7: 01 function, 02 address, 03 value.
    assert asked(device, request_) == answer


def test_a_refused_block_changes_nothing(device: ModbusDevice, line: SimulatedLine) -> None:
    assert asked(device, "10 00 10 00 02 04 07 D0 FF FF") == "90 03"
    assert line.supplies["rectifier"].set_current_a == 0.0


def test_meters_read_with_their_gain_error_in_whole_steps(plan: LinePlan, line: SimulatedLine) -> None:
    device = ModbusDevice("rectifier", plan.devices["rectifier"], line)
    supply = line.supplies["rectifier"]
    supply.set_current(2.0)
    supply.set_voltage(40.0)
    supply.switch(on=True)
    line.advance(60.0)
    shown = bytes.fromhex(asked(device, "04 00 00 00 04"))
    assert int.from_bytes(shown[2:4]) == 2002  # 2.0016 A in steps of 1 mA
    assert int.from_bytes(shown[4:6]) == round(supply.voltage_v * 1.0008 / 0.01)
    assert shown[6:] == bytes.fromhex("00 01 00 00")


def test_a_thermometer_shows_tenths_and_marks_what_is_not_there(plan: LinePlan, line: SimulatedLine) -> None:
    device = ModbusDevice("thermometer", plan.devices["thermometer"], line)
    shown = bytes.fromhex(asked(device, "04 00 00 00 04"))
    assert int.from_bytes(shown[2:4]) == pytest.approx(205, abs=3)
    assert shown[6:] == bytes.fromhex("7F FF 7F FF")


def test_temperatures_below_zero_are_signed(plan: LinePlan, line: SimulatedLine) -> None:
    device = ModbusDevice("thermometer", plan.devices["thermometer"], line)
    line.sensors["acid-middle"].sheath_c = -10.0
    shown = bytes.fromhex(asked(device, "04 00 00 00 01"))
    assert int.from_bytes(shown[2:4], signed=True) == pytest.approx(-100, abs=3)
