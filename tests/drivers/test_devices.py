"""Supply and thermometer on the wire: which bytes they send, and which numbers they make of what comes."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import cast

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.catalog import build_device, build_link
from drivers.modbus_rtu import RtuLink
from drivers.module_modbus import ModuleModbus
from drivers.ports import BadAnswer, SupplyDevice
from drivers.registers import Register
from drivers.registers_read import decode, encode_down
from drivers.supply_modbus import SupplyModbus
from tests.drivers.peer import Peer, framed, settings, supply_map, temperature_map

SET_CURRENT = supply_map().points["set_current"]
TIME_OUT = Register("time_out", "holding register", 19, scale=0.1, low=0, high=60)


def echo(peer: Peer, times: int = 1) -> None:
    for _ in range(times):
        peer.script.append(lambda request: [(0.0, request)])


async def test_one_read_of_a_group_is_one_request_and_gives_scaled_values_with_their_registers(
    peer: Peer, link: RtuLink
) -> None:
    peer.answer(framed(1, 4, 8, 0x07, 0x9E, 0x05, 0xDC, 0, 1, 0, 0))
    scan = await SupplyModbus(link, supply_map()).read({"current", "voltage", "output", "mode"})
    assert scan.values == pytest.approx({"current": 1.950, "voltage": 15.00, "output": 1.0, "mode": 0.0})
    assert scan.raw == {"current": (1950,), "voltage": (1500,), "output": (1,), "mode": (0,)}
    assert peer.requests == [framed(1, 4, 0, 0, 0, 4)]
    assert scan.t_sent_s < scan.t_received_s


async def test_what_a_supply_counts_and_tells_of_its_power_comes_with_its_meters(peer: Peer, link: RtuLink) -> None:
    """0.0001 A*h is 0.36 C; 1 s; a state."""
    counts = {
        "charge": Register("charge", "input register", 4, "uint32", scale=0.36, unit="C"),
        "uptime": Register("uptime", "input register", 6, "uint32", scale=1.0, unit="s"),
        "restarted": Register("restarted", "input register", 8, states={0: "no", 1: "yes"}),
    }
    peer.answer(framed(1, 4, 18, 0x07, 0x9E, 0x05, 0xDC, 0, 1, 0, 0, 0, 1, 0, 0, 0, 0, 0x0E, 0x10, 0, 1))
    supply = SupplyModbus(link, supply_map(**counts))
    scan = await supply.read({"current", "charge", "uptime", "restarted"})
    assert scan.values == pytest.approx({"current": 1.95, "charge": 23592.96, "uptime": 3600.0, "restarted": 1.0})
    assert peer.requests == [framed(1, 4, 0, 0, 0, 9)]


async def test_a_part_of_a_group_is_read_alone(peer: Peer, link: RtuLink) -> None:
    peer.answer(framed(1, 4, 2, 0, 1))
    scan = await SupplyModbus(link, supply_map()).read(["output"])
    assert scan.values == {"output": 1.0}
    assert peer.requests == [framed(1, 4, 0, 2, 0, 1)]


async def test_points_of_two_groups_are_refused_before_anything_is_sent(peer: Peer, link: RtuLink) -> None:
    supply = SupplyModbus(link, supply_map())
    assert set(supply.groups) == {
        frozenset({"current", "voltage", "output", "mode"}),
        frozenset({"set_current", "set_voltage", "switch"}),
    }
    for due in ({"current", "switch"}, {"unheard of"}, set[str]()):
        with pytest.raises(ValueError, match="not points of one group"):
            await supply.read(due)
    assert peer.requests == []


async def test_a_state_the_profile_does_not_know_is_a_bad_answer(peer: Peer, link: RtuLink) -> None:
    peer.answer(framed(1, 4, 2, 0, 7))
    with pytest.raises(BadAnswer, match=r"output answered 7, .*0 = off, 1 = on"):
        await SupplyModbus(link, supply_map()).read({"output"})


async def test_values_beyond_the_device_range_come_as_they_are(peer: Peer, link: RtuLink) -> None:
    peer.answer(framed(1, 4, 2, 0xFF, 0xFF))
    scan = await SupplyModbus(link, supply_map()).read({"current"})
    assert scan.values["current"] == pytest.approx(65.535)


async def test_an_open_thermocouple_has_no_value_and_its_neighbour_keeps_its_own(peer: Peer, link: RtuLink) -> None:
    peer.answer(framed(2, 4, 4, 0x7F, 0xFF, 0xFF, 0x9C))
    scan = await ModuleModbus(link, temperature_map()).read({"t1", "t2"})
    assert scan.values["t1"] is None
    assert scan.values["t2"] == pytest.approx(-10.0)
    assert scan.raw == {"t1": (0x7FFF,), "t2": (0xFF9C,)}


async def test_set_points_leave_rounded_down_to_the_step(peer: Peer, link: RtuLink) -> None:
    supply = SupplyModbus(link, supply_map())
    echo(peer, 3)
    await supply.set_current(1.95)
    await supply.set_current(1.9509)
    sent = await supply.set_voltage(21.999)
    assert peer.requests == [
        framed(1, 6, 0, 16, 0x07, 0x9E),
        framed(1, 6, 0, 16, 0x07, 0x9E),
        framed(1, 6, 0, 17, 0x08, 0x97),
    ]
    assert sent.t_sent_s <= peer.arrived_s[2] <= sent.t_received_s


@pytest.mark.parametrize("current_a", [-0.001, 10.001, math.nan, math.inf, -math.inf])
async def test_a_set_point_outside_the_range_or_not_finite_is_never_sent(
    peer: Peer, link: RtuLink, current_a: float
) -> None:
    with pytest.raises(ValueError, match="set_current"):
        await SupplyModbus(link, supply_map()).set_current(current_a)
    assert peer.requests == []


async def test_on_and_off_are_the_raw_values_that_the_profile_calls_so(peer: Peer, link: RtuLink) -> None:
    switch = Register("switch", "holding register", 18, states={0xAA: "on", 0x55: "off"})
    supply = SupplyModbus(link, supply_map(switch=switch))
    echo(peer, 2)
    await supply.switch_on()
    await supply.switch_off()
    assert peer.requests == [framed(1, 6, 0, 18, 0, 0xAA), framed(1, 6, 0, 18, 0, 0x55)]


async def test_the_time_out_is_armed_only_where_the_device_has_one(peer: Peer, link: RtuLink) -> None:
    echo(peer)
    assert await SupplyModbus(link, supply_map()).arm_time_out(2.0) is None
    assert peer.requests == []
    assert await SupplyModbus(link, supply_map(time_out=TIME_OUT)).arm_time_out(2.0) is not None
    assert peer.requests == [framed(1, 6, 0, 19, 0, 20)]


async def test_a_time_out_that_would_round_to_nought_is_refused(peer: Peer, link: RtuLink) -> None:
    with pytest.raises(ValueError, match="would switch it off"):
        await SupplyModbus(link, supply_map(time_out=TIME_OUT)).arm_time_out(0.09)
    assert peer.requests == []


@given(st.integers(0, 10_000))
def test_every_whole_step_is_met_exactly(steps: int) -> None:
    assert encode_down(SET_CURRENT, steps / 1000) == (steps,)
    assert encode_down(SET_CURRENT, min(steps * 0.001, 10.0)) == (steps,)


@given(st.floats(0, 10))
def test_a_set_point_is_never_rounded_up_and_never_down_by_more_than_a_step(current_a: float) -> None:
    set_a = encode_down(SET_CURRENT, current_a)[0] * 0.001
    assert current_a - 0.001 < set_a <= current_a + 1e-11


@pytest.mark.parametrize(("value", "register"), [(-0.05, 0xFFFF), (-0.1, 0xFFFF), (0.19, 1), (-3276.8, 0x8000)])
def test_down_is_down_below_nought_too(value: float, register: int) -> None:
    assert encode_down(Register("set", "holding register", 0, "int16", scale=0.1), value) == (register,)


@pytest.mark.parametrize("value", [3276.8, -3276.9])
def test_a_value_that_does_not_fit_its_register_is_refused(value: float) -> None:
    with pytest.raises(ValueError, match="does not fit"):
        encode_down(Register("set", "holding register", 0, "int16", scale=0.1), value)


@given(st.integers(0, 0xFFFF), st.sampled_from([0.001, 0.01, 0.1, 1.0]), st.sampled_from([0.0, -40.0, 4.0]))
def test_what_is_encoded_decodes_to_itself(register: int, scale: float, offset: float) -> None:
    for kind in ("uint16", "int16"):
        point = replace(Register("set", "holding register", 0, scale=scale, offset=offset), kind=kind)
        value = decode(point, (register,))
        assert value is not None
        assert encode_down(point, value) == (register,)


def test_the_catalog_builds_what_the_profile_names() -> None:
    link = build_link(settings("unused"), lambda: 0.0)
    supply = cast("SupplyDevice", build_device(link, supply_map()))
    assert callable(supply.switch_off)
    assert not hasattr(build_device(link, temperature_map()), "switch_on")


def test_an_unknown_driver_is_told_with_the_known_ones() -> None:
    link = build_link(settings("unused"), lambda: 0.0)
    with pytest.raises(ValueError, match="no driver `modbus suply`; known are `modbus supply`, `modbus module`"):
        build_device(link, replace(supply_map(), driver="modbus suply"))


UNUSABLE = {
    "no switch": {"switch": None},
    "a switch without an off": {"switch": Register("switch", "holding register", 18, states={1: "on"})},
    "a switch that cannot be written": {"switch": Register("switch", "input register", 18, states={0: "off", 1: "on"})},
    "no set point": {"set_current": None},
    "a set point that cannot be written": {"set_voltage": Register("set_voltage", "input register", 3)},
    "a set point that counts backwards": {"set_current": Register("set_current", "holding register", 16, scale=-0.001)},
}


@pytest.mark.parametrize("changes", UNUSABLE.values(), ids=UNUSABLE.keys())
def test_a_map_by_which_a_supply_could_not_be_driven_is_refused_at_once(changes: dict[str, Register | None]) -> None:
    points = {**supply_map().points, **changes}
    usable = replace(supply_map(), points={name: point for name, point in points.items() if point is not None})
    with pytest.raises(ValueError, match=next(iter(changes))):
        build_device(build_link(settings("unused"), lambda: 0.0), usable)
