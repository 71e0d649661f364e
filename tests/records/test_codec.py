"""The codec: what is read back equals what was written, and what could not be read back is refused."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any, get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.core.actions import Action
from supervisor.core.dose import Dose
from supervisor.core.events import Event, Instant, Quality, Reading, Scanned, Woken
from supervisor.core.state import LineState
from supervisor.records import codec
from supervisor.trade.charge import Interval

EVENT = Scanned(
    at=Instant(12.5, 3.25, 1_790_000_000.125),
    device="rectifier",
    t_sent_s=12.4,
    t_received_s=12.45,
    readings=tuple(Reading(f"channel-{n}", Quality.GOOD, 0.1 * n, (n,)) for n in range(6)),
)


class Phase(StrEnum):
    REST = "rest"
    WORK = "work"


@dataclass(frozen=True, slots=True)
class Machine:
    phase: Phase
    charge: tuple[float, float, float]
    newest: Event | None


@dataclass(frozen=True, slots=True)
class Whole:
    machines: dict[str, Machine]
    seen: frozenset[str]
    counts: dict[Phase, int]


finite = st.floats(allow_nan=False, allow_infinity=False)


def made_of(kinds: tuple[type, ...]) -> st.SearchStrategy[Any]:
    """Any value of these dataclasses whose numbers are finite."""
    values = st.one_of(*(st.from_type(kind) for kind in kinds))
    return values.filter(lambda value: re.search(r"\b(nan|inf)\b", repr(value)) is None)


events = made_of(get_args(Event))
actions = made_of(get_args(Action))
machines = st.builds(
    Machine, phase=st.sampled_from(Phase), charge=st.tuples(finite, finite, finite), newest=st.none() | events
)
wholes = st.builds(
    Whole,
    machines=st.dictionaries(st.text(), machines, max_size=3),
    seen=st.frozensets(st.text(), max_size=3),
    counts=st.dictionaries(st.sampled_from(Phase), st.integers()),
)


@given(events)
def test_an_event_is_read_back_as_it_was(event: Event) -> None:
    again = codec.decode_event(codec.encode_event(event))
    assert again == event
    assert repr(again) == repr(event)  # tells -0.0 from 0.0, 1 from 1.0 and the order of mappings


@given(st.lists(actions, max_size=4))
def test_the_actions_of_a_step_are_read_back_as_they_were(step: list[Action]) -> None:
    again = codec.decode_actions(codec.encode_actions(step))
    assert again == tuple(step)
    assert repr(again) == repr(tuple(step))


@given(wholes)
def test_a_snapshot_of_nested_values_is_read_back_as_it_was(whole: Whole) -> None:
    assert codec.decode_state(Whole, codec.encode_state(whole)) == whole


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_a_number_that_is_not_finite_is_refused_on_the_way_out(value: float) -> None:
    with pytest.raises(ValueError, match="Out of range"):
        codec.encode_event(Woken(Instant(value, 0.0, 0.0)))
    with pytest.raises(ValueError, match="Out of range"):
        codec.encode_state(Machine(Phase.REST, (0.0, value, 0.0), None))


@pytest.mark.parametrize("word", ["NaN", "Infinity", "-Infinity", "null", '"1"', "true", "1e999"])
def test_nothing_but_a_finite_number_is_read_as_a_number(word: str) -> None:
    text = codec.encode_event(Woken(Instant(1.5, 0.0, 0.0)))
    with pytest.raises(ValueError, match="process_s"):
        codec.decode_event(text.replace("1.5", word))


def test_an_unknown_event_is_refused() -> None:
    text = codec.encode_event(Woken(Instant(0.0, 0.0, 0.0)))
    with pytest.raises(ValueError, match="dreamt"):
        codec.decode_event(text.replace("woken", "dreamt"))


def test_text_that_is_not_unicode_is_refused() -> None:
    with pytest.raises(ValueError, match="surrogates"):
        codec.encode_event(replace(EVENT, device="\ud800"))


def test_what_reads_and_writes_a_kind_is_built_once() -> None:
    assert codec._adapter_of(LineState) is codec._adapter_of(LineState)


def test_an_interval_that_an_older_release_wrote_by_name_is_read() -> None:
    now = codec.encode_state(Dose(charge=Interval(1.0, 2.0, 3.0)))
    assert '"charge":[1.0,2.0,3.0]' in now
    then = now.replace('"charge":[1.0,2.0,3.0]', '"charge":{"low":1.0,"best":2.0,"high":3.0}')
    assert codec.decode_state(Dose, then) == codec.decode_state(Dose, now) == Dose(charge=Interval(1.0, 2.0, 3.0))
