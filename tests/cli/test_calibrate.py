"""`calibrate`: what is listed, what is asked of the supervisor, and how a person is led through the steps."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from typing import Any

import pytest

from supervisor.cli import calibrate_guide
from supervisor.cli.calibrate import calibration_lines
from supervisor.cli.main import main
from supervisor.cli.words import status_lines
from supervisor.core.calibrated import Calibration, Commissioned
from supervisor.core.events import Instant, Quality, Reading
from supervisor.core.heating import HeatingState
from supervisor.core.state import Latest, LineState, SupplyState
from supervisor.service.calibrations import brief, calibrations
from supervisor.trade.calibration import Point
from tests.cli import states
from tests.cli.conftest import Supervisor
from tests.core.plain import line_setup

SETUP = line_setup()
NOW = Instant(100.0, 100.0, 1_790_000_000.0)
BATH, CURRENT = "main-acid-temperature", "main-current"


def known(due_wall_s: float) -> Calibration:
    points = (Point(0.4, 0.0, 0.0, "degC"), Point(99.1, 99.6, 0.0, "degC"))
    return Calibration(BATH, "", "", points, "ice and steam", NOW.wall_s - 86400, "kim", "2027-09-21", due_wall_s)


def line(**shown: float) -> LineState:
    channels = {
        name.replace("_", "-"): Latest(Reading(name, Quality.GOOD, value), 99.5, 99.5, value, shown=value)
        for name, value in shown.items()
    }
    return LineState(channels=channels, supplies={"main": SupplyState()})


def told(state: LineState) -> dict[str, Any]:
    return {"ok": True, **calibrations(SETUP, state, NOW)}


# -- the list


def test_every_instrument_is_listed_with_its_points_and_its_due_date() -> None:
    clamp = Commissioned("main", "", "", (Point(0.0, 0.0, 0.0, "A"), Point(0.99, 1.0, 0.0, "A")), "clamp 7", 0.0, "kim")
    state = replace(line(), calibrations={BATH: known(NOW.wall_s + 1)}, commissioned={"main": clamp})
    text = "\n".join(calibration_lines(told(state)))
    assert f"{BATH}, thermometer of main-acid: due 2027-09-21" in text
    assert "against ice and steam: 0.4 °C was 0.0 °C, 99.1 °C was 99.6 °C" in text
    assert f"{CURRENT}, current meter of main: never calibrated" in text
    assert "beside clamp 7: 0 A at 0 A, 0.99 A at 1 A" in text


def test_a_line_in_us_units_is_listed_in_them() -> None:
    state = replace(line(), calibrations={BATH: known(NOW.wall_s + 1)})
    text = "\n".join(calibration_lines(told(state) | {"units": "us"}))
    assert "32.7 °F was 32.0 °F" in text


def test_what_is_overdue_stands_out_in_list_and_status() -> None:
    state = replace(line(), calibrations={BATH: known(NOW.wall_s)})
    assert f"{BATH}, thermometer of main-acid: OVERDUE since 2027-09-21" in "\n".join(calibration_lines(told(state)))
    lines = "\n".join(status_lines(states.running() | {"calibrations": brief(state, NOW)}))
    assert f"calibration OVERDUE: {BATH} since 2027-09-21" in lines


def test_an_empty_command_lists(supervisor: Supervisor, capsys: pytest.CaptureFixture[str]) -> None:
    supervisor.calibrations = told(line())
    assert main(["calibrate"]) == 0
    assert "never calibrated" in capsys.readouterr().out
    assert supervisor.asked == []


# -- told in one go


def test_points_that_are_given_go_to_the_supervisor_as_they_were_typed(supervisor: Supervisor) -> None:
    points = ["--point", "32.7 degF = 32 degF", "--point", "211 degF = 210.9 degF"]
    main(["calibrate", BATH, *points, "--reference", "thermometer 12", "--due", "2030-01-31"])
    sent = {"channel": BATH, "points": points[1::2], "reference": "thermometer 12", "due": "2030-01-31"}
    assert supervisor.asked == [("calibrate", sent)]


def test_a_channel_is_forgotten_by_its_name(supervisor: Supervisor) -> None:
    assert main(["calibrate", BATH, "--forget"]) == 0
    assert supervisor.asked == [("calibrate forget", {"channel": BATH})]


def test_a_meter_is_commissioned_by_the_name_of_its_channel(supervisor: Supervisor) -> None:
    supervisor.calibrations = told(line())
    points = ["--point", "0 A = 0 A", "--point", "1 A = 1 A", "--point", "4 A = 4 A"]
    main(["calibrate", CURRENT, "--commission", *points, "--reference", "clamp 7", "--confirmed"])
    sent = {"supply": "main", "confirmed": True, "points": points[1::2], "reference": "clamp 7"}
    assert supervisor.asked == [("commission", sent)]


@pytest.mark.parametrize("of", [BATH, "main-voltage", "elsewhere"])
def test_what_is_no_current_meter_is_not_commissioned(
    supervisor: Supervisor, of: str, capsys: pytest.CaptureFixture[str]
) -> None:
    supervisor.calibrations = told(line())
    assert main(["calibrate", of, "--commission"]) == 1
    assert f"this line has {CURRENT}" in capsys.readouterr().err
    assert supervisor.asked == []


@pytest.mark.parametrize(
    "typed",
    [
        ["--forget"],
        ["--commission"],
        [BATH, "--forget", "--point", "0 A = 0 A"],
        [CURRENT, "--commission", "--due", "2030-01-31"],
        [CURRENT, "--commission", "--confirmed"],
        [BATH, "--steps", "ice", "boiling", "--point", "0 A = 0 A"],
        [BATH, "--json"],
    ],
)
def test_what_does_not_go_together_is_told(supervisor: Supervisor, typed: list[str]) -> None:
    assert main(["calibrate", *typed]) == 2
    assert supervisor.asked == []


# -- the guide


@dataclass
class Desk:
    """A person who types, and an instrument that shows one value after another.

    Attributes:
        types: what will be typed, one line a question. shows: the instrument's readings, the last one for good.
    """

    state: LineState
    channel: str
    watching: bool = False
    types: list[str] = field(default_factory=list)
    shows: list[float | None] = field(default_factory=list)
    now_s: float = 0.0

    def answer_of(self, _line: object, _kind: str, _body: dict[str, Any]) -> dict[str, Any]:
        answer = told(self.state) | {"watch_only": self.watching}
        if self.shows:
            value = self.shows.pop(0) if len(self.shows) > 1 else self.shows[0]
            answer["instruments"][self.channel] |= {"shown": value, "sampled_s": self.now_s}
        return answer

    def sleep(self, seconds: float) -> None:
        self.now_s += seconds

    def monotonic(self) -> float:
        return self.now_s

    def types_next(self, _prompt: str) -> str:
        if not self.types:
            raise EOFError
        line = self.types.pop(0)
        if line.startswith("shows "):
            self.shows = [float(one) for one in line.split()[1:]]
            return ""
        return line


Sits = Callable[..., Desk]


@pytest.fixture
def sits(supervisor: Supervisor, monkeypatch: pytest.MonkeyPatch) -> Iterator[Sits]:
    """Let a person sit down with an instrument, and type; `shows 1.5` puts it where it shows that."""

    def at(channel: str, *types: str, state: LineState | None = None, watching: bool = False) -> Desk:
        desk = Desk(state or line(), channel, watching, list(types))
        supervisor.calibrations = desk.answer_of(None, "", {})
        monkeypatch.setattr(calibrate_guide, "answer_of", desk.answer_of)
        monkeypatch.setattr(calibrate_guide, "time", desk)
        monkeypatch.setattr("builtins.input", desk.types_next)
        return desk

    return at  # type: ignore[return-value]


def points_of(supervisor: Supervisor) -> list[tuple[float, float]]:
    ((_, body),) = supervisor.asked
    sides = [point.split("=") for point in body["points"]]
    return [(float(shown.split()[0]), float(true.split()[0])) for shown, true in sides]


def test_a_thermometer_is_led_through_ice_and_boiling_water(
    supervisor: Supervisor, sits: Sits, capsys: pytest.CaptureFixture[str]
) -> None:
    sits(BATH, "shows 0.4", "650 m", "shows 98.1")
    assert main(["calibrate", BATH]) == 0
    ice, boiling = points_of(supervisor)
    assert ice == (0.4, 0.0)
    assert boiling[0] == 98.1
    assert boiling[1] == pytest.approx((208 - 32) / 1.8, abs=0.1)  # 208 degF near 650 m: a derived pair of the trade
    ((kind, body),) = supervisor.asked
    assert (kind, body["channel"]) == ("calibrate", BATH)
    assert body["reference"] == "ice point, water boiling at 97.8 °C (650 m)"
    assert "scald" in capsys.readouterr().out


@pytest.mark.parametrize(("said", "boils_c"), [("1013.25 hPa", 99.974), ("29.9213 inHg", 99.974), ("0 ft", 99.974)])
def test_where_water_boils_follows_from_pressure_or_altitude(
    supervisor: Supervisor, sits: Sits, said: str, boils_c: float
) -> None:
    """99.974 degC under 101,325 Pa (ITS-90); 29.9213 inHg is the same pressure (standard atmosphere)."""
    sits(BATH, "shows 0.4", "700", "30000 ft", "40000 ft", "12 hPa", said, "shows 99.5")
    assert main(["calibrate", BATH]) == 0
    assert points_of(supervisor)[1][1] == pytest.approx(boils_c, abs=0.002)


def test_a_reading_that_moves_is_waited_for(
    supervisor: Supervisor, sits: Sits, capsys: pytest.CaptureFixture[str]
) -> None:
    sits(BATH, "shows 3 2 1 0.9 0.8 0.7", "shows 0.4 0.5", "0 m", "shows 99")
    assert main(["calibrate", BATH]) == 0
    assert "still moves" in capsys.readouterr().out
    assert points_of(supervisor)[0][0] == pytest.approx(0.495, abs=0.01)


def test_a_sensor_that_shows_nothing_good_ends_it(
    supervisor: Supervisor, sits: Sits, capsys: pytest.CaptureFixture[str]
) -> None:
    desk = sits(BATH, "")
    desk.shows = [None]
    assert main(["calibrate", BATH]) == 1
    assert "shows too little that is good (its reading: none yet)" in capsys.readouterr().err
    assert supervisor.asked == []


def test_a_meter_that_shows_less_than_nothing_may_be_the_wrong_way_round(
    sits: Sits, capsys: pytest.CaptureFixture[str]
) -> None:
    backwards = Latest(Reading(CURRENT, Quality.OUT_OF_RANGE, None), 99.5, None)
    sits(CURRENT, "", state=replace(line(), channels={CURRENT: backwards}), watching=True)
    assert main(["calibrate", CURRENT, "--commission"]) == 1
    assert "its two sense wires may be the wrong way round" in capsys.readouterr().err


def test_leaving_in_the_middle_keeps_nothing(
    supervisor: Supervisor, sits: Sits, capsys: pytest.CaptureFixture[str]
) -> None:
    sits(BATH, "shows 0.4")
    assert main(["calibrate", BATH]) == 1
    assert "nothing is kept" in capsys.readouterr().err
    assert supervisor.asked == []


def test_a_meter_is_led_through_zero_and_two_currents_beside_a_reference(supervisor: Supervisor, sits: Sits) -> None:
    sits(CURRENT, "shows 0.01", "shows 1.02", "1 A", "shows 4.95", "5000 mA", "meter 12", watching=True)
    assert main(["calibrate", CURRENT]) == 0
    assert points_of(supervisor) == [(0.01, 0.0), (1.02, 1.0), (4.95, 5.0)]
    assert supervisor.asked[0][1]["reference"] == "zero, meter 12"


def test_a_meter_is_led_through_its_commissioning(
    supervisor: Supervisor, sits: Sits, capsys: pytest.CaptureFixture[str]
) -> None:
    sits(CURRENT, "shows 0", "0 A", "shows 1", "1 A", "shows 4", "4 A", "yes", "clamp 7", watching=True)
    assert main(["calibrate", CURRENT, "--commission"]) == 0
    assert points_of(supervisor) == [(0.0, 0.0), (1.0, 1.0), (4.0, 4.0)]
    ((kind, body),) = supervisor.asked
    assert (kind, body["supply"], body["confirmed"], body["reference"]) == ("commission", "main", True, "clamp 7")
    assert "every other supply of the line on" in capsys.readouterr().out


def test_a_person_who_cannot_confirm_commissions_nothing(supervisor: Supervisor, sits: Sits) -> None:
    sits(CURRENT, "shows 0", "0 A", "shows 1", "1 A", "shows 4", "4 A", "no", watching=True)
    assert main(["calibrate", CURRENT, "--commission"]) == 1
    assert supervisor.asked == []


def test_a_meter_is_led_only_where_a_person_may_let_a_current_flow(
    supervisor: Supervisor, sits: Sits, capsys: pytest.CaptureFixture[str]
) -> None:
    sits(CURRENT, "shows 0")
    assert main(["calibrate", CURRENT]) == 1
    assert "--watch-only" in capsys.readouterr().err
    assert supervisor.asked == []


def test_what_would_be_refused_anyhow_is_said_before_the_first_step(
    supervisor: Supervisor, sits: Sits, capsys: pytest.CaptureFixture[str]
) -> None:
    sits(BATH, "shows 0", state=replace(line(), heating={"main-acid": HeatingState(demanded=True)}))
    assert main(["calibrate", BATH]) == 1
    assert "ampminder tank rest main-acid" in capsys.readouterr().err
    assert supervisor.asked == []


def test_a_thermometer_can_be_held_against_a_reference_as_well(supervisor: Supervisor, sits: Sits) -> None:
    sits(BATH, "shows 0.4", "shows 68.9", "156 degF", "thermometer 3")
    assert main(["calibrate", BATH, "--steps", "ice", "reference"]) == 0
    assert points_of(supervisor)[1] == (68.9, 68.88889)
    assert supervisor.asked[0][1]["reference"] == "ice point, thermometer 3"
