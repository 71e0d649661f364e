"""What would be right is told in the units the line shows, and the likely slip between units with it."""

from __future__ import annotations

import pytest

from supervisor.config.checks_trade import likely_slip
from tests.config.conftest import Edit, Written, mistakes_in

US: Edit = ('units = "metric"', 'units = "us"')


@pytest.mark.parametrize(
    ("edit", "right"),
    [
        (('trip_low = "16 degC"', 'trip_low = "-40 degC"'), "a limit from 23.0 °F to 95.0 °F"),
        (('deadband = "0.3 degC"', 'deadband = "1.5 degC"'), "0.4 °F to 0.5 °F is usual"),
        (('point = "t1"', 'point = "t1"\nrange = ["-30 degC", "100 degC"]'), "stay within -4.0 °F to 302.0 °F"),
        (('high = "0.337 um*dm^2', 'high = "0.337 um*ft^2'), "the 720 rule is 0.001389 mil·ft²/(A·min)"),
    ],
)
def test_a_line_that_shows_us_units_is_told_what_is_right_in_them(written: Written, edit: Edit, right: str) -> None:
    assert right in " ".join(mistake.right for mistake in mistakes_in(written(US, edit)))


@pytest.mark.parametrize(
    ("text", "right"),
    [
        ("1 mm", "1 mm is 39.4 mil (1000 um); did you mean 1 mil?"),
        ("20 mil", "20 mil is 20 mil (508 um); did you mean 20 um?"),
        ("0.8 in", "0.8 in is 800 mil (2.032e+04 um); did you mean 0.8 mil?"),
        ("50 um", "at most 35 um (1.38 mil)"),
    ],
)
def test_a_target_no_coat_can_reach_is_answered_with_the_likely_slip(text: str, right: str) -> None:
    assert likely_slip(text, 35.0) == right
