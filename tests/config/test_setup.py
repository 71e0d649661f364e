"""What a right line file becomes for core and drivers."""

from __future__ import annotations

from pathlib import Path

import pytest

from drivers.points import SerialSettings
from supervisor.config.load import load_line, records_folder
from supervisor.config.setup import line_setup, link_settings
from supervisor.core.setup import Accuracy, CalibrationSetup
from tests.config.conftest import CONFIG, PLAIN, Written


def test_a_supply_makes_its_six_channels() -> None:
    setup = line_setup(load_line(PLAIN))
    supply = setup.supplies["main"]
    assert {name: channel.point for name, channel in setup.channels.items() if channel.device == "rectifier"} == {
        "main-current": "current",
        "main-voltage": "voltage",
        "main-output-state": "output",
        "main-mode": "mode",
        "main-set-current": "set_current",
        "main-set-voltage": "set_voltage",
    }
    named = (supply.current, supply.voltage, supply.output_state, supply.mode, supply.set_current, supply.set_voltage)
    assert set(named) == setup.channels.keys() - {"acid-temperature"}


def test_every_name_in_a_setup_is_a_key_of_its_kind() -> None:
    setup = line_setup(load_line(PLAIN))
    for name, supply in setup.supplies.items():
        assert supply.name == name
        assert supply.output in setup.outputs
        assert supply.tank in setup.tanks
    assert all(tank.temperature in setup.channels for tank in setup.tanks.values())


def test_ratings_steps_and_densities_are_in_si() -> None:
    setup = line_setup(load_line(PLAIN))
    supply, anodize = setup.supplies["main"], setup.anodize
    assert (supply.rated_current_a, supply.rated_voltage_v, supply.cap_current_a) == (10.0, 60.0, 5.0)
    assert (supply.current_step_a, supply.voltage_step_v, supply.off_threshold_a) == (0.001, 0.01, 0.05)
    assert (supply.proof_deadline_s, supply.resend_s) == (1.0, 0.5)
    assert (supply.contactor, supply.device_time_out_s) == (None, None)
    assert (anodize.density_a_per_m2, anodize.highest_density_a_per_m2) == (150.0, 200.0)
    assert (anodize.ramp_s, anodize.ramp_step_s, anodize.margin, anodize.thickest_um) == (60.0, 6.0, 1.25, 35.0)
    assert (anodize.reached_fraction, anodize.lost_after_s) == (0.1, 1.0)
    assert setup.growth.best_um_m2_per_c == pytest.approx(0.32774 * 0.01 / 60, rel=1e-12)
    assert (setup.growth.area_limit, setup.growth.area_by_load_limit) == (0.05, 0.02)
    assert setup.tanks["acid"].acid_g_per_l == 165.0


@pytest.mark.parametrize(("speed", "age_s"), [(1.0, 24.0), (60.0, 60 * 2 * 2 * (0.15 + 0.08))])
def test_an_age_limit_is_four_periods_or_what_silent_neighbours_cost(speed: float, age_s: float) -> None:
    setup = line_setup(load_line(PLAIN), speed)
    assert setup.channels["main-current"].age_limit_s == pytest.approx(age_s)
    assert setup.supplies["main"].silent_after_s == setup.channels["main-current"].age_limit_s


def test_range_and_accuracy_of_a_channel_override_the_profile(written: Written) -> None:
    over = ('point = "t1"', 'point = "t1"\nrange = ["50 degF", "104 degF"]\naccuracy = "0.1 % of reading + 0.9 degF"')
    channel = line_setup(load_line(written(over))).channels["acid-temperature"]
    assert (channel.low, channel.high) == pytest.approx((10.0, 40.0))
    assert (channel.accuracy.of_reading, channel.accuracy.absolute) == pytest.approx((0.001, 0.5))
    plain = line_setup(load_line(written())).channels["acid-temperature"]
    assert (plain.low, plain.high, plain.accuracy) == (-20.0, 150.0, Accuracy(0.0, 1.0))


def test_a_set_point_is_as_exact_as_its_step_and_a_state_is_exact() -> None:
    channels = line_setup(load_line(PLAIN)).channels
    assert channels["main-set-current"].accuracy == Accuracy(0.0, 0.001)
    assert channels["main-mode"].accuracy == Accuracy(0.0, 0.0)
    assert (channels["main-mode"].unit, channels["main-mode"].high) == ("", 1.0)


def test_paths_start_from_the_line_file(written: Written, tmp_path: Path) -> None:
    line = load_line(written())
    settings = link_settings(line)["bus"]
    assert isinstance(settings, SerialSettings)
    assert settings.port == str(tmp_path / "links" / "bus")
    assert records_folder(line) == tmp_path / "records"
    assert (settings.baud, settings.parity, settings.stop_bits) == (19200, "E", 1)
    assert (settings.response_time_out_s, settings.quiet_after_silence_s) == (0.15, 0.08)


def test_the_hash_moves_with_the_line_file_and_with_its_profiles(written: Written) -> None:
    plain = load_line(written()).line_hash
    assert load_line(written()).line_hash == plain
    assert load_line(written(('ramp = "60 s"', 'ramp = "61 s"'))).line_hash != plain
    assert load_line(written(profile=(('worst_answer = "80 ms"', 'worst_answer = "81 ms"'),))).line_hash != plain


def test_acid_by_weight_is_grams_per_litre_by_the_density_of_the_handbook(written: Written) -> None:
    line = load_line(written(('acid = "165 g/L"', 'acid = "15 % by weight"')))
    assert line.document.tanks["acid"].acid == pytest.approx(165.3, abs=0.05)


@pytest.mark.parametrize("name", ["demo-line", "bench-metric", "bench-us"])
def test_the_example_lines_have_no_mistake(name: str) -> None:
    assert line_setup(load_line(CONFIG / f"{name}.toml")).supplies.keys() == {"main"}


def test_the_two_real_lines_mean_nearly_the_same() -> None:
    metric, us = (line_setup(load_line(CONFIG / f"bench-{system}.toml")) for system in ("metric", "us"))
    assert (metric.units, us.units) == ("metric", "us")
    assert us.growth.best_um_m2_per_c == pytest.approx(metric.growth.best_um_m2_per_c, rel=1e-4)
    assert us.tanks["acid"].acid_g_per_l == pytest.approx(metric.tanks["acid"].acid_g_per_l, rel=0.01)
    for limit in ("trip_low_c", "warn_low_c", "warn_high_c", "trip_high_c"):
        difference_c = getattr(us.tanks["acid"].band, limit) - getattr(metric.tanks["acid"].band, limit)
        assert abs(difference_c) < 0.3


def test_errors_of_areas_are_shares(written: Written) -> None:
    more = 'area_error = "3 %"\narea_error_by_load = "1 %"'
    growth = line_setup(load_line(written(("[growth]", f"[growth]\n{more}")))).growth
    assert (growth.area_limit, growth.area_by_load_limit) == pytest.approx((0.03, 0.01))


def test_what_a_calibration_may_correct_is_in_kelvin_and_shares(written: Written) -> None:
    assert line_setup(load_line(written())).calibration == CalibrationSetup(2.0, 0.02)
    more = '[calibration]\nlargest_temperature = "5.4 degF"\nlargest_of_rating = "5 %"\n\n[growth]'
    said = line_setup(load_line(written(("[growth]", more)))).calibration
    assert (said.largest_c, said.largest_of_rating) == pytest.approx((3.0, 0.05))
