"""Contacts that are closed when all is well, and buttons that are closed while pressed."""

from __future__ import annotations

from pathlib import Path

import pytest

from simulators.faults import read_faults
from simulators.line import SimulatedLine, names_of
from simulators.tables import FileError, Reader
from tests.simulators.lines import made

CONTACTS = """
[contacts]
guard = { kind = "guard" }
lid = { kind = "lid" }
level = { kind = "level" }
stop = { kind = "emergency stop" }
silence = { kind = "button" }
test = { kind = "button" }
"""
FULL = """
[contacts.level]
kind = "level"
tank = "nowhere"
"""


class Inputs:
    """A line with nothing but contacts."""

    def __init__(self, folder: Path) -> None:
        self.plan = made(folder, CONTACTS)
        self.line = SimulatedLine(self.plan, seed=1)

    def fault(self, what: str, contact: str, **keys: object) -> None:
        table = Reader({"what": what, "contact": contact, **keys}, "")
        for fault in read_faults(table, names_of(self.plan), self.line.now_s):
            self.line.add_fault(fault)

    def closed(self) -> set[str]:
        return {name for name, contact in self.line.contacts.items() if contact.is_closed}


@pytest.fixture
def inputs(tmp_path: Path) -> Inputs:
    return Inputs(tmp_path)


def test_healthy_contacts_are_closed_and_buttons_are_open(inputs: Inputs) -> None:
    assert inputs.closed() == {"guard", "lid", "level", "stop"}


@pytest.mark.parametrize("name", ["guard", "lid", "level", "stop"])
def test_each_contact_opens_by_itself_and_closes_again(inputs: Inputs, name: str) -> None:
    inputs.fault("contact opens", name, for_s=5.0)
    assert inputs.closed() == {"guard", "lid", "level", "stop"} - {name}
    inputs.line.advance(5.0)
    assert inputs.closed() == {"guard", "lid", "level", "stop"}


def test_a_button_is_closed_for_as_long_as_it_is_pressed(inputs: Inputs) -> None:
    inputs.fault("button pressed", "silence", for_s=0.3)
    seen = []
    for at_s in (0.0, 0.29, 0.31):
        inputs.line.advance(at_s)
        seen.append("silence" in inputs.closed())
    assert seen == [True, True, False]
    assert "test" not in inputs.closed()


def test_a_button_with_a_broken_wire_is_never_pressed(inputs: Inputs) -> None:
    inputs.fault("contact opens", "silence")
    inputs.fault("button pressed", "silence")
    assert "silence" not in inputs.closed()


def test_a_bouncing_button_closes_and_opens_every_few_ms_until_it_is_over(inputs: Inputs) -> None:
    inputs.fault("button bounces", "silence", for_s=0.06, every_ms=5.0)
    seen = []
    for step in range(16):
        inputs.line.advance(0.0025 + step * 0.005)
        seen.append("silence" in inputs.closed())
    assert seen == [True, False] * 6 + [False] * 4


def test_a_press_that_bounces_at_first_stays_closed_afterwards(inputs: Inputs) -> None:
    inputs.fault("button pressed", "silence", for_s=0.5)
    inputs.fault("button bounces", "silence", for_s=0.02, every_ms=5.0)
    inputs.line.advance(0.0075)
    assert "silence" not in inputs.closed()
    inputs.line.advance(0.03)
    assert "silence" in inputs.closed()


@pytest.mark.parametrize("what", ["button pressed", "button bounces"])
def test_nobody_presses_what_is_no_button(inputs: Inputs, what: str) -> None:
    with pytest.raises(FileError, match="contact"):
        inputs.fault(what, "lid")


def test_a_level_of_no_tank_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FileError, match=r"contacts\.level\.tank"):
        made(tmp_path, FULL)
