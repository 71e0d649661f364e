"""Links, devices and how they are asked: each mistake is told where it stands, with what would be right."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from drivers.points import SerialSettings, TcpSettings
from drivers.registers import Register, RegisterMap, groups_of
from supervisor.config.load import load_line
from supervisor.config.setup import device_maps, line_setup, link_settings, worst_off_delays
from supervisor.config.wire import host_and_port
from supervisor.config.wiring import wiring
from tests.config.conftest import CONFIG, Edit, Written, told

KNOBS, CORNER = "knob-supply.toml", "scpi-and-board.toml"

MISTAKES: list[tuple[str, str, tuple[Edit, ...], str, str, str]] = [
    ("a host for a serial port", KNOBS, (("parity =", 'host = "x"\nparity ='),), "links.bus.host", "none", "remove it"),
    ("a speed for a host", CORNER, (('host = "', 'speed = "9600 baud"\nhost = "'),), "links.network.speed", "none", ""),
    ("no host", CORNER, (('host = "192.0.2.10:502"\n', ""),), "links.network.host", "missing", "192.0.2.10"),
    ("a port that is none", CORNER, ((":502", ":5o2"),), "links.network.host", "'5o2' is no port", "192.0.2.10:502"),
    ("no port", KNOBS, (('port = "/dev/ttyUSB0" ', "# "),), "links.bus.port", "missing", "add port"),
    ("no speed", KNOBS, (('speed = "38400 baud"\n', ""),), "links.bus.speed", "missing", "19200 baud"),
    (
        "one host twice, in two spellings",
        CORNER,
        (("[devices.rectifier]", '[links.other]\nkind = "modbus tcp"\nhost = "192.0.2.10"\n[devices.rectifier]'),),
        "links.other.host",
        "links.network has the same",
        "one link",
    ),
    (
        "one port twice",
        CORNER,
        (("/dev/ttyACM0", "/dev/ttyUSB0"),),
        "links.board.port",
        "links.supply has the same",
        "one link",
    ),
    ("a unit for text", CORNER, (('link = "board"', 'link = "board"\nunit = 3'),), "devices.board.unit", "no unit", ""),
    ("no unit for Modbus", CORNER, (("unit = 1\n", ""),), "devices.relays.unit", "missing", "1 to 247"),
    (
        "a driver on a foreign link",
        CORNER,
        (('link = "board"\n', 'link = "network"\nunit = 9\n'),),
        "devices.board.link",
        "does not work on a link of kind 'modbus tcp'",
        "serial text",
    ),
    (
        "two that speak in text on one link",
        CORNER,
        (('link = "board"\n', 'link = "supply"\n'),),
        "devices.board.link",
        "only one device speaks there",
        "a link of its own",
    ),
    (
        "a period for nothing",
        CORNER,
        (('output = "1 s"', 'outptu = "1 s"'),),
        "devices.rectifier.periods.outptu",
        "no point 'outptu'",
        "did you mean output?",
    ),
]


@pytest.mark.parametrize(
    ("base", "edits", "path", "problem", "right"), [row[1:] for row in MISTAKES], ids=[row[0] for row in MISTAKES]
)
def test_a_mistake_of_a_wire_is_told_where_it_stands(
    written: Written, base: str, edits: tuple[Edit, ...], path: str, problem: str, right: str
) -> None:
    mistake = told(written(*edits, base=base))[path]
    assert problem in mistake.problem
    assert right in mistake.right


def with_timing(written: Written, timing: str) -> Path:
    """The line with knobs, its relay board asking for more than usual."""
    path = written(base=KNOBS)
    board = path.parent / "profiles" / "relay-board.toml"
    text = board.read_text(encoding="utf-8")
    board.write_text(text.replace('worst_answer = "40 ms"', f'worst_answer = "40 ms"\n{timing}'), encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("timing", "problem"),
    [
        ('quiet = "101 ms"', "rests 101 ms after each exchange"),
        ("open_each_scan = true", "opened anew for each reading"),
    ],
)
def test_no_output_sits_where_its_off_would_wait(written: Written, timing: str, problem: str) -> None:
    mistakes = told(with_timing(written, timing))
    assert problem in mistakes["outputs.main-contactor.device"].problem
    assert problem in mistakes["outputs.fan.device"].problem


def test_an_output_may_sit_on_a_link_that_rests_a_tenth_of_a_second(written: Written) -> None:
    assert load_line(with_timing(written, 'quiet = "100 ms"'))


@pytest.mark.parametrize(
    ("host", "split"),
    [
        ("192.0.2.10", ("192.0.2.10", 502)),
        ("192.0.2.10:1502", ("192.0.2.10", 1502)),
        ("relays.example", ("relays.example", 502)),
        ("[2001:db8::1]", ("2001:db8::1", 502)),
        ("[2001:db8::1]:1502", ("2001:db8::1", 1502)),
    ],
)
def test_a_host_may_name_its_port_and_else_has_the_one_assigned_to_modbus(host: str, split: tuple[str, int]) -> None:
    assert host_and_port(host) == split


def test_a_link_takes_the_rests_of_its_most_demanding_device(written: Written) -> None:
    bus = link_settings(load_line(with_timing(written, 'settle = "30 ms"')))["bus"]
    assert (bus.quiet_s, bus.settle_s, bus.opens_each_scan) == (0.02, 0.03, False)


@pytest.mark.parametrize(("base", "waits_s"), [(CORNER, 0.1), (KNOBS, 0.0)], ids=["over TCP", "on a serial port"])
def test_after_a_time_out_an_off_over_tcp_waits_for_a_new_connection_to_settle(
    written: Written, base: str, waits_s: float
) -> None:
    """A serial port stays open."""
    path = written(base=base)
    before_s = worst_off_delays(load_line(path))["main-contactor"].quiet_s
    board = path.parent / "profiles" / "relay-board.toml"
    text = board.read_text(encoding="utf-8").replace('"40 ms"', '"40 ms"\nsettle = "100 ms"')
    board.write_text(text, encoding="utf-8")
    assert worst_off_delays(load_line(path))["main-contactor"].quiet_s == pytest.approx(before_s + waits_s)


def test_a_late_reading_may_have_waited_for_rests_and_openings_of_silent_neighbours(written: Written) -> None:
    path = with_timing(written, 'quiet = "100 ms"')
    channel = line_setup(load_line(path), speed := 1000.0).channels["acid-temperature"]
    on_link, bus = 3, link_settings(load_line(path))["bus"]
    assert channel.age_limit_s == pytest.approx(
        speed * 2 * on_link * (bus.response_time_out_s + bus.quiet_after_silence_s + 0.1)
    )


def test_each_kind_of_link_comes_out_as_its_own_settings() -> None:
    links = link_settings(load_line(CONFIG / CORNER))
    assert {name: (type(settings), settings.kind) for name, settings in links.items()} == {
        "supply": (SerialSettings, "serial text"),
        "board": (SerialSettings, "serial text"),
        "network": (TcpSettings, "modbus tcp"),
    }


def test_a_profile_says_how_registers_are_read_together() -> None:
    meter = device_maps(load_line(CONFIG / KNOBS))["meter"]
    assert isinstance(meter, RegisterMap)
    assert (meter.widest_hole, meter.longest_read, meter.quiet_s) == (6, 16, 0.02)
    assert [[point.name for point in group] for group in groups_of(meter)] == [["current", "voltage"]]
    current = meter.points["current"]
    assert isinstance(current, Register)
    assert (current.kind, current.order, current.scale) == ("float32", "CDAB", 0.1)


@pytest.mark.parametrize(("device", "output"), [("board", "fan"), ("relays", "horn")])
def test_an_output_whose_states_were_changed_over_is_wired_otherwise(device: str, output: str) -> None:
    line = load_line(CONFIG / CORNER)
    before = wiring(line)
    points, point = line.profiles[device].points, line.document.outputs[output].point
    assert point is not None
    changed = points | {point: replace(points[point], states={0: "on", 1: "off"})}
    profile = replace(line.profiles[device], points=changed)
    after = wiring(replace(line, profiles={**line.profiles, device: profile}))
    assert {name for name in after if after[name] != before[name]} == {output}


def test_each_channel_has_its_own_period_and_the_others_their_devices() -> None:
    channels = line_setup(load_line(CONFIG / CORNER)).channels
    periods = {name: channels[f"main-{name}"].period_s for name in ("current", "output-state", "voltage", "mode")}
    assert periods == {"current": 0.5, "output-state": 1.0, "voltage": 2.0, "mode": 2.0}


def test_the_off_delay_counts_every_off_that_may_go_first_on_its_link(written: Written) -> None:
    alone = worst_off_delays(load_line(written(base=KNOBS)))["main-contactor"]
    heater = '[outputs.heater]\nrole = "heater"\ndevice = "relays"\npoint = "k3"\nsafe = "off"\n\n[outputs.fan]'
    shared = worst_off_delays(load_line(written(("[outputs.fan]", heater), base=KNOBS)))["main-contactor"]
    assert alone.ahead_s == 0.0
    assert shared.ahead_s == pytest.approx(shared.own_s)
