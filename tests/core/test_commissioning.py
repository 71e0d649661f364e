"""A meter carries its operation's current alone, whole and the right way round; what shows otherwise is refused."""

from __future__ import annotations

import pytest

from supervisor.core.actions import Answer, Note, SetPoints, SwitchOn
from supervisor.trade.calibration import Point
from tests.core.kit import Bench
from tests.core.plain import line_setup


def commission(bench: Bench, *pairs: tuple[float, float], spread: float = 0.0, **changes: object) -> Answer:
    points = tuple(Point(shown, true, spread, "A") for shown, true in pairs)
    asked: dict[str, object] = {"points": points, "reference": "clamp 7", "confirmed": True}
    return bench.ask("commission", **(asked | changes))  # type: ignore[arg-type]


def refused(*pairs: tuple[float, float], **changes: object) -> tuple[str, ...]:
    bench = Bench()
    bench.start_service(watch_only=True)
    answer = commission(bench, *pairs, **changes)  # type: ignore[arg-type]
    assert not answer.ok
    assert bench.line.state.commissioned == {}
    return answer.reasons


GOOD = ((0.0, 0.0), (0.99, 1.0), (4.1, 4.0))


def test_what_is_seen_is_kept_and_told_and_nothing_is_energised() -> None:
    bench = Bench()
    bench.start_service(watch_only=True)
    before = len(bench.actions)
    answer = commission(bench, *GOOD)
    assert answer.ok
    found = bench.line.state.commissioned["main"]
    assert ([(point.shown, point.true) for point in found.points], found.who) == (list(GOOD), "mara")
    assert "0.99 A at 1 A" in answer.data["notice"]
    assert any(note.text == answer.data["notice"] for note in bench.named(Note))
    assert not [one for one in bench.actions[before:] if isinstance(one, SwitchOn | SetPoints)]


@pytest.mark.parametrize(
    ("pairs", "says"),
    [
        (((0.3, 0.0), (1.0, 1.0), (4.0, 4.0)), "another current goes through it, or it is off its zero"),
        (((0.0, 0.0), (-1.0, 1.0), (4.0, 4.0)), "wrong way round; exchange its two sense wires"),
        (((0.0, 0.0), (1.0, 1.0), (3.7, 4.0)), "current goes round it"),
        (((0.0, 0.0), (1.0, 1.0), (4.3, 4.0)), "another current goes through it too"),
        (((0.0, 0.0), (1.0, 1.0), (-4.0, -4.0)), "turn the reference's arrow"),
        (((1.0, 1.0), (4.0, 4.0)), "one is needed with the supply off"),
        (((0.0, 0.0), (4.0, 4.0)), "two currents are needed"),
        (((0.0, 0.0), (2.1, 2.1), (4.0, 4.0)), "two currents are needed"),
    ],
)
def test_what_shows_otherwise_is_refused(pairs: tuple[tuple[float, float], ...], says: str) -> None:
    assert any(says in reason for reason in refused(*pairs))


def test_a_current_that_moved_shows_nothing() -> None:
    assert "it moved by 0.06 A" in refused(*GOOD, spread=0.06)[0]  # half a percent of 10 A is 0.05 A


def test_what_only_a_person_sees_must_be_said() -> None:
    reasons = refused(*GOOD, confirmed=False, reference="")
    assert [reason.partition(":")[0] for reason in reasons] == ["reference", "confirmed"]


def test_no_meter_is_commissioned_under_an_operation() -> None:
    bench = Bench().running()
    answer = commission(bench, *GOOD)
    assert "main is running" in answer.reasons[0]


def test_of_several_supplies_one_must_be_named() -> None:
    bench = Bench(line_setup(2))
    bench.start_service(watch_only=True)
    assert not commission(bench, *GOOD).ok
    assert commission(bench, *GOOD, supply="side").ok
    assert list(bench.line.state.commissioned) == ["side"]
