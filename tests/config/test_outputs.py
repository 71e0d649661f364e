"""Outputs, contacts, contactors and supplies with knobs: what does not fit together is told, each alone."""

from __future__ import annotations

import pytest

from supervisor.config.fitted import not_fitted
from supervisor.config.load import load_line
from supervisor.config.setup import line_setup
from supervisor.core.setup import HeartbeatSetup, ThermocoupleSetup
from tests.config.conftest import CONFIG, Edit, Written, assert_told, mistakes_in

KNOBS, CORNER = "knob-supply.toml", "scpi-and-board.toml"
OUTPUT = 'contactor = "main-contactor"\nrated'

MISTAKES: list[tuple[str, str, tuple[Edit, ...], str, str, str]] = [
    (
        "an unsafe contactor",
        KNOBS,
        (('safe = "open"', 'safe = "on"'),),
        "outputs.main-contactor.safe",
        "no safe state of a contactor",
        'safe = "open"',
    ),
    (
        "an open fan",
        KNOBS,
        (('safe = "on"', 'safe = "open"'),),
        "outputs.fan.safe",
        "no safe state of a fan over a tank with a supply",
        'write safe = "on"',
    ),
    (
        "an unsafe heater",
        KNOBS,
        (('role = "fan"', 'role = "heater"'),),
        "outputs.fan.safe",
        "no safe state of a heater",
        'safe = "off"',
    ),
    ("no point", KNOBS, (('point = "k2"\n', ""),), "outputs.fan.point", "missing", "point of its device"),
    (
        "a point that is not there",
        KNOBS,
        (('point = "k2"', 'point = "k22"'),),
        "outputs.fan.point",
        "is not there",
        "did you mean k2?",
    ),
    (
        "a point that is no switch",
        KNOBS,
        (('point = "k2"', 'point = "in3"'),),
        "outputs.fan.point",
        "is no switch",
        "k2",
    ),
    (
        "one point twice",
        KNOBS,
        (('point = "k2"', 'point = "k1"'),),
        "outputs.fan.point",
        "main-contactor has this point",
        "its own",
    ),
    (
        "a point of a supply output",
        CORNER,
        (('safe = "off"', 'safe = "off"\npoint = "k1"'),),
        "outputs.main-output.point",
        "knows its own",
        "remove it",
    ),
    (
        "an unknown device",
        KNOBS,
        (('device = "relays"\npoint = "k2"', 'device = "relay"\npoint = "k2"'),),
        "outputs.fan.device",
        "no module device 'relay'",
        "did you mean relays?",
    ),
    (
        "an auxiliary that is none",
        KNOBS,
        (('auxiliary = "main-contactor-shut"', 'auxiliary = "air-flow"'),),
        "outputs.main-contactor.auxiliary",
        "no auxiliary contact 'air-flow'",
        "main-contactor-shut",
    ),
    (
        "an auxiliary of a fan",
        KNOBS,
        (('point = "k2"', 'point = "k2"\nauxiliary = "main-contactor-shut"'),),
        "outputs.fan.auxiliary",
        "a fan has none",
        "remove it",
    ),
    (
        "an auxiliary nobody names",
        KNOBS,
        (('auxiliary = "main-contactor-shut"\n', ""),),
        "contacts.main-contactor-shut",
        "no contactor has",
        "name it",
    ),
    (
        "a contactor nobody names",
        KNOBS,
        (('[outputs.fan]\nrole = "fan"', '[outputs.fan]\nrole = "contactor"'), ('safe = "on"', 'safe = "open"')),
        "outputs.fan",
        "no supply has this contactor",
        "name it",
    ),
    (
        "a contact that is none",
        KNOBS,
        (('point = "in2"', 'point = "k3"'),),
        "contacts.air-flow.point",
        "is no contact",
        "in2",
    ),
    (
        "a contact without a tank",
        KNOBS,
        (('point = "in2"', 'point = "in2"\ntank = "acit"'),),
        "contacts.air-flow.tank",
        "no tank 'acit'",
        "did you mean acid?",
    ),
    (
        "knobs with an output",
        KNOBS,
        ((OUTPUT, 'output = "fan"\n' + OUTPUT),),
        "supplies.main.output",
        "nothing switches",
        "remove it",
    ),
    (
        "knobs without a contactor",
        KNOBS,
        ((OUTPUT, "rated"),),
        "supplies.main.contactor",
        "missing",
        'control = "none"',
    ),
    (
        "no control but a contactor",
        KNOBS,
        (('control = "contactor" ', 'control = "none" # '),),
        "supplies.main.contactor",
        "with a contactor",
        'control = "contactor"',
    ),
    (
        "knobs with a time-out",
        KNOBS,
        ((OUTPUT, 'device_time_out = "3 s"\n' + OUTPUT),),
        "supplies.main.device_time_out",
        "has none",
        "remove it",
    ),
    (
        "a remote supply without an output",
        CORNER,
        (('output = "main-output"\n', ""),),
        "supplies.main.output",
        "missing",
        "knobs",
    ),
    (
        "a contactor that is a horn",
        CORNER,
        (('contactor = "main-contactor" ', 'contactor = "horn" # '),),
        "supplies.main.contactor",
        "no contactor 'horn'",
        "main-contactor",
    ),
    (
        "a supply metered by nothing",
        KNOBS,
        (('device = "meter"', 'device = "relays"'),),
        "supplies.main.device",
        "no point 'current'",
        "such points",
    ),
    (
        "knobs named as a supply's driver",
        CORNER,
        (('tank = "acid"\noutput = "main-output"', 'tank = "acid"\ncontrol = "contactor"'),),
        "supplies.main.device",
        "no module device",
        "board",
    ),
    (
        "a channel of a contact's name",
        KNOBS,
        (
            (
                "[channels.acid-temperature]",
                '[channels.air-flow]\ndevice = "thermometer"\npoint = "t2"\n\n[channels.acid-temperature]',
            ),
        ),
        "channels.air-flow",
        "contact air-flow makes",
        "rename",
    ),
    (
        "a thermocouple without its junction",
        CORNER,
        (('cold_junction = "cj"\n', ""),),
        "channels.acid-temperature.cold_junction",
        "missing",
        "cold junction",
    ),
    (
        "a junction that is no temperature",
        CORNER,
        (('cold_junction = "cj"', 'cold_junction = "e1"'),),
        "channels.acid-temperature.cold_junction",
        "no temperature 'e1'",
        "t1",
    ),
    (
        "a thermocouple of a temperature",
        CORNER,
        (('point = "e1"', 'point = "t1"'),),
        "channels.acid-temperature.point",
        "is no voltage",
        "uV",
    ),
    (
        "a junction without a thermocouple",
        CORNER,
        (('thermocouple = "K"\n', ""),),
        "channels.acid-temperature.cold_junction",
        "no thermocouple",
        "remove it",
    ),
    (
        "one name for two things",
        CORNER,
        (("[outputs.horn]", "[outputs.acid]"),),
        "outputs.acid",
        "tanks.acid has this name",
        "name of its own",
    ),
]


@pytest.mark.parametrize(
    ("base", "edits", "path", "problem", "right"), [row[1:] for row in MISTAKES], ids=[row[0] for row in MISTAKES]
)
def test_what_does_not_fit_together_is_told_where_it_stands(
    written: Written, base: str, edits: tuple[Edit, ...], path: str, problem: str, right: str
) -> None:
    assert_told(written(*edits, base=base), path, problem, right)


def test_a_supply_without_any_actuator_needs_no_output_at_all(written: Written) -> None:
    text = (CONFIG / KNOBS).read_text(encoding="utf-8")
    gone = text[text.index("[outputs.main-contactor]") : text.index("[contacts.air-flow]")]
    path = written(
        (gone, ""), ('contactor = "main-contactor"\n', ""), ('control = "contactor"', 'control = "none"'), base=KNOBS
    )
    setup = line_setup(load_line(path))
    assert (setup.supplies["main"].control, setup.outputs) == ("none", {})
    (missing,) = (told for told in not_fitted(load_line(path)) if "Supply main" in told)
    assert "nothing here can switch it off" in missing
    assert "leave a run made by hand as it is" in missing


def test_what_off_first_does_to_a_run_made_by_hand_is_told_of_a_contactor() -> None:
    told_of = " ".join(not_fitted(load_line(CONFIG / KNOBS)))
    assert "Every start and end of the supervisor opens the contactor" in told_of
    assert "a run made by hand ends then" in told_of


def test_a_contactor_nobody_sees_and_a_board_that_keeps_its_outputs_are_told(written: Written) -> None:
    text = (CONFIG / KNOBS).read_text(encoding="utf-8")
    contact = text[text.index("[contacts.main-contactor-shut]") : text.index("[contacts.air-flow]")]
    path = written((contact, ""), ('auxiliary = "main-contactor-shut"\n', ""), base=KNOBS)
    told_of = " ".join(not_fitted(load_line(path)))
    assert "Contactor main-contactor has no auxiliary contact" in told_of
    assert "Device relays keeps its outputs (fan, main-contactor)" in told_of


def test_a_second_means_is_not_missed_where_it_is_fitted() -> None:
    assert "second means" not in " ".join(not_fitted(load_line(CONFIG / CORNER)))


def test_a_supply_with_knobs_comes_to_the_core_with_what_is_metered_and_nothing_more() -> None:
    setup = line_setup(load_line(CONFIG / KNOBS))
    supply = setup.supplies["main"]
    assert (supply.control, supply.contactor, supply.output) == ("contactor", "main-contactor", "")
    assert (supply.current, supply.voltage) == ("main-current", "main-voltage")
    assert {supply.output_state, supply.mode, supply.set_current, supply.set_voltage} == {""}
    assert {name for name in setup.channels if name.startswith("main-")} == {
        "main-current", "main-voltage", "main-contactor-shut",
    }  # fmt: skip


def test_outputs_and_contacts_come_to_the_core_as_they_are_wired() -> None:
    setup = line_setup(load_line(CONFIG / KNOBS))
    contactor, fan = setup.outputs["main-contactor"], setup.outputs["fan"]
    assert (contactor.role, contactor.safe_on, contactor.device, contactor.point) == (
        "contactor",
        False,
        "relays",
        "k1",
    )
    assert contactor.auxiliary == setup.contacts["main-contactor-shut"].channel == "main-contactor-shut"
    assert (fan.role, fan.safe_on, fan.point) == ("fan", True, "k2")
    assert setup.channels["air-flow"].point == "in2"


def test_a_heartbeat_holds_the_supplies_that_hang_on_its_device_and_is_missed_first() -> None:
    setup = line_setup(load_line(CONFIG / CORNER))
    beat = setup.heartbeats["board"]
    assert beat == HeartbeatSetup("board", "board-heartbeat", beat.silent_after_s, ("main",))
    assert beat.silent_after_s < setup.channels["acid-temperature"].age_limit_s


def test_a_thermocouples_voltage_comes_to_the_core_as_a_temperature() -> None:
    channel = line_setup(load_line(CONFIG / CORNER)).channels["acid-temperature"]
    assert channel.thermocouple == ThermocoupleSetup("K", "cj")
    assert (channel.unit, channel.low, channel.high) == ("degC", -20.0, 120.0)


@pytest.mark.parametrize(
    "base", ["bench-metric.toml", "bench-us.toml", "demo-line.toml", KNOBS, CORNER, "acid-and-seal.toml"]
)
def test_every_example_line_is_without_mistakes(written: Written, base: str) -> None:
    assert load_line(written(base=base))


def test_a_scale_and_states_make_a_modules_points_what_they_are(written: Written) -> None:
    path = written(base=KNOBS)
    board = path.parent / "profiles" / "relay-board.toml"
    text = board.read_text(encoding="utf-8").replace('{ 0 = "open", 1 = "closed" }', '{ 0 = "shut", 1 = "open" }', 1)
    board.write_text(text, encoding="utf-8")
    (mistake,) = mistakes_in(path)
    assert mistake.key_path == "profiles/relay-board.toml: points.in1.states"
    assert '{ 0 = "open", 1 = "closed" }' in mistake.right


def test_a_relay_that_is_a_coil_is_switched_by_0_and_1_alone(written: Written) -> None:
    """A coil knows no 2: written as its truth, an off of 2 would switch it on."""
    path = written(base=KNOBS)
    board = path.parent / "profiles" / "relay-board.toml"
    text = board.read_text(encoding="utf-8").replace('{ 0 = "off", 1 = "on" }', '{ 2 = "off", 1 = "on" }', 1)
    board.write_text(text, encoding="utf-8")
    (mistake,) = mistakes_in(path)
    assert mistake.key_path == "profiles/relay-board.toml: points.k1.states"
    assert "0 or 1" in mistake.problem
