"""Numbers of 16 and 32 bits in every order of their bytes, read and written; what is near is read in one request."""

from __future__ import annotations

import math
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.modbus_rtu import RtuLink
from drivers.module_modbus import ModuleModbus
from drivers.ports import Refused
from drivers.registers import NumberKind, Register, RegisterMap, WordOrder, groups_of
from drivers.registers_read import decode, encode_down
from drivers.supply_modbus import SupplyModbus
from tests.drivers.peer import Peer, framed, supply_map
from tests.drivers.test_devices import echo

ORDERS: list[WordOrder] = ["ABCD", "CDAB", "BADC", "DCBA"]
WIRE = {"ABCD": (0x4048, 0xF5C3), "CDAB": (0xF5C3, 0x4048), "BADC": (0x4840, 0xC3F5), "DCBA": (0xC3F5, 0x4840)}
"""3.14 as float32 is 0x4048F5C3 (IEEE 754, computed by hand), here as its two registers in each order."""


def register(kind: NumberKind, order: WordOrder = "ABCD", **more: float) -> Register:
    return Register("p", "holding register", 4, kind, order, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("order", ORDERS)
def test_a_float_is_read_in_each_order(order: WordOrder) -> None:
    assert decode(register("float32", order), WIRE[order]) == pytest.approx(3.14, abs=1e-6)


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize(("kind", "value"), [("uint32", 0x4048F5C3), ("int32", 0x4048F5C3)])
def test_a_whole_number_is_read_in_each_order(order: WordOrder, kind: NumberKind, value: int) -> None:
    assert decode(register(kind, order), WIRE[order]) == value


def test_a_whole_number_below_nought_has_its_sign_and_one_above_has_none() -> None:
    assert decode(register("int32"), (0xFFFF, 0xFFFE)) == -2
    assert decode(register("uint32"), (0xFFFF, 0xFFFE)) == 0xFFFFFFFE


@given(st.sampled_from(ORDERS), st.sampled_from(["uint32", "int32"]), st.integers(0, 0x7FFFFFFF))
def test_what_is_encoded_in_32_bits_decodes_to_itself(order: WordOrder, kind: NumberKind, value: int) -> None:
    point = register(kind, order)
    assert decode(point, encode_down(point, value)) == value


@given(st.sampled_from(ORDERS), st.floats(-1e30, 1e30))
def test_a_float_set_point_is_never_above_what_was_asked_for_and_the_nearest_below(
    order: WordOrder, value: float
) -> None:
    point = register("float32", order)
    given_value = decode(point, encode_down(point, value))
    assert given_value is not None
    assert given_value <= value
    above = struct.unpack(">f", struct.pack(">f", value))[0]
    assert given_value == above or above > value


@pytest.mark.parametrize("raw", [(0x7F80, 0), (0xFF80, 0), (0x7FC0, 0)])
def test_a_float_that_is_no_number_comes_out_as_that_and_is_not_hidden(raw: tuple[int, int]) -> None:
    value = decode(register("float32"), raw)
    assert value is not None
    assert not math.isfinite(value)


def test_a_mark_for_no_value_is_the_whole_32_bits() -> None:
    assert decode(register("float32", "CDAB", no_value=(0x7FC00000,)), (0, 0x7FC0)) is None  # type: ignore[arg-type]


async def test_a_set_point_of_32_bits_leaves_in_one_request(peer: Peer, link: RtuLink) -> None:
    point = Register("set_current", "holding register", 16, "uint32", "CDAB", scale=0.001, unit="A", low=0, high=100)
    peer.answer(framed(1, 16, 0, 16, 0, 2))
    await SupplyModbus(link, supply_map(set_current=point)).set_current(70.0)
    assert peer.requests == [framed(1, 16, 0, 16, 0, 2, 4, 0x11, 0x70, 0x00, 0x01)]


async def test_a_device_that_takes_nothing_but_writes_of_many_gets_them(peer: Peer, link: RtuLink) -> None:
    switch = Register("switch", "holding register", 18, write_many=True, states={0: "off", 1: "on"})
    peer.answer(framed(1, 16, 0, 18, 0, 1))
    await SupplyModbus(link, supply_map(switch=switch)).switch_off()
    assert peer.requests == [framed(1, 16, 0, 18, 0, 1, 2, 0, 0)]


def relays(*points: Register) -> RegisterMap:
    return RegisterMap("relays", "modbus module", 1, {point.name: point for point in points}, 0.005)


async def test_a_relay_is_switched_by_the_raw_value_of_its_word(peer: Peer, link: RtuLink) -> None:
    k1 = Register("k1", "holding register", 3, states={0x55: "off", 0xAA: "on"})
    echo(peer, 2)
    module = ModuleModbus(link, relays(k1))
    await module.set_switch("k1", on=True)
    await module.set_switch("k1", on=False)
    assert peer.requests == [framed(1, 6, 0, 3, 0, 0xAA), framed(1, 6, 0, 3, 0, 0x55)]


@pytest.mark.parametrize(
    "point",
    [
        Register("k1", "discrete input", 3, states={0: "off", 1: "on"}),
        Register("k1", "coil", 3, states={0: "open", 1: "closed"}),
        Register("k1", "holding register", 3, unit="degC"),
    ],
    ids=["an input", "a contact", "a number"],
)
async def test_what_is_no_switch_is_not_written(peer: Peer, link: RtuLink, point: Register) -> None:
    with pytest.raises(ValueError, match="is no switch"):
        await ModuleModbus(link, relays(point)).set_switch("k1", on=True)
    assert peer.requests == []


async def test_a_refused_switch_is_told(peer: Peer, link: RtuLink) -> None:
    coil = Register("k1", "coil", 3, states={0: "off", 1: "on"})
    peer.answer(framed(1, 0x85, 4))
    with pytest.raises(Refused, match="code 4"):
        await ModuleModbus(link, relays(coil)).set_switch("k1", on=True)


def groups(hole: int, longest: int, *places: tuple[int, NumberKind]) -> list[list[int]]:
    points = {f"p{a}": Register(f"p{a}", "input register", a, kind) for a, kind in places}
    of = RegisterMap("m", "modbus module", 1, points, 0.005, widest_hole=hole, longest_read=longest)
    return [[point.address for point in group] for group in groups_of(of)]


def test_a_read_passes_over_a_hole_no_wider_than_the_device_allows() -> None:
    places: list[tuple[int, NumberKind]] = [(0, "uint16"), (3, "uint16"), (7, "uint16")]
    assert groups(2, 0, *places) == [[0, 3], [7]]
    assert groups(3, 0, *places) == [[0, 3, 7]]
    assert groups(0, 0, *places) == [[0], [3], [7]]


def test_a_read_asks_for_no_more_than_the_device_allows_and_cuts_no_number_in_two() -> None:
    places: list[tuple[int, NumberKind]] = [(0, "float32"), (2, "float32"), (4, "float32")]
    assert groups(0, 4, *places) == [[0, 2], [4]]
    assert groups(0, 5, *places) == [[0, 2], [4]]
    assert groups(0, 6, *places) == [[0, 2, 4]]


async def test_only_what_is_due_is_asked_for(peer: Peer, link: RtuLink) -> None:
    points = [Register(f"p{n}", "input register", n, "uint32") for n in (0, 2, 4)]
    peer.answer(framed(1, 4, 8, 0, 0, 0, 1, 0, 0, 0, 2))
    scan = await ModuleModbus(link, relays(*points)).read({"p0", "p2"})
    assert peer.requests == [framed(1, 4, 0, 0, 0, 4)]
    assert scan.values == {"p0": 1.0, "p2": 2.0}
    assert scan.raw == {"p0": (0, 1), "p2": (0, 2)}
