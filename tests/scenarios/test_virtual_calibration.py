"""A thermometer and a meter calibrated through the service: told, used, kept over a restart, and replayed."""

from __future__ import annotations

import pytest

from supervisor.records.replay import replay
from supervisor.service.app import journal_path
from supervisor.service.restore import make_line
from tests.harness.virtual import virtual_line, virtually


@virtually
async def test_a_calibrated_line_runs_and_replays_by_its_calibration_and_keeps_it() -> None:
    async with virtual_line() as line:
        await line.start()
        await line.pass_time(60.0)
        shown = line.state.channels["acid-temperature"].shown
        assert shown is not None
        points = ["0.5 degC = 0 degC", "100.1 degC = 99.6 degC"]
        done = await line.ask("calibrate", channel="acid-temperature", points=points, reference="ice and boiling water")
        assert done["ok"]
        few = await line.ask("calibrate", channel="main-current", points=["0 A = 0 A"], reference="meter 12")
        assert not few["ok"]
        await line.pass_time(60.0)
        right = line.service.status()
        assert right["tanks"]["acid"]["temperature_c"] == pytest.approx(shown - 0.5, abs=0.2)
        assert right["calibrations"]["acid-temperature"]["reference"] == "ice and boiling water"
        await line.begin("1 um", ramp="20 s")
        assert not (await line.ask("calibrate forget", channel="acid-temperature"))["ok"]
        await line.stop()
        await line.start()
        assert line.service.status()["calibrations"] == right["calibrations"]
        told = await line.ask("calibrations")
        assert told["instruments"]["acid-temperature"]["calibration"]["points"][0] == {"shown": 0.5, "true": 0.0}
        await line.pass_time(60.0)
        await line.stop()
        result = replay(journal_path(line.files.load()), make_line)
        assert [run.steps > 20 for run in result.runs] == [True, True]
        assert result.differences == ()


@virtually
async def test_what_is_told_while_only_watching_serves_the_next_run() -> None:
    async with virtual_line() as line:
        await line.start(watch_only=True)
        await line.pass_time(60.0)
        points = ["0 A = 0 A", "1 A = 1 A", "4.95 A = 5 A"]
        assert (await line.ask("calibrate", channel="main-current", points=points[::2], reference="meter 12"))["ok"]
        assert (await line.ask("commission", confirmed=True, points=points, reference="meter 12"))["ok"]
        await line.stop()
        await line.start()
        status = line.service.status()
        assert (list(status["calibrations"]), list(status["commissioned"])) == (["main-current"], ["main"])
