"""A small sample of the campaign over simulated loads, in every run of the fast suite."""

from __future__ import annotations

import pytest

from tests.campaigns.electrical import CONTACT, KINDS, WHOLE, broken, clean, half_or_more


@pytest.mark.parametrize("seed", range(1, 11))
def test_of_a_sound_load_nothing_is_said(seed: int) -> None:
    assert clean(seed).cause == ""


@pytest.mark.parametrize("seed", range(1, 21))
def test_half_the_area_lost_is_told_within_10_s(seed: int) -> None:
    told = broken(seed, half_or_more)
    assert told.cause in CONTACT | {WHOLE}
    assert told.at_s <= 10.0


@pytest.mark.parametrize("what", KINDS)
def test_what_else_goes_wrong_is_named(what: str) -> None:
    making, names = KINDS[what]
    assert {broken(seed, making).cause for seed in range(1, 5)} <= names
