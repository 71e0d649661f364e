from __future__ import annotations

from collections.abc import Collection

from drivers.ports import NoAnswer, Scan, Sent
from supervisor.service.safe import SafeOutput, SafeSupply, make_safe
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


class Relay:
    """A board with relays in memory."""

    name = "relays"
    streams = False
    keep_every_s: float | None = None
    groups: tuple[frozenset[str], ...] = (frozenset({"k1"}),)

    def __init__(self, *, deaf: bool = False) -> None:
        self.told: list[tuple[str, bool]] = []
        self.deaf = deaf

    async def read(self, due: Collection[str]) -> Scan:
        raise NoAnswer("nothing is read here")

    async def set_switch(self, point: str, *, on: bool) -> Sent:
        self.told.append((point, on))
        if self.deaf:
            raise NoAnswer("nothing came back")
        return Sent(0.0, 0.0)

    async def keep(self) -> Sent:
        raise ValueError("it keeps by itself")


def relay(board: Relay, *, safe_on: bool = False, vital: bool = True) -> SafeOutput:
    return SafeOutput("contactor" if vital else "fan", board, "k1", safe_on, "network", vital)


async def test_every_output_is_sent_its_own_safe_state_after_the_supplies_offs() -> None:
    driver, board = FakeSupply(), Relay()
    fates = await make_safe([safe(driver)], [relay(board), relay(board, safe_on=True, vital=False)], 0.0)
    assert board.told == [("k1", False), ("k1", True)]
    assert [(fate.name, fate.supply, fate.proven, fate.vital) for fate in fates] == [
        ("main", True, True, True), ("contactor", False, True, True), ("fan", False, True, False),
    ]  # fmt: skip


async def test_an_output_that_does_not_answer_is_told_again_and_holds_up_no_supply() -> None:
    driver, board = FakeSupply(), Relay(deaf=True)
    fates = await make_safe([safe(driver)], [relay(board)], 0.12)
    assert fates[0].proven
    assert len(board.told) > 1
    assert (fates[1].proven, fates[1].problem) == (False, "nothing came back")


def by_hand(meter: FakeSupply, contactor: SafeOutput | None) -> SafeSupply:
    return SafeSupply("main", None, meter, 0.05, "bus", contactor)


async def test_a_supply_with_knobs_is_proven_off_by_its_open_contactor_and_low_readings() -> None:
    meter, board = FakeSupply(on=False), Relay()
    contactor = relay(board)
    fates = await make_safe([by_hand(meter, contactor)], [contactor], 0.0)
    assert [fate.proven for fate in fates] == [True, True]
    assert "off" not in meter.calls


async def test_low_readings_prove_nothing_while_the_contactor_does_not_open() -> None:
    contactor = relay(Relay(deaf=True))
    fates = await make_safe([by_hand(FakeSupply(on=False), contactor)], [contactor], 0.0)
    assert not fates[0].proven
    assert "its contactor contactor did not open" in fates[0].problem


async def test_a_supply_that_nothing_can_switch_is_only_looked_at() -> None:
    running, still = FakeSupply(on=True), FakeSupply(on=False)
    (flows,) = await make_safe([by_hand(running, None)], [], 0.0)
    (rests,) = await make_safe([by_hand(still, None)], [], 0.0)
    assert (flows.proven, rests.proven) == (False, True)
    assert running.calls == ["read"]
