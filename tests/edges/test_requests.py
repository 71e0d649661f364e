"""Requests: what people write comes to the core in SI, or every mistake in it comes back to them."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.core.events import Instant, Order, Request
from supervisor.edges.control import Refusal
from supervisor.edges.requests import EXPIRES_S, KINDS, LONGEST_WHY, new_body, read_request, readable_hiding
from supervisor.records import codec

AT = Instant(100.0, 50.0, 1_790_000_000.0)


def read(kind: str, body: dict[str, Any]) -> Request:
    return read_request(kind, body, at=AT, who="kim")


def reasons(kind: str, body: dict[str, Any]) -> tuple[str, ...]:
    with pytest.raises(Refusal) as refusal:
        read(kind, body)
    return refusal.value.reasons


def test_a_start_comes_to_the_core_in_si() -> None:
    body = new_body(
        49.5,
        area="200 cm^2",
        target="20 um",
        density="1.5 A/dm^2",
        voltage="18 V",
        ramp="2 min",
        mode="voltage",
        load="brackets",
        supply="main",
    )
    request = read("start", body)
    order = Order(0.02, 20.0, density_a_per_m2=150.0, mode="voltage", voltage_v=18.0, ramp_s=120.0, load="brackets")
    assert request == Request(
        at=AT,
        id=body["id"],
        made_wire_s=49.5,
        expires_wire_s=49.5 + EXPIRES_S,
        source="socket",
        who="kim",
        what="start",
        supply="main",
        order=order,
    )


def test_a_start_in_us_units_means_the_same() -> None:
    order = read("start", new_body(49.5, area="20.15 in^2", target="0.7874 mil", density="13.935 A/ft^2")).order
    assert order is not None
    assert order.area_m2 == pytest.approx(0.013, rel=1e-4)
    assert order.target_um == pytest.approx(20.0, rel=1e-4)
    assert order.density_a_per_m2 == pytest.approx(150.0, rel=1e-4)


def test_an_alloy_is_passed_on_as_written() -> None:
    order = read("start", new_body(49.5, area="200 cm^2", alloy="6061-T6, cast 356")).order
    assert order == Order(area_m2=0.02, alloy="6061-T6, cast 356")


def test_what_is_not_said_is_left_to_the_line_file() -> None:
    order = read("start", new_body(49.5, area="200 cm^2", target="20 um")).order
    assert order == Order(area_m2=0.02, target_um=20.0)


def test_every_mistake_is_told_at_once() -> None:
    told = reasons(
        "start",
        {"area": "130", "target": "20 V", "density": 1.5, "ramp": "soon", "mode": "slow", "aera": "1 cm^2", "load": 7},
    )
    starts = sorted(reason.partition(":")[0] for reason in told)
    assert starts == ["aera", "area", "density", "id", "load", "made_wire_s", "mode", "ramp", "target"]
    assert any("did you mean area?" in reason for reason in told)


def test_a_start_without_area_is_told_how_to_write_it() -> None:
    (told,) = reasons("start", new_body(49.5, target="20 um"))
    assert told.startswith("area:")
    assert "cm^2" in told


def test_a_start_without_target_leaves_it_to_the_line_file() -> None:
    order = read("start", new_body(49.5, area="200 cm^2")).order
    assert order is not None
    assert order.target_um is None


NAMED = {
    "alarm reset": {"alarm": "acid too warm"},
    "alarm acknowledge": {"alarm": "acid too warm"},
    "alarm shelve": {"alarm": "acid too warm"},
    "alarm unshelve": {"alarm": "acid too warm"},
    "alarm out of service": {"alarm": "acid too warm"},
    "alarm in service": {"alarm": "acid too warm"},
    "heat": {"tank": "seal"},
    "rest": {"tank": "seal"},
    "filled": {"tank": "seal"},
    "exercise": {"output": "fan"},
    "release": {"output": "fan"},
    "gauge": {"load": "brackets"},
    "gauge forget": {"load": "brackets"},
    "calibrate": {"channel": "acid-temperature"},
    "calibrate forget": {"channel": "acid-temperature"},
}
"""What a request of these kinds must name."""


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "start"])
def test_a_request_that_starts_nothing_takes_no_order(kind: str) -> None:
    named = NAMED.get(kind, {})
    request = read(kind, new_body(49.5, **named))
    assert (request.what, request.order) == (kind, None)
    said = (request.alarm, request.output, request.tank, request.load, request.channel)
    assert said == tuple(named.get(key, "") for key in ("alarm", "output", "tank", "load", "channel"))
    assert (request.for_s, request.why) == (None, "")
    assert any(reason.startswith("area:") for reason in reasons(kind, new_body(49.5, area="1 cm^2", **named)))


@pytest.mark.parametrize("kind", [kind for kind, named in NAMED.items() if "alarm" in named])
def test_an_alarm_request_names_its_alarm(kind: str) -> None:
    assert reasons(kind, new_body(49.5)) == ("alarm: this is missing.",)


@pytest.mark.parametrize("kind", ["exercise", "release"])
def test_an_exercise_names_its_output(kind: str) -> None:
    assert reasons(kind, new_body(49.5)) == ("output: this is missing.",)


@pytest.mark.parametrize("kind", ["heat", "rest", "filled"])
def test_a_request_about_a_bath_names_its_tank(kind: str) -> None:
    assert reasons(kind, new_body(49.5)) == ("tank: this is missing.",)


@pytest.mark.parametrize(("said", "for_s"), [("30 min", 1800.0), ("0.5 h", 1800.0), ("-1 s", -1.0)])
def test_a_shelving_comes_to_the_core_with_its_seconds_and_its_reason(said: str, for_s: float) -> None:
    request = read("alarm shelve", {**new_body(49.5, alarm="acid/bath-high", why="pump is out"), "for": said})
    assert (request.alarm, request.for_s, request.why) == ("acid/bath-high", for_s, "pump is out")


def test_a_shelving_that_says_too_little_is_left_to_the_core_which_has_more_to_say() -> None:
    request = read("alarm shelve", new_body(49.5, alarm="acid/bath-high"))
    assert (request.for_s, request.why) == (None, "")


def test_every_mistake_in_a_shelving_is_told_at_once() -> None:
    told = reasons("alarm shelve", {"for": "30", "why": "x" * (LONGEST_WHY + 1), "tank": "seal"})
    assert sorted(reason.partition(":")[0] for reason in told) == ["alarm", "for", "id", "made_wire_s", "tank", "why"]


@pytest.mark.parametrize("kind", ["alarm unshelve", "alarm acknowledge", "heat", "alarm out of service"])
def test_only_a_shelving_has_a_time(kind: str) -> None:
    told = reasons(kind, {**new_body(49.5, **NAMED[kind]), "for": "30"})
    assert [reason.partition(":")[0] for reason in told] == ["for"]


def test_what_can_be_read_of_a_bad_shelving_is_there_for_whoever_has_more_against_it() -> None:
    body = {"for": "30", "why": "pump is out", "alarm": 7}
    request, unread = readable_hiding("alarm shelve", body, at=AT, who="kim")
    assert (request.alarm, request.for_s, request.why, request.who) == ("", None, "pump is out", "kim")
    assert unread == {"alarm", "for"}


@pytest.mark.parametrize(("given", "word"), [({}, False), ({"confirmed": True}, True), ({"confirmed": False}, False)])
def test_the_persons_word_is_taken_only_where_it_was_given(given: dict[str, bool], word: bool) -> None:
    assert read("restart", {**new_body(49.5), **given}).confirmed is word


@pytest.mark.parametrize("given", [1, "true", None, []])
def test_a_persons_word_that_is_neither_true_nor_false_is_refused(given: object) -> None:
    assert reasons("restart", {**new_body(49.5), "confirmed": given}) == ("confirmed: this must be true or false.",)


def test_a_hold_takes_no_word_of_a_person() -> None:
    assert any("confirmed" in reason for reason in reasons("hold", {**new_body(49.5), "confirmed": True}))


def test_an_unknown_kind_is_refused_with_those_there_are() -> None:
    assert "alarm reset" in reasons("dance", new_body(49.5))[0]


@pytest.mark.parametrize("made", [None, True, "49.5", -1.0, 1e300, 10**4000, [1]])
def test_a_request_that_does_not_say_when_it_was_made_is_refused(made: object) -> None:
    assert any(reason.startswith("made_wire_s:") for reason in reasons("hold", {"id": "a", "made_wire_s": made}))


@pytest.mark.parametrize("text", [None, 5, ["a"], "x" * 101, "two\nlines", "\x1b[2J"])
@pytest.mark.parametrize("key", ["id", "supply"])
def test_a_name_is_one_short_line_of_text(key: str, text: object) -> None:
    assert any(reason.startswith(f"{key}:") for reason in reasons("hold", {**new_body(49.5), key: text}))


def test_two_requests_never_share_an_id() -> None:
    assert len({new_body(1.0)["id"] for _ in range(100)}) == 100


def request_or_reasons(kind: str, body: dict[str, Any]) -> Request | tuple[str, ...]:
    try:
        return read(kind, body)
    except Refusal as refusal:
        return refusal.reasons


values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=5,
)
keys = st.sampled_from(
    ["id", "made_wire_s", "supply", "alarm", "area", "target", "density", "mode", "ramp", "load", "for", "why"]
)


@given(st.sampled_from(KINDS), st.dictionaries(keys | st.text(max_size=5), values, max_size=8))
def test_any_json_is_a_request_the_journal_can_keep_or_a_refusal_with_reasons(kind: str, body: dict[str, Any]) -> None:
    outcome = request_or_reasons(kind, body)
    if isinstance(outcome, Request):
        assert codec.decode_event(codec.encode_event(outcome)) == outcome
    else:
        assert outcome
        assert all(outcome)
