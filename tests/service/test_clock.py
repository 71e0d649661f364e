from __future__ import annotations

import pytest

from supervisor.core.events import Wake
from supervisor.service.clock import Clock, boot_clock_s, boot_id


def test_only_process_time_is_scaled() -> None:
    at = Clock(now=lambda: 10.0, wall=lambda: 5.0, speed=60.0).instant()
    assert (at.process_s, at.wire_s, at.wall_s) == (600.0, 10.0, 5.0)


@pytest.mark.parametrize(
    ("wake", "until_s"),
    [
        (Wake(), None),
        (Wake(process_s=660.0), 1.0),
        (Wake(wire_s=10.5), 0.5),
        (Wake(process_s=660.0, wire_s=10.5), 0.5),
        (Wake(process_s=606.0, wire_s=10.5), 0.1),
        (Wake(wire_s=9.0), 0.0),
    ],
)
def test_the_earlier_of_two_wakes_counts_on_its_own_clock(wake: Wake, until_s: float | None) -> None:
    left_s = Clock(now=lambda: 10.0, wall=lambda: 0.0, speed=60.0).until_s(wake)
    assert left_s == (None if until_s is None else pytest.approx(until_s))


def test_the_boot_clock_runs_on() -> None:
    assert boot_clock_s() <= boot_clock_s()


def test_a_boot_has_the_same_id_all_the_time() -> None:
    assert boot_id() == boot_id() != ""
