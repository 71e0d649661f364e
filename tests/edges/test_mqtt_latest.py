"""The newest state of each topic and nothing older, at most once a second."""

from __future__ import annotations

import pytest

from supervisor.edges.latest import Latest
from supervisor.edges.payloads import Payload
from tests.edges.mqtt_kit import ALARM_TOPIC, LINE_TOPIC, TANK_TOPIC, Played


class Told:
    """A buffer, and a broker that takes all at once."""

    def __init__(self) -> None:
        self.line = Played()
        self.reporter = self.line.reporter()
        self.latest = Latest(self.reporter.possible_alarms, self.reporter.normal)
        self.told: list[tuple[float, str, Payload | None]] = []

    def look(self) -> int:
        return self.latest.offer(self.reporter.states(0))

    def send(self, now_s: float, *, ok: bool = True) -> list[str]:
        """Publish all that is due now; return the topics."""
        sent: list[str] = []
        while (due := self.latest.due(now_s)) is not None:
            self.latest.ended(*due, now_s, ok=ok)
            self.told.append((now_s, *due))
            sent.append(due[0])
        return sent


@pytest.fixture
async def told() -> Told:
    told = Told()
    told.look()
    told.send(0.0)
    return told


async def test_what_has_not_changed_is_not_told_again(told: Told) -> None:
    told.look()
    assert told.send(100.0) == []
    assert told.latest.wait_s(100.0) is None


async def test_a_change_waits_until_a_second_has_passed_and_the_newest_is_told(told: Told) -> None:
    missed = 0
    for temperature_c in (21.0, 21.5, 22.0):
        told.line.temperature_c = temperature_c
        missed += told.look()
    assert told.send(0.9) == []
    assert told.latest.wait_s(0.9) == pytest.approx(0.1)
    assert told.send(1.0) == [TANK_TOPIC]
    assert told.told[-1][2].model_dump()["temperature_c"] == 22.0  # type: ignore[union-attr]
    assert missed == 2


async def test_a_new_connection_is_told_everything_but_no_sooner_than_a_second_after(told: Told) -> None:
    told.latest.forget()
    assert told.send(0.5) == []
    assert {LINE_TOPIC, TANK_TOPIC} < set(told.send(1.0))


async def test_a_message_that_was_given_up_is_told_again(told: Told) -> None:
    told.line.temperature_c = 21.0
    told.look()
    assert told.send(1.0, ok=False) == [TANK_TOPIC]
    assert told.send(1.5) == []
    assert told.send(2.0) == [TANK_TOPIC]
    assert told.send(9.0) == []


async def test_an_alarm_that_went_is_told_as_normal_once_and_then_cleared(told: Told) -> None:
    told.line.alarms["acid/bath-high"] = "unacknowledged"
    told.look()
    told.send(1.0)
    told.line.alarms.clear()
    for now_s in (2.0, 3.0, 4.0, 5.0):
        told.look()
        told.send(now_s)
    alarms = [(at_s, payload and payload.model_dump()["state"]) for at_s, t, payload in told.told if t == ALARM_TOPIC]
    assert alarms == [(0.0, None), (1.0, "unacknowledged"), (2.0, "normal"), (3.0, None)]


async def test_an_alarm_that_comes_back_before_it_was_cleared_is_told_and_not_cleared(told: Told) -> None:
    told.line.alarms["acid/bath-high"] = "unacknowledged"
    told.look()
    told.send(1.0)
    told.line.alarms.clear()
    told.look()
    told.send(2.0)
    told.line.alarms["acid/bath-high"] = "unacknowledged"
    told.look()
    told.send(3.0)
    assert told.send(9.0) == []
    newest = [payload for _, topic, payload in told.told if topic == ALARM_TOPIC][-1]
    assert newest is not None
    assert newest.model_dump()["state"] == "unacknowledged"


async def test_an_alarm_that_a_run_before_may_have_left_is_cleared_at_the_first_connection_alone(told: Told) -> None:
    assert (0.0, ALARM_TOPIC, None) in told.told
    told.latest.forget()
    assert ALARM_TOPIC not in told.send(5.0)


async def test_what_is_to_be_cleared_waits_for_what_is_to_be_told() -> None:
    told = Told()
    told.look()
    assert told.send(0.0)[-1] == ALARM_TOPIC
