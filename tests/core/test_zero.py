"""The zero of a current meter is read before each operation, with the output proven off."""

from __future__ import annotations

import pytest

from supervisor.core.actions import Note
from supervisor.core.anodize import State
from supervisor.core.events import Quality
from tests.core.kit import Bench


def idle() -> Bench:
    bench = Bench()
    bench.start_service()
    return bench


@pytest.mark.parametrize("shown_a", [0.006, -0.006])
def test_a_meter_that_is_not_at_zero_refuses_a_start_and_says_what_to_do(shown_a: float) -> None:
    bench = idle()
    bench.current(shown_a)
    (reason,) = bench.start().reasons
    assert reason.startswith("meter at zero: ")
    assert "0.006 A" in reason
    assert "0.005 A" in reason
    assert "calibrate" in reason


def test_it_refuses_a_restart_too() -> None:
    bench = Bench().running(target_um=20.0)
    bench.ask("hold")
    bench.run(2.0)
    assert bench.stands() is State.HELD
    bench.current(0.006)
    assert any(reason.startswith("meter at zero: ") for reason in bench.ask("restart").reasons)


@pytest.mark.parametrize("shown_a", [0.005, -0.005, 0.0])
def test_a_zero_within_the_meters_own_error_is_put_into_the_record(shown_a: float) -> None:
    bench = idle()
    bench.current(shown_a)
    assert bench.start().ok
    (note,) = [note for note in bench.named(Note) if "zero_a" in note.data]
    assert float(note.data["zero_a"]) == shown_a


def test_a_reading_that_is_not_good_shows_no_zero() -> None:
    bench = idle()
    bench.current(0.006, quality=Quality.MALFORMED)
    (reason,) = bench.start().reasons
    assert not reason.startswith("meter at zero: ")
