"""What a line file says of the alloy, of the spread across the rack and of restarts; and what it may not."""

from __future__ import annotations

import pytest

from supervisor.config.load import load_line
from supervisor.config.mistakes import LineMistakes, Mistake
from supervisor.config.setup import line_setup
from supervisor.core.setup import AnodizeSetup
from tests.config.conftest import Written

RAMP = 'ramp = "60 s"'


def anodize(written: Written, *lines: str) -> AnodizeSetup:
    return line_setup(load_line(written((RAMP, "\n".join((RAMP, *lines)))))).anodize


def mistakes(written: Written, *lines: str) -> tuple[Mistake, ...]:
    with pytest.raises(LineMistakes) as caught:
        load_line(written((RAMP, "\n".join((RAMP, *lines)))))
    return caught.value.mistakes


def test_what_is_said_comes_into_the_setup(written: Written) -> None:
    made = anodize(
        written,
        'alloy = "6061"',
        'rack_spread = "10 %"',
        'target_means = "least local"',
        'restart_plain = "1 min"',
        'restart_within = "5 min"',
    )
    assert (made.alloy, made.rack_spread, made.target_means) == ("6061", 0.1, "least local")
    assert (made.restart_plain_s, made.restart_within_s) == (60.0, 300.0)


def test_what_is_not_said(written: Written) -> None:
    made = anodize(written)
    assert (made.alloy, made.rack_spread, made.target_means) == ("", 0.15, "mean")
    assert (made.restart_plain_s, made.restart_within_s) == (120.0, 600.0)


@pytest.mark.parametrize(
    ("lines", "where", "says"),
    [
        (('alloy = "6062"',), "anodize.alloy", "6061"),
        (('alloy = "cast 413"',), "anodize.density", "burn"),
        (('alloy = "6061"', 'target = "31 um"'), "anodize.target", "chalks"),
        (('rack_spread = "60 %"',), "anodize.rack_spread", "50"),
        (('target_means = "thickest"',), "anodize.target_means", "least local"),
        (('restart_plain = "11 min"',), "anodize.restart_plain", "restart_within"),
    ],
)
def test_what_makes_no_sense_is_told(written: Written, lines: tuple[str, ...], where: str, says: str) -> None:
    (mistake,) = mistakes(written, *lines)
    assert mistake.key_path == where
    assert says in str(mistake)
