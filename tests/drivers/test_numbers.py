"""Numbers of 16 and 32 bits in every order of their bytes, read and written; what is near is read in one request."""

from __future__ import annotations

import math
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.modbus_rtu import RtuLink
from drivers.module_modbus import ModuleModbus
from drivers.ports import BadAnswer, Refused
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


@given(st.floats(0, 100), st.sampled_from([0.001, 0.1, 1.0, 3.0]), st.sampled_from([0.0, -40.0, 4.0]))
def test_a_scaled_float_set_point_is_below_what_was_asked_for_by_a_floats_step_at_most(
    value: float, scale: float, offset: float
) -> None:
    """A float32 has 24 bits (IEEE 754): its step is at most 2^-23 of it. A double's noise is forgiven."""
    point = register("float32", scale=scale, offset=offset)
    given_value = decode(point, encode_down(point, value))
    assert given_value is not None
    noise, step = 1e-12 * (abs(value) + abs(offset)), 2**-23 * (abs(value) + abs(offset)) + scale * 2**-149
    assert value - step - noise <= given_value <= value + noise


@pytest.mark.parametrize("kind", ["uint16", "int16", "uint32", "int32", "float32"])
@pytest.mark.parametrize("value", [1e30, -1e30])
def test_a_set_point_that_no_register_holds_is_refused(kind: NumberKind, value: float) -> None:
    with pytest.raises(ValueError, match="does not fit its register"):
        encode_down(register(kind, scale=1e-9), value)
    with pytest.raises(ValueError, match="does not fit its register"):
        encode_down(register(kind, scale=1e-300), value)


def test_the_greatest_number_of_each_kind_is_met_and_the_next_refused() -> None:
    most: dict[NumberKind, tuple[int, tuple[int, ...]]] = {
        "uint16": (0xFFFF, (0xFFFF,)),
        "int16": (0x7FFF, (0x7FFF,)),
        "uint32": (0xFFFFFFFF, (0xFFFF, 0xFFFF)),
        "int32": (0x7FFFFFFF, (0x7FFF, 0xFFFF)),
        "float32": (0xFFFFFF << 104, (0x7F7F, 0xFFFF)),
    }
    for kind, (number, registers) in most.items():
        assert encode_down(register(kind), number) == registers
        with pytest.raises(ValueError, match="does not fit"):
            encode_down(register(kind), number * (1 + 2**-52) + 1)


@pytest.mark.parametrize("raw", [(0x7F80, 0), (0xFF80, 0), (0x7FC0, 0)])
def test_a_float_that_is_no_number_comes_out_as_that_and_is_not_hidden(raw: tuple[int, int]) -> None:
    value = decode(register("float32"), raw)
    assert value is not None
    assert not math.isfinite(value)


def test_a_mark_for_no_value_is_the_whole_32_bits() -> None:
    assert decode(register("float32", "CDAB", no_value=(0x7FC00000,)), (0, 0x7FC0)) is None  # type: ignore[arg-type]


SET_70 = {
    # 70000 counts of 1 mA are 0x00011170; 70.0 as float32 is 0x428C0000 (IEEE 754, computed by hand)
    ("uint32", "ABCD"): (0x00, 0x01, 0x11, 0x70),
    ("uint32", "CDAB"): (0x11, 0x70, 0x00, 0x01),
    ("int32", "BADC"): (0x01, 0x00, 0x70, 0x11),
    ("int32", "DCBA"): (0x70, 0x11, 0x01, 0x00),
    ("float32", "ABCD"): (0x42, 0x8C, 0x00, 0x00),
    ("float32", "CDAB"): (0x00, 0x00, 0x42, 0x8C),
    ("float32", "BADC"): (0x8C, 0x42, 0x00, 0x00),
    ("float32", "DCBA"): (0x00, 0x00, 0x8C, 0x42),
}


@pytest.mark.parametrize(("kind", "order"), SET_70)
async def test_a_set_point_of_32_bits_leaves_in_one_request_in_the_devices_order(
    peer: Peer, link: RtuLink, kind: NumberKind, order: WordOrder
) -> None:
    scale = 1.0 if kind == "float32" else 0.001
    point = Register("set_current", "holding register", 16, kind, order, scale=scale, unit="A", low=0, high=100)
    peer.answer(framed(1, 16, 0, 16, 0, 2))
    await SupplyModbus(link, supply_map(set_current=point)).set_current(70.0)
    assert peer.requests == [framed(1, 16, 0, 16, 0, 2, 4, *SET_70[kind, order])]


async def test_a_set_point_of_32_bits_outside_its_range_is_never_sent(peer: Peer, link: RtuLink) -> None:
    point = Register("set_current", "holding register", 16, "float32", unit="A", low=0, high=100)
    for current_a in (100.1, -0.1, math.nan, math.inf):
        with pytest.raises(ValueError, match="set_current"):
            await SupplyModbus(link, supply_map(set_current=point)).set_current(current_a)
    assert peer.requests == []


@pytest.mark.parametrize("confirmed", [(0, 16, 0, 1), (0, 17, 0, 2), (0x11, 0x70, 0x00, 0x01)])
async def test_a_set_point_of_32_bits_is_confirmed_by_address_and_count_alone(
    peer: Peer, link: RtuLink, confirmed: tuple[int, ...]
) -> None:
    point = Register("set_current", "holding register", 16, "uint32", unit="A", low=0, high=100)
    peer.answer(framed(1, 16, *confirmed))
    with pytest.raises(BadAnswer, match="another address, value or count"):
        await SupplyModbus(link, supply_map(set_current=point)).set_current(70.0)


async def test_a_switch_of_32_bits_leaves_whole(peer: Peer, link: RtuLink) -> None:
    switch = Register("switch", "holding register", 18, "uint32", "CDAB", states={0: "off", 0x10002: "on"})
    supply, module = SupplyModbus(link, supply_map(switch=switch)), ModuleModbus(link, relays(switch))
    peer.answer(*[framed(1, 16, 0, 18, 0, 2)] * 3)
    await supply.switch_on()
    await supply.switch_off()
    await module.set_switch("switch", on=True)
    on, off = framed(1, 16, 0, 18, 0, 2, 4, 0, 2, 0, 1), framed(1, 16, 0, 18, 0, 2, 4, 0, 0, 0, 0)
    assert peer.requests == [on, off, on]


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


async def test_a_coil_is_switched_the_way_its_states_say(peer: Peer, link: RtuLink) -> None:
    """A relay that opens what it switches has its words the other way round."""
    echo(peer, 2)
    module = ModuleModbus(link, relays(Register("k1", "coil", 3, states={1: "off", 0: "on"})))
    await module.set_switch("k1", on=True)
    await module.set_switch("k1", on=False)
    assert peer.requests == [framed(1, 5, 0, 3, 0, 0), framed(1, 5, 0, 3, 0xFF, 0)]


@pytest.mark.parametrize(
    "point",
    [
        Register("k1", "coil", 3, states={2: "off", 1: "on"}),
        Register("k1", "discrete input", 3, states={0: "open", 0xFF00: "closed"}),
        Register("k1", "holding register", 3, states={0: "off", 0x10000: "on"}),
    ],
    ids=["an off of 2 at a coil", "a bit of 65280", "more than a register"],
)
def test_a_state_that_does_not_fit_where_it_lies_is_refused_at_once(link: RtuLink, point: Register) -> None:
    """A coil written as the truth of 2 would be on."""
    with pytest.raises(ValueError, match="`k1` has the state"):
        ModuleModbus(link, relays(point))


@pytest.mark.parametrize("confirmed", [(0, 3, 0, 0), (0, 4, 0xFF, 0), (0, 3, 0, 1)])
async def test_a_switch_is_confirmed_by_its_own_echo_alone(
    peer: Peer, link: RtuLink, confirmed: tuple[int, ...]
) -> None:
    coil = Register("k1", "coil", 3, states={0: "off", 1: "on"})
    peer.answer(framed(1, 5, *confirmed))
    with pytest.raises(BadAnswer, match="another address, value or count"):
        await ModuleModbus(link, relays(coil)).set_switch("k1", on=True)


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


async def test_24_scattered_registers_in_3_clusters_are_read_in_3_requests(peer: Peer, link: RtuLink) -> None:
    addresses = [first + 3 * n for first in (100, 200, 300) for n in range(8)]
    points = {f"p{a}": Register(f"p{a}", "holding register", a) for a in addresses}
    module = ModuleModbus(link, RegisterMap("m", "modbus module", 1, points, 0.005, widest_hole=2, longest_read=22))
    found: dict[str, float | None] = {}
    for first, group in zip((100, 200, 300), module.groups, strict=True):
        held = b"".join((first + n).to_bytes(2) for n in range(22))
        peer.answer(framed(1, 3, len(held), *held))
        found |= (await module.read(group)).values
    assert found == {name: float(point.address) for name, point in points.items()}
    assert peer.requests == [framed(1, 3, *first.to_bytes(2), 0, 22) for first in (100, 200, 300)]
