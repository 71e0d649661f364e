from __future__ import annotations

from supervisor.core.actions import ArmTimeOut, SetPoints, Switch, SwitchOff, SwitchOn
from supervisor.service.dispatch import Frame, Outbox


def off(supply: str = "main", number: int = 9) -> SwitchOff:
    return SwitchOff(supply, number, 0.0)


def on(supply: str = "main", number: int = 2) -> SwitchOn:
    return SwitchOn(supply, number, 0.0)


def points(current_a: float = 1.0, voltage_v: float = 22.0, number: int = 1, supply: str = "main") -> SetPoints:
    return SetPoints(supply, number, 0.0, current_a, voltage_v)


def taken(outbox: Outbox) -> Frame:
    """Take the next frame, which must be a supply's."""
    frame = outbox.take()
    assert isinstance(frame, Frame)
    return frame


def whats(outbox: Outbox) -> list[tuple[str, str]]:
    """Take everything as if it all went well."""
    found: list[tuple[str, str]] = []
    while (frame := outbox.take()) is not None:
        assert isinstance(frame, Frame)
        outbox.done(frame)
        found.append((frame.supply, frame.what))
    return found


def test_off_overtakes_everything_that_waits() -> None:
    outbox = Outbox()
    outbox.put(points(supply="side"))
    outbox.put(off("main"))
    assert whats(outbox)[0] == ("main", "off")


def test_off_withdraws_what_raises_energy_of_the_same_supply_only() -> None:
    outbox = Outbox()
    outbox.put(points())
    outbox.put(on())
    outbox.put(on("side"))
    outbox.put(off())
    assert whats(outbox) == [("main", "off"), ("side", "on")]


def test_off_between_two_frames_of_set_points_withdraws_the_second() -> None:
    outbox = Outbox()
    outbox.put(points())
    first = taken(outbox)
    assert not first.last
    outbox.put(off())
    outbox.done(first)
    assert whats(outbox) == [("main", "off")]


def test_off_asked_twice_is_sent_once() -> None:
    outbox = Outbox()
    outbox.put(off(number=1))
    outbox.put(off(number=2))
    assert outbox.take() == Frame("main", "off", 2, "off")
    assert outbox.take() is None


def test_newer_set_points_replace_older_ones_and_stay_before_on() -> None:
    outbox = Outbox()
    outbox.put(points(1.0, number=1))
    outbox.put(on(number=2))
    outbox.put(points(1.5, number=3))
    frames = [taken(outbox), taken(outbox), taken(outbox)]
    assert [(f.what, f.value, f.number) for f in frames] == [
        ("voltage", 22.0, 3),
        ("current", 1.5, 3),
        ("on", 0.0, 2),
    ]
    assert outbox.take() is None


def test_only_what_changed_is_sent() -> None:
    outbox = Outbox()
    outbox.put(points(1.0))
    whats(outbox)
    outbox.put(points(1.1))
    assert whats(outbox) == [("main", "current")]


def test_a_set_point_that_was_not_confirmed_is_sent_again() -> None:
    outbox = Outbox()
    outbox.put(points(1.0))
    while outbox.take() is not None:
        pass
    outbox.put(points(1.0))
    assert whats(outbox) == [("main", "voltage"), ("main", "current")]


def test_after_an_off_every_set_point_is_sent_anew() -> None:
    outbox = Outbox()
    outbox.put(points())
    whats(outbox)
    outbox.put(off())
    whats(outbox)
    outbox.put(points())
    assert whats(outbox) == [("main", "voltage"), ("main", "current")]


def test_set_points_confirmed_while_an_off_waits_do_not_count_as_given() -> None:
    outbox = Outbox()
    outbox.put(points())
    frame = taken(outbox)
    outbox.put(off())
    outbox.done(frame)
    whats(outbox)
    outbox.put(points())
    assert whats(outbox) == [("main", "voltage"), ("main", "current")]


def test_same_set_points_again_still_reach_the_wire_so_that_they_can_be_confirmed() -> None:
    outbox = Outbox()
    outbox.put(points())
    whats(outbox)
    outbox.put(points())
    assert whats(outbox) == [("main", "current")]


def test_an_off_does_not_withdraw_the_arming_of_a_time_out() -> None:
    outbox = Outbox()
    outbox.put(ArmTimeOut("main", 1, 5.0))
    outbox.put(off())
    assert whats(outbox) == [("main", "off"), ("main", "time-out")]


def test_arrival_is_told_until_all_is_taken() -> None:
    outbox = Outbox()
    outbox.put(off())
    assert outbox.arrived.is_set()
    outbox.take()
    assert outbox.take() is None
    assert not outbox.arrived.is_set()


def switch(output: str = "fan", *, on: bool, safe: bool = False, number: int = 5) -> Switch:
    return Switch(output, number, 0.0, on, safe)


def test_the_way_to_a_safe_state_goes_after_offs_and_before_all_else() -> None:
    outbox = Outbox()
    outbox.put(points())
    outbox.put(switch("contactor", on=False, safe=True))
    outbox.put(off("side"))
    assert taken(outbox).what == "off"
    assert outbox.take() == switch("contactor", on=False, safe=True)
    assert taken(outbox).command == "set points"


def test_a_newer_word_for_a_switch_takes_the_older_ones_place_whichever_way_it_goes() -> None:
    outbox = Outbox()
    outbox.put(switch(on=True, number=1))
    outbox.put(switch(on=False, safe=True, number=2))
    outbox.put(switch("horn", on=True, number=3))
    assert [outbox.take(), outbox.take(), outbox.take()] == [
        switch(on=False, safe=True, number=2),
        switch("horn", on=True, number=3),
        None,
    ]
    outbox.put(switch(on=False, safe=True, number=4))
    outbox.put(switch(on=True, number=5))
    assert [outbox.take(), outbox.take()] == [switch(on=True, number=5), None]


def test_an_off_sent_again_to_a_silent_supply_lets_one_way_to_a_safe_state_pass_each_time() -> None:
    outbox, given = Outbox(), []
    for _ in range(3):
        outbox.put(off("main"))
        outbox.put(switch("contactor", on=False, safe=True))
        outbox.put(switch("horn", on=False, safe=True))
        for _ in range(2):
            frame = outbox.take()
            given.append(frame.output if isinstance(frame, Switch) else "off")
    assert given == ["off", "contactor", "off", "horn", "off", "contactor"]


def test_the_first_off_of_every_supply_goes_before_any_way_to_a_safe_state() -> None:
    outbox = Outbox()
    outbox.put(switch("contactor", on=False, safe=True))
    outbox.put(off("main"))
    outbox.put(off("side"))
    assert [taken(outbox).supply, taken(outbox).supply] == ["main", "side"]
    outbox.put(off("main"))
    assert outbox.take() == switch("contactor", on=False, safe=True)
    assert taken(outbox).supply == "main"


def test_an_off_asked_for_later_goes_first_again() -> None:
    outbox = Outbox()
    outbox.put(off())
    whats(outbox)
    outbox.put(switch("contactor", on=False, safe=True))
    outbox.put(off())
    assert taken(outbox).what == "off"


def test_where_only_ways_to_a_safe_state_may_leave_the_rest_waits_and_rings_no_bell() -> None:
    outbox = Outbox()
    for action in (points(), on(), switch("fan", on=True), switch("contactor", on=False, safe=True), off("side")):
        outbox.put(action)
    assert taken(outbox) == Frame("side", "off", 9, "off")
    assert outbox.take(only_safe=True) == switch("contactor", on=False, safe=True)
    assert outbox.take(only_safe=True) is None
    assert not outbox.arrived.is_set()
    assert taken(outbox).command == "set points"


def test_only_an_off_that_was_not_sent_just_before_is_urgent() -> None:
    outbox, urgent = Outbox(), []
    for supply in ("main", "main", "side"):
        outbox.put(off(supply))
        urgent.append(outbox.urgent)
        outbox.take()
    assert urgent == [True, False, True]
