"""The rules held here are those of DEVELOPERS.md, and each check among them can fail."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.exploration import rules
from tests.exploration.rules import SENTENCES, BrokenRuleError, NoDate

DEVELOPERS = Path(__file__).parents[2] / "DEVELOPERS.md"


def test_the_sentences_are_those_of_the_developers() -> None:
    rows = re.findall(r"^\| (R\d+) \| (.+?) \|", DEVELOPERS.read_text(encoding="utf-8"), re.MULTILINE)
    assert dict(rows) == SENTENCES


def test_every_rule_has_checks() -> None:
    checked = {number for number, _ in (*rules.OF_THE_LINE, *rules.OF_A_SUPPLY)}
    assert checked | {"R10"} == set(SENTENCES)


def test_a_date_can_be_kept_and_compared_for_being_the_same_but_not_counted_by() -> None:
    today = NoDate(1.79e9)
    assert today == NoDate(1.79e9)
    counts: tuple[Callable[[], object], ...] = (
        lambda: today < 2e9,
        lambda: today - 1.0,
        lambda: 1.0 - today,
        lambda: max(today, 0.0),
        lambda: today // 60,
    )
    for count in counts:
        with pytest.raises(BrokenRuleError) as broken:
            count()
        assert broken.value.numbers == {"R10"}
