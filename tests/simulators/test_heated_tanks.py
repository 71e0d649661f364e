"""Hot tanks: heat in, heat to the room, boiling, and what a heater does that hangs in the air."""

from __future__ import annotations

from pathlib import Path

import pytest

from simulators.faults import read_faults
from simulators.line import SimulatedLine, names_of
from simulators.tables import FileError, Reader
from tests.simulators.lines import BASE, made

BTU_PER_H = 0.29307107  # W
FT2 = 0.09290304  # m2

HOT = """
[tanks.seal]
volume_l = {volume_l}
acid_g_per_l = 0.0
start_c = {start_c}
{loss}

[switches.heater]
kind = "heater"
tank = "seal"
power_w = {power_w}

[switches.cooling]
kind = "cooling"
tank = "acid"
power_w = 400.0

[contacts.seal-level]
kind = "level"
tank = "seal"

[contacts.acid-level]
kind = "level"
tank = "acid"

[sensors.seal]
tank = "seal"
lag_s = 40.0
noise_c = 0.0
"""


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32.0) / 1.8


class Hot:
    """A line with a hot tank, its heater on."""

    def __init__(
        self, folder: Path, *, volume_l: float = 20.0, start_c: float = 60.0, loss: str = "loss_w_per_c = 0.0",
        power_w: float = 2000.0, room_c: float = 21.0,
    ) -> None:  # fmt: skip
        text = HOT.format(volume_l=volume_l, start_c=start_c, loss=loss, power_w=power_w)
        self.plan = made(folder, text, BASE.replace('name = "test"', f'name = "test"\nroom_c = {room_c}'))
        self.line = SimulatedLine(self.plan, seed=1)
        self.line.switches["heater"].command(on=True)

    @property
    def water_c(self) -> float:
        return self.line.baths["seal"].bath_c

    def fault(self, what: str, **keys: object) -> None:
        for fault in read_faults(Reader({"what": what, **keys}, ""), names_of(self.plan), self.line.now_s):
            self.line.add_fault(fault)

    def rise_c(self, over_s: float) -> float:
        before_c = self.water_c
        self.line.advance(self.line.now_s + over_s)
        return self.water_c - before_c

    def hours_to(self, water_c: float) -> float:
        while self.water_c < water_c:
            self.line.advance(self.line.now_s + 1.0)
        return self.line.now_s / 3600.0


def test_40_us_gallons_rise_from_60_to_120_degf_by_4500_w_in_1_30_h_without_loss(tmp_path: Path) -> None:
    # A published example of heat-up time: 40 US gal, 60 to 120 degF, 4500 W, 1.30 h.
    hot = Hot(tmp_path, volume_l=40 * 3.785412, start_c=celsius(60), power_w=4500.0)
    assert hot.hours_to(celsius(120)) == pytest.approx(1.30, abs=0.01)


def test_200_l_rise_from_20_to_96_degc_in_2_h_by_8_74_kw_without_loss(tmp_path: Path) -> None:
    # Derived from the specific heat of water and its density when hot; ours is that of a litre filled in cold.
    assert Hot(tmp_path, volume_l=200.0, start_c=20.0, power_w=8740.0).hours_to(96.0) == pytest.approx(2.0, rel=0.02)


@pytest.mark.parametrize(
    ("water_f", "loss"), [(90, 130), (110, 330), (140, 820), (160, 1310), (180, 2000), (200, 3000)]
)
def test_an_open_tank_loses_to_still_air_at_60_degf_what_the_published_table_says(
    tmp_path: Path, water_f: float, loss: float
) -> None:
    # Engineering ToolBox, "Heat loss from open water tanks", whole loss in Btu/(h*ft2); the sources differ by 30 %.
    hot = Hot(tmp_path, start_c=celsius(water_f), loss=f"open_surface_m2 = {FT2}", power_w=0.0, room_c=celsius(60))
    lost_w = -hot.rise_c(10.0) * 20.0 * 4180.0 / 10.0
    assert lost_w / BTU_PER_H == pytest.approx(loss, rel=0.01)


def test_the_loss_is_scaled_where_the_file_says_so_and_walls_add_theirs(tmp_path: Path) -> None:
    loss = f"open_surface_m2 = {FT2}\nopen_loss_factor = 0.7\nloss_w_per_c = 3.0"
    hot = Hot(tmp_path, start_c=celsius(180), loss=loss, power_w=0.0, room_c=celsius(60))
    lost_w = -hot.rise_c(10.0) * 20.0 * 4180.0 / 10.0
    assert lost_w == pytest.approx(0.7 * 2000 * BTU_PER_H + 3.0 * 120 / 1.8, rel=0.01)


def test_water_as_warm_as_the_room_loses_nothing_and_hot_air_warms_it(tmp_path: Path) -> None:
    still = Hot(tmp_path, start_c=30.0, loss="open_surface_m2 = 0.1", power_w=0.0, room_c=30.0)
    assert still.rise_c(600.0) == 0.0
    assert Hot(tmp_path, start_c=30.0, loss="open_surface_m2 = 0.1", power_w=0.0, room_c=35.0).rise_c(600.0) > 0.0


def test_a_heater_too_weak_for_its_open_tank_never_reaches_its_mark(tmp_path: Path) -> None:
    # Knowledge of the trade, from memory: some heaters never do.
    hot = Hot(tmp_path, start_c=80.0, loss="open_surface_m2 = 0.3", power_w=2000.0)
    hot.line.advance(6 * 3600.0)
    assert hot.water_c < 90.0
    assert abs(hot.rise_c(600.0)) < 0.05


def test_no_heat_makes_it_hotter_than_boiling_at_one_atmosphere(tmp_path: Path) -> None:
    hot = Hot(tmp_path, start_c=96.0)
    hot.line.advance(3600.0)
    assert hot.water_c == 100.0
    hot.line.switches["heater"].command(on=False)
    assert hot.rise_c(60.0) == 0.0


def test_where_the_level_has_fallen_the_contact_opens_and_the_heat_goes_into_the_air(tmp_path: Path) -> None:
    hot = Hot(tmp_path)
    heated_c = hot.rise_c(60.0)
    assert heated_c == pytest.approx(2000.0 * 60.0 / (20.0 * 4180.0))
    hot.fault("level falls", tank="seal", for_s=600.0)
    contacts = hot.line.contacts
    assert (contacts["seal-level"].is_closed, contacts["acid-level"].is_closed) == (False, True)
    assert hot.rise_c(599.0) == 0.0
    hot.line.advance(hot.line.now_s + 1.0)
    assert contacts["seal-level"].is_closed
    assert hot.rise_c(60.0) == pytest.approx(heated_c)


def test_a_broken_heater_is_on_and_gives_no_heat_until_it_is_mended(tmp_path: Path) -> None:
    hot = Hot(tmp_path)
    hot.fault("heater broken", switch="heater", for_s=60.0)
    assert hot.line.switches["heater"].is_on
    assert hot.rise_c(60.0) == 0.0
    assert hot.rise_c(60.0) > 1.0


def test_a_sensor_out_of_its_liquid_goes_to_the_rooms_air_and_back(tmp_path: Path) -> None:
    hot = Hot(tmp_path, start_c=96.0, power_w=0.0)
    hot.fault("sensor out", sensor="seal", for_s=400.0)
    hot.line.advance(40.0)
    # One time constant: 63 % of the way.
    assert hot.line.sensors["seal"].read() == pytest.approx(21.0 + 75.0 * 0.3679, abs=0.1)
    hot.line.advance(400.0)
    assert hot.line.sensors["seal"].read() == pytest.approx(21.0, abs=0.1)
    hot.line.advance(800.0)
    assert hot.line.sensors["seal"].read() == pytest.approx(96.0, abs=0.1)


def test_a_sensor_in_the_wrong_socket_shows_one_value_without_noise_until_it_is_back(tmp_path: Path) -> None:
    hot = Hot(tmp_path, start_c=96.0, power_w=0.0)
    hot.fault("sensor shows", sensor="seal", value_c=25.0, for_s=60.0)
    assert {hot.line.sensors["seal"].read() for _ in range(5)} == {25.0}
    hot.line.advance(60.0)
    assert hot.line.sensors["seal"].read() == pytest.approx(96.0, abs=0.1)


def test_a_cooling_switch_cools_a_tank_without_a_coil_until_its_cooling_fails(tmp_path: Path) -> None:
    hot = Hot(tmp_path)
    bath = hot.line.baths["acid"]
    hot.line.switches["cooling"].command(on=True)
    hot.line.advance(600.0)
    # 8 L of 16.5 % acid, 4.039 kJ/(L*K) (Laliberté correlation).
    assert bath.bath_c == pytest.approx(20.5 - 400.0 * 600.0 / (8 * 4039), abs=1e-6)
    before_c = bath.bath_c
    hot.fault("cooling fails", tank="acid")
    hot.line.advance(1200.0)
    assert bath.bath_c == before_c


def test_no_cooling_takes_a_bath_below_its_coolant(tmp_path: Path) -> None:
    hot = Hot(tmp_path)
    hot.line.switches["cooling"].command(on=True)
    hot.line.advance(9 * 3600.0)
    assert 1.9 <= hot.line.baths["acid"].bath_c <= 2.0


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ("acid_g_per_l = 165.0", "acid_g_per_l = 5.0", "acid_g_per_l"),
        ("acid_g_per_l = 165.0", "acid_g_per_l = 0.0", "supplies.main.tank"),
        ("start_c = 20.5", "start_c = 101.0", "start_c"),
        ("loss_w_per_c = 0.0", "", "loss_w_per_c"),
        ("loss_w_per_c = 0.0", "loss_w_per_c = 0.0\nopen_loss_factor = 0.7", "open_loss_factor"),
    ],
)
def test_a_tank_that_cannot_be_is_refused_by_its_key(tmp_path: Path, old: str, new: str, named: str) -> None:
    with pytest.raises(FileError, match=named):
        made(tmp_path, "", BASE.replace(old, new))


def test_only_a_heater_breaks_as_one(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="switch"):
        Hot(tmp_path).fault("heater broken", switch="cooling")
