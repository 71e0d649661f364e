"""The core in every state that a line of one supply can come to, part by part and to closure; the rules hold in each.

The largest parts are explored whole by the campaign `alarms`, and here in their nearest states.
"""

from __future__ import annotations

from functools import cache

import pytest

from supervisor.core.alarms import AlarmState
from tests.exploration import parts
from tests.exploration.explorer import Explored, Part, explore, unknown
from tests.exploration.tables import ALARM_MOVES, MOVES, Move, explore_alarms, moves_walked

NEAREST = 250
SMALL = {part.name: part for part in parts.small_parts()}
_S = AlarmState


@cache
def explored(name: str) -> tuple[Explored, frozenset[Move]]:
    with moves_walked() as walked:
        found = explore(SMALL[name])
    return found, frozenset(walked)


@pytest.mark.parametrize("name", SMALL)
def test_the_rules_hold_in_every_state_of_a_part_and_everything_in_it_happens(name: str) -> None:
    found, _ = explored(name)
    assert found.closed
    assert found.happened == set(SMALL[name].happenings)
    assert not unknown(SMALL[name], found, every=9)


@pytest.mark.parametrize("part", parts.large_parts(), ids=lambda part: part.name)
def test_the_rules_hold_in_the_nearest_states_of_the_large_parts(part: Part) -> None:
    found = explore(part, NEAREST)
    assert not found.closed
    assert len(found.states) >= NEAREST


def test_an_operation_walks_its_whole_table() -> None:
    assert explored("switching")[1] == MOVES


def test_an_alarm_alone_walks_its_whole_table() -> None:
    assert explore_alarms() >= ALARM_MOVES


NEVER = {
    parts.WARNS: {_S.LATCHED_UNACKNOWLEDGED, _S.LATCHED_ACKNOWLEDGED, _S.SUPPRESSED},
    parts.HOLDS: {_S.RETURNED_UNACKNOWLEDGED, _S.SUPPRESSED},
    parts.STOPS: {_S.RETURNED_UNACKNOWLEDGED, _S.SUPPRESSED},
    parts.GUARD: {_S.RETURNED_UNACKNOWLEDGED},
    parts.LID: {_S.RETURNED_UNACKNOWLEDGED},
    parts.AIR: {_S.LATCHED_UNACKNOWLEDGED, _S.LATCHED_ACKNOWLEDGED},
}
"""States that an alarm of that kind cannot have: what warns does not latch, what trips always does."""


@pytest.mark.parametrize("name", NEVER)
def test_an_alarm_is_met_in_every_state_of_its_kind_while_an_operation_goes_on(name: str) -> None:
    found, _ = explored(name)
    met = {node.state.alarms[name].state for node in found.states.values() if name in node.state.alarms}
    assert met | {_S.NORMAL} == set(_S) - NEVER[name]
