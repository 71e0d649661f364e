"""Faults planted in the core are found, each by the rule that it breaks and by no other."""

from __future__ import annotations

import pytest

from tests.exploration.planted import PLANTED, Fault
from tests.exploration.rules import SENTENCES


@pytest.mark.parametrize("fault", PLANTED, ids=lambda fault: f"{fault.rule} {fault.what}")
def test_a_planted_fault_is_found_and_called_by_its_rule(fault: Fault) -> None:
    assert fault.found() == {fault.rule}


def test_every_rule_has_faults_planted_against_it() -> None:
    rules = [fault.rule for fault in PLANTED]
    assert all(rules.count(rule) >= 2 for rule in SENTENCES)
