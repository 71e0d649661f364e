"""Values in registers: every kind and every order of bytes, and 32-bit set points that are never half-written."""

from __future__ import annotations

from pathlib import Path

import pytest

from simulators.encoding import KINDS, ORDERS, Encoding
from simulators.line import SimulatedLine
from simulators.modbus_devices import ModbusDevice
from simulators.tables import FileError
from tests.simulators.lines import made

MODULE = """
[links.bus]
[devices.module]
link = "bus"
unit = 3
longest_read = 8
{more}
registers = [
    {{ table = "input register", address = 0, supply = "main", value = "current_a", kind = "{kind}", order = "{order}" }},
    {{ table = "holding register", address = 4, supply = "main", value = "set_current_a", kind = "{kind}", order = "{order}" }},
    {{ table = "holding register", address = 8, supply = "main", value = "switch" }},
]
"""  # noqa: E501


def module(
    folder: Path, kind: str = "float32", order: str = "ABCD", more: str = ""
) -> tuple[ModbusDevice, SimulatedLine]:
    plan = made(folder, MODULE.format(kind=kind, order=order, more=more))
    line = SimulatedLine(plan)
    return ModbusDevice("module", plan.devices["module"], line), line


def asked(device: ModbusDevice, request: str) -> str:
    return device.answer(bytes.fromhex(request)).hex(" ").upper()


@pytest.mark.parametrize(
    ("order", "words"),
    [("ABCD", "41 45 85 1F"), ("CDAB", "85 1F 41 45"), ("BADC", "45 41 1F 85"), ("DCBA", "1F 85 45 41")],
)
def test_a_float_lies_in_each_order_of_bytes_and_words(order: str, words: str) -> None:
    # IEEE 754: 12.345 is 4145851F hex, the example of many manuals.
    encoding = Encoding("float32", order)
    laid = encoding.on_wire(encoding.raw(12.345))
    assert b"".join(word.to_bytes(2) for word in laid).hex(" ").upper() == words


@pytest.mark.parametrize(("order", "word"), [("ABCD", 0x07D0), ("CDAB", 0x07D0), ("BADC", 0xD007), ("DCBA", 0xD007)])
def test_the_bytes_of_a_16_bit_value_change_places_where_the_order_says(order: str, word: int) -> None:
    assert Encoding("uint16", order).on_wire(2000) == [word]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("order", ORDERS)
def test_what_was_laid_out_is_found_again(kind: str, order: str) -> None:
    encoding = Encoding(kind, order, step=0.5, offset=3.0)
    assert encoding.value(encoding.from_wire(encoding.on_wire(encoding.raw(1003.0)))) == 1003.0


@pytest.mark.parametrize(
    ("kind", "low", "high"),
    [
        ("uint16", 0, 65535), ("int16", -32768, 32767), ("uint32", 0, 4294967295), ("int32", -2147483648, 2147483647),
    ],
)  # fmt: skip
def test_a_value_beyond_the_range_shows_the_end_of_it(kind: str, low: int, high: int) -> None:
    encoding = Encoding(kind)
    assert (encoding.value(encoding.raw(-1e12)), encoding.value(encoding.raw(1e12))) == (low, high)


@pytest.mark.parametrize("order", ORDERS)
def test_a_32_bit_set_point_acts_when_both_halves_come_in_one_write(tmp_path: Path, order: str) -> None:
    device, line = module(tmp_path, order=order)
    encoding = Encoding("float32", order)
    words = b"".join(word.to_bytes(2) for word in encoding.on_wire(encoding.raw(1.95))).hex()
    assert asked(device, f"10 00 04 00 02 04 {words}") == "10 00 04 00 02"
    assert line.supplies["main"].set_current_a == pytest.approx(1.95)


@pytest.mark.parametrize("request_", ["06 00 04 3F F9", "06 00 05 99 9A", "10 00 05 00 01 02 99 9A"])
def test_half_a_set_point_is_refused_and_changes_nothing(tmp_path: Path, request_: str) -> None:
    device, line = module(tmp_path)
    # Illegal data address; Modbus application protocol V1.1b3, section 7.
    assert asked(device, request_)[3:] == "02"
    assert line.supplies["main"].set_current_a == 0.0


@pytest.mark.parametrize("pattern", ["7F C0 00 00", "7F 80 00 00", "41 20 01 00", "BF 80 00 00"])
def test_no_number_infinite_too_high_and_below_zero_are_no_set_points(tmp_path: Path, pattern: str) -> None:
    device, line = module(tmp_path)
    assert asked(device, f"10 00 04 00 02 04 {pattern}") == "90 03"
    assert line.supplies["main"].set_current_a == 0.0


def test_both_halves_of_a_value_are_of_one_moment(tmp_path: Path) -> None:
    device, line = module(tmp_path)
    line.supplies["main"].set_voltage(40.0)
    line.supplies["main"].set_current(2.0)
    line.supplies["main"].switch(on=True)
    assert asked(device, "04 00 00 00 02") == "04 04 40 00 00 00"


@pytest.mark.parametrize(
    ("kind", "shown"),
    [("uint16", "FF FF"), ("int16", "7F FF"), ("uint32", "FF FF FF FF"), ("float32", "7F 7F FF FF")],
)
def test_a_value_out_of_range_shows_the_last_that_its_kind_can_in_steps_too(
    tmp_path: Path, kind: str, shown: str
) -> None:
    shows = 'supply = "main", value = "current_a", step = 0.1'
    register = f'{{ table = "input register", address = 0, kind = "{kind}", {shows} }}'
    plan = made(tmp_path, f'[links.bus]\n[devices.module]\nlink = "bus"\nunit = 3\nregisters = [{register}]\n')
    device = ModbusDevice("module", plan.devices["module"], SimulatedLine(plan))
    words = len(shown.split()) // 2
    answer = device.answer(bytes.fromhex(f"04 00 00 00 0{words}"), wrong={"value out of range"})
    assert answer[2:].hex(" ").upper() == shown


def test_a_hole_is_refused_unless_the_device_shows_zeros_there(tmp_path: Path) -> None:
    request = "03 00 04 00 05"
    assert asked(module(tmp_path)[0], request) == "83 02"
    assert asked(module(tmp_path, more='holes = "zero"')[0], request) == "03 0A" + " 00" * 10


def test_a_request_longer_than_the_device_takes_is_refused(tmp_path: Path) -> None:
    device, _ = module(tmp_path, more='holes = "zero"')
    assert asked(device, "03 00 00 00 08")[:5] == "03 10"
    assert asked(device, "03 00 00 00 09") == "83 03"


@pytest.mark.parametrize(
    ("change", "named"),
    [
        (("address = 8", "address = 5"), "share an address"),
        (('value = "switch"', 'value = "switch", sensor = "x"'), "not known"),
        (('supply = "main", value = "switch"', 'switch = "fan"'), "fan"),
        (('kind = "float32", order = "ABCD" }', 'kind = "float16" }'), "float16"),
    ],
)
def test_a_mistake_in_a_table_is_named(tmp_path: Path, change: tuple[str, str], named: str) -> None:
    with pytest.raises(FileError, match=named):
        made(tmp_path, MODULE.format(kind="float32", order="ABCD", more="").replace(*change))
