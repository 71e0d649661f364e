from __future__ import annotations

from drivers.ports import NoAnswer
from supervisor.service.safe import SafeSupply, make_safe
from tests.service.fakes import FakeSupply


def safe(driver: FakeSupply, name: str = "main") -> SafeSupply:
    return SafeSupply(name, driver, driver, 0.05, "bus")


async def test_off_is_sent_first_and_proven_by_two_readings() -> None:
    driver = FakeSupply()
    (fate,) = await make_safe([safe(driver)], [], 1.0)
    assert driver.calls == ["off", "read", "read"]
    assert fate.proven


async def test_every_supply_gets_its_first_off_before_any_is_proven() -> None:
    order: list[str] = []
    first, second = FakeSupply(calls=order), FakeSupply(calls=order)
    await make_safe([safe(first), safe(second, "side")], [], 1.0)
    assert order[:2] == ["off", "off"]


async def test_a_current_that_flows_on_is_no_proof_and_off_is_sent_again() -> None:
    driver = FakeSupply(deaf=True)
    (fate,) = await make_safe([safe(driver)], [], 0.12)
    assert not fate.proven
    assert driver.calls.count("off") >= 2
    assert "1 A" in fate.problem


async def test_an_off_that_was_not_confirmed_is_no_proof_even_if_no_current_flows() -> None:
    driver = FakeSupply(on=False, fails={"off": NoAnswer("nothing came back")})
    (fate,) = await make_safe([safe(driver)], [], 0.0)
    assert not fate.proven
    assert fate.problem == "nothing came back"


async def test_a_reading_without_a_value_is_no_proof() -> None:
    driver = FakeSupply(shows={"current": None})
    (fate,) = await make_safe([safe(driver)], [], 0.0)
    assert not fate.proven


async def test_a_reading_that_is_no_number_is_no_proof() -> None:
    driver = FakeSupply(shows={"current": float("nan")})
    (fate,) = await make_safe([safe(driver)], [], 0.0)
    assert not fate.proven


async def test_a_current_the_wrong_way_is_no_proof() -> None:
    driver = FakeSupply(shows={"current": -1.0})
    (fate,) = await make_safe([safe(driver)], [], 0.0)
    assert not fate.proven


async def test_one_silent_supply_does_not_keep_another_from_its_proof() -> None:
    silent = FakeSupply(fails={"off": NoAnswer("nothing came back")})
    well = FakeSupply()
    fates = await make_safe([safe(silent), safe(well, "side")], [], 0.0)
    assert [fate.proven for fate in fates] == [False, True]


async def test_a_driver_that_fails_as_nobody_foresaw_does_not_keep_another_supply_from_its_off() -> None:
    broken = FakeSupply(fails={"off": AssertionError("planted")})
    misread = FakeSupply(fails={"read": KeyError("current")})
    well = FakeSupply()
    fates = await make_safe([safe(broken), safe(misread, "side"), safe(well, "third")], [], 0.0)
    assert [fate.proven for fate in fates] == [False, False, True]
    assert not well.on
    assert fates[0].problem == "AssertionError: planted"
