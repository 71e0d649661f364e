"""Points of an instrument and due dates as people write them: in SI, or refused with every reason."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from supervisor.core.events import Instant, Request
from supervisor.edges.control import Refusal
from supervisor.edges.requests import new_body, read_request
from supervisor.trade.calibration import Point

AT = Instant(100.0, 50.0, datetime(2026, 11, 26, 15, tzinfo=UTC).timestamp())


def read(**asked: Any) -> Request:
    return read_request("calibrate", new_body(49.5, channel="acid-temperature", **asked), at=AT, who="kim")


def reasons(**asked: Any) -> tuple[str, ...]:
    with pytest.raises(Refusal) as refusal:
        read(**asked)
    return refusal.value.reasons


def test_points_come_in_si_from_either_unit_system() -> None:
    metric, us, meter = read(points=["0.4 degC = 0 degC", "211.1 degF +- 0.18 degF = 211.2 °F", "9.9 A=10 A"]).points
    assert metric == Point(0.4, 0.0, 0.0, "degC")
    assert us.shown == pytest.approx(99.5)
    assert us.true == pytest.approx(99.5555556)
    assert us.spread == pytest.approx(0.1)
    assert meter == Point(9.9, 10.0, 0.0, "A")


@pytest.mark.parametrize(
    ("point", "says"),
    [
        ("0.4 degC", "is no point"),
        ("0.4 = 0", "is no temperature, current or voltage with its unit"),
        ("0.4 A = 0 degC", "is not a unit of temperature"),
        ("0.4 degC = 0 degC = 1 degC", "is no point"),
        ("1 um = 2 um", "is no temperature, current or voltage"),
    ],
)
def test_what_is_no_point_is_told(point: str, says: str) -> None:
    (reason,) = reasons(points=[point])
    assert reason.startswith("points:")
    assert says in reason


def test_what_is_no_list_of_texts_is_told() -> None:
    assert reasons(points="0.4 degC = 0 degC")[0].startswith("points: these must be")
    assert reasons(points=[{}])[0].startswith("points: these must be")


def test_a_due_date_is_its_first_moment_and_a_year_ahead_where_none_is_named() -> None:
    named = read(due="2027-01-31")
    assert (named.due, named.due_wall_s) == ("2027-01-31", datetime(2027, 1, 31, tzinfo=UTC).timestamp())
    assert read().due == "2027-11-26"


@pytest.mark.parametrize("due", ["31.1.2027", "2027-13-01", 5, ["2027-01-31"]])
def test_what_is_no_date_is_told(due: object) -> None:
    assert "is no date" in reasons(due=due)[0]
