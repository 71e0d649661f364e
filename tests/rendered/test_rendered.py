"""What the documents show of the program's tables is what these say."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from enum import StrEnum

import pytest

from supervisor.core import alarms, anodize
from supervisor.core.contacts import causes_of
from supervisor.core.interlocks import CAUSES
from supervisor.core.setup import ContactRole, ContactSetup, Proof
from supervisor.core.tank_setup import TankRole
from tests.core.plain import line_setup
from tests.rendered.__main__ import ROOT
from tests.rendered.diagrams import diagrams_text, with_diagrams
from tests.rendered.interlocks import HEAD, interlocks_text

AGAIN = "write it anew: python -m tests.rendered"


def test_the_committed_table_of_causes_is_the_programs() -> None:
    assert (ROOT / "docs" / "interlocks.md").read_text(encoding="utf-8") == interlocks_text(), AGAIN


def test_the_committed_diagrams_are_the_tables() -> None:
    developers = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert developers == with_diagrams(developers), AGAIN


def test_every_cause_is_told_in_full() -> None:
    text = interlocks_text()
    for cause, row in CAUSES.items():
        entry = text.partition(f"### {cause}\n")[2].partition("\n### ")[0]
        for words in row.told("SUBJECT", second_means=True):
            assert words in entry
        assert row.time in entry
        assert f"[{cause}](#{cause}) | {row.about} | {row.when} | {row.effect.name.lower()} |" in text


@pytest.mark.parametrize("table", [anodize.TABLE, alarms.TABLE], ids=["operation", "alarm"])
def test_every_transition_is_an_arrow_and_every_arrow_a_transition(
    table: Mapping[StrEnum, Mapping[StrEnum, StrEnum | None]],
) -> None:
    (diagram,) = (block for block in diagrams_text().split("```mermaid") if f'"{next(iter(table))}" as' in block)
    names = {short: name for name, short in re.findall(r'state "(.+)" as (\w+)', diagram)}
    assert len(names) == len(table)
    shown = {
        (names[state], trigger, names[after])
        for state, after, told in re.findall(r"^    (\w+) --> (\w+): (.+)$", diagram, re.MULTILINE)
        for trigger in told.split(" or ")
    }
    assert shown == {
        (str(state), str(trigger), str(after))
        for state, row in table.items()
        for trigger, after in row.items()
        if after is not None and after is not state
    }


def test_a_document_without_markers_is_not_written_over() -> None:
    with pytest.raises(ValueError, match="begin"):
        with_diagrams("# Notes\n")


@pytest.mark.parametrize(
    ("row", "role", "tank_role", "proves"),
    [
        ("lid of an acid tank", "lid", "anodize", ""),
        ("lid of any other tank", "lid", "seal", ""),
        ("air flow", "air flow", "anodize", "ventilation"),
        ("air pressure", "air pressure", "anodize", "agitation"),
        ("level", "level", "anodize", ""),
        ("guard", "guard", "anodize", ""),
        ("emergency stop", "emergency stop", "anodize", ""),
    ],
)
def test_what_is_said_of_contacts_is_what_the_core_makes_of_them(
    row: str, role: ContactRole, tank_role: TankRole, proves: Proof
) -> None:
    plain = line_setup()
    (name,) = plain.tanks
    setup = replace(plain, tanks={name: replace(plain.tanks[name], role=tank_role)})
    causes = causes_of(setup, ContactSetup("c", role, "c", name, proves))
    (told,) = (line for line in HEAD.splitlines() if line.startswith(f"| {row}"))
    assert set(re.findall(r"`([a-z-]+)`", told.rpartition("|")[0].rpartition("|")[2])) == set(causes)
