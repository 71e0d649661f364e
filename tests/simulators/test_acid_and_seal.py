"""The line with an acid tank and a hot seal: its registers as its file tells them, and what its tanks do."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from simulators.plan import read_plan
from tests.simulators.served import Served

LINE = Path(__file__).parents[2] / "simulators" / "lines" / "acid-and-seal.toml"
COILS = (
    "main-contactor", "horn", "lamp-red", "lamp-yellow", "lamp-green", "lamp-blue", "lamp-white", "cooling",
    "seal-heater", "fan", "agitation",
)  # fmt: skip
INPUTS = (
    "main-contactor-shut", "acid-level", "seal-level", "acid-lid", "seal-lid", "air-flow", "air-pressure",
    "emergency-stop", "guard", "silence-button", "acknowledge-button", "test-button",
)  # fmt: skip


@pytest.fixture
def served() -> Iterator[Served]:
    opened = Served(read_plan(LINE))
    yield opened
    opened.close()


def relay(served: Served, name: str, *, on: bool) -> None:
    body = f"01 05 {COILS.index(name):04X} {'FF00' if on else '0000'}"
    assert served.ask(body, "network").startswith("01 05")


def inputs(served: Served) -> set[str]:
    """The inputs that are closed, of all sixteen."""
    low, high = served.ask("01 02 00 00 00 10", "network").split()[-2:]
    bits = int(high + low, 16)
    return {name for place, name in enumerate((*INPUTS, *"wxyz")) if bits >> place & 1}


def load(served: Served) -> None:
    """Let 9 A, 1.5 A/dm2, flow."""
    for name in ("fan", "agitation", "main-contactor"):
        relay(served, name, on=True)
    served.ask("01 10 00 10 00 02 04 23 28 09 60")
    served.ask("01 06 00 12 00 01")


def test_each_coil_drives_what_the_file_says(served: Served) -> None:
    for name in COILS:
        relay(served, name, on=True)
        assert [each for each, switch in served.line.switches.items() if switch.is_on] == [name]
        relay(served, name, on=False)
    assert served.ask("01 01 00 00 00 10", "network") == "01 01 02 00 00"


def test_each_input_shows_what_the_file_says(served: Served) -> None:
    followers = {"main-contactor": "main-contactor-shut", "fan": "air-flow", "agitation": "air-pressure"}
    for name in followers:
        relay(served, name, on=True)
    buttons = {name for name in INPUTS if name.endswith("button")}
    healthy = set(INPUTS) - buttons
    assert inputs(served) == healthy
    for switch, contact in followers.items():
        relay(served, switch, on=False)
        assert inputs(served) == healthy - {contact}
        relay(served, switch, on=True)
    for contact in sorted(healthy):
        served.fault("contact opens", contact=contact)
        assert inputs(served) == healthy - {contact}
        served.server.order({"clear": "contact opens"})
    for button in sorted(buttons):
        served.fault("button pressed", contact=button)
        assert inputs(served) == healthy | {button}
        served.server.order({"clear": "button pressed"})


def test_the_supply_shows_meter_counter_and_clock(served: Served) -> None:
    load(served)
    served.rest(1800.0)
    assert served.value(0) == pytest.approx(9007, abs=1)
    assert 1300 <= served.value(1) <= 1900
    assert (served.value(2), served.value(3), served.value(6, 2)) == (1, 0, 1800)
    assert served.value(4, 2) == pytest.approx(45000 * 1.004, abs=10)
    assert served.ask("01 06 00 13 00 32") == "01 06 00 13 00 32"


def test_the_thermometer_shows_acid_and_seal_and_two_empty_sockets(served: Served) -> None:
    served.rest(1.0)
    assert served.value(0, unit=2) == pytest.approx(205, abs=3)
    assert served.value(1, unit=2) == pytest.approx(600, abs=4)
    assert (served.value(2, unit=2), served.value(3, unit=2)) == (0x7FFF, 0x7FFF)


def test_the_load_warms_its_40_l_slowly_and_the_cooling_is_stronger(served: Served) -> None:
    load(served)
    acid = served.line.baths["acid"]
    served.line.advance(3600.0)
    warmed_c = acid.bath_c - 20.5
    # Behind it: rise about 15.5 degC/h per A/L at 16 V, derived from the heat capacity of the acid.
    assert warmed_c == pytest.approx(15.5 * 9.0 / 40.0, rel=0.15)
    relay(served, "cooling", on=True)
    served.line.advance(7200.0)
    assert acid.bath_c < 20.5


def test_the_seal_reaches_96_degc_within_the_hour_and_could_boil(served: Served) -> None:
    relay(served, "seal-heater", on=True)
    seal = served.line.baths["seal"]
    minutes = 0
    while seal.bath_c < 96.0:
        minutes += 1
        served.line.advance(60.0 * minutes)
    assert 20 <= minutes <= 60
    served.line.advance(7200.0)
    assert seal.bath_c == 100.0
