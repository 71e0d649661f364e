"""A hot bath measured by a thermocouple whose wires end in a warm or a cold box: from the bath to the reading.

The simulated microcontroller sends the voltage between the bath and its box, to 0.1 uV, and the box's temperature, to
0.01 degC; the board driver, the polling and the channel make a bath temperature of them. What is left is rounding and
what the direct functions and their inversion differ by. Every type is read so over a link of its own, and type K as a
whole supervisor reads it that watches the example `config/scpi-and-board.toml`.
"""

from __future__ import annotations

import asyncio
import tempfile
from dataclasses import replace
from itertools import product
from pathlib import Path

from drivers.catalog import build_device, build_link
from drivers.points import DeviceMap, Field, Point, SerialSettings
from simulators.line import SimulatedLine
from simulators.plan import LinePlan, read_plan
from simulators.server import LineServer, LinkFolder
from supervisor.core.events import Event, Scanned
from supervisor.core.setup import Accuracy, ChannelSetup, ThermocoupleSetup
from supervisor.service.clock import Clock
from supervisor.service.dispatch import Outbox
from supervisor.service.polling import LinkRunner
from supervisor.service.turns import turns
from supervisor.trade.its90 import Kind
from tests.campaigns.figures import Figure
from tests.harness.virtual import InFlight, virtual_line
from tests.harness.virtual_loop import run_virtual, virtual_loop

SEED = 7
BATHS_C = (5.0, 20.0, 20.5, 55.0, 60.0, 96.0, 98.0)
"""A cold rinse, an acid at its band's ends, dyes, and seals; common practice, no source."""

BOXES_C = (5.0, 21.0, 25.0, 31.5, 45.0)
KINDS: tuple[Kind, ...] = ("K", "J", "T")
PERIOD_S = 0.5

_PLAN = """
version = 1
name = "boxes"
[tanks.bath]
volume_l = 8.0
acid_g_per_l = 165.0
start_c = 20.5
loss_w_per_c = 0.0
[sensors.bath]
tank = "bath"
lag_s = 1e12
noise_c = 0.0
[sensors.box]
lag_s = 1e12
noise_c = 0.0
[links.board]
kind = "serial text"
[devices.board]
kind = "microcontroller"
link = "board"
beat_period_ms = 500.0
groups = [ { period_ms = 500.0, fields = [
    { name = "cj", sensor = "box" },
    { name = "k", form = "microvolts", thermocouple = "K", sensor = "bath", cold_junction = "cj" },
    { name = "j", form = "microvolts", thermocouple = "J", sensor = "bath", cold_junction = "cj" },
    { name = "t", form = "microvolts", thermocouple = "T", sensor = "bath", cold_junction = "cj" },
] } ]
"""


def cold_junction_error() -> Figure:
    """The worst error over every bath, box and type, degC."""
    pairs = run_virtual(_readings()) + run_virtual(_example_readings())
    errors_c = [abs(found_c - true_c) for true_c, found_c in pairs]
    expected = len(BATHS_C) * len(BOXES_C) * (len(KINDS) + 1)
    if len(errors_c) != expected:
        raise RuntimeError(f"{len(errors_c)} readings, not {expected}")
    return Figure("cold_junction_error_c", max(errors_c), "<= 0.05", len(errors_c), SEED, "virtual", timing=False)


async def _readings() -> list[tuple[float, float]]:
    """The bath's true temperature and what was read of it, degC, for every bath, box and type."""
    loop = virtual_loop()
    with tempfile.TemporaryDirectory(prefix="ampm-") as name:
        folder = Path(name)
        plan_file = folder / "boxes.toml"
        plan_file.write_text(_PLAN, encoding="utf-8")
        server = LineServer(read_plan(plan_file), now=loop.time, tell=lambda _truth: None, seed=SEED)
        links = server.folder = LinkFolder(folder / "links", server.places())
        flight = InFlight(server)
        loop.carriers.append(flight)
        settings = SerialSettings("board", "serial text", 1.0, 0.0, port=str(folder / "links" / "board"), baud=115200)
        link = build_link(settings, loop.time, flight.trace)
        clock = Clock(loop.time, loop.time)
        due = turns({"board": build_device(link, _board())}, _channels(), clock)
        scans: asyncio.Queue[Event] = asyncio.Queue()
        running = asyncio.create_task(
            LinkRunner(Outbox(), due, {}, {}, 1.0, clock).run(scans.put_nowait, lambda: None, lambda: True)
        )
        try:
            return await _read_all(server.line, scans)
        finally:
            running.cancel()
            await asyncio.wait({running})
            await link.close()
            server.close()
            links.remove()
            loop.carriers.remove(flight)


async def _example_readings() -> list[tuple[float, float]]:
    """The same of the example's bath: its file, its profile and its channel, what they say of units included."""
    async with virtual_line(base="scpi-and-board", plan=_calm) as line:
        await line.start(watch_only=True)
        sensors, found = line.simulated.sensors, []
        for bath_c, box_c in product(BATHS_C, BOXES_C):
            sensors["acid-top"].sheath_c, sensors["air"].sheath_c = bath_c, box_c
            await line.pass_time(4 * PERIOD_S)
            value_c = line.state.channels["acid-temperature"].shown  # baths do not move so fast: believed it is not
            if value_c is None:
                raise RuntimeError(f"the example reads nothing at {bath_c:g} degC from a box at {box_c:g} degC")
            found.append((bath_c, value_c))
        return found


def _calm(plan: LinePlan) -> LinePlan:
    """Sensors that show what they are set to."""
    sensors = {name: replace(of, lag_s=1e12, noise_c=0.0) for name, of in plan.sensors.items()}
    return replace(plan, sensors=sensors)


async def _read_all(line: SimulatedLine, scans: asyncio.Queue[Event]) -> list[tuple[float, float]]:
    found = []
    for bath_c, box_c in product(BATHS_C, BOXES_C):
        line.sensors["bath"].sheath_c, line.sensors["box"].sheath_c = bath_c, box_c
        await asyncio.sleep(4 * PERIOD_S)  # what was said before is read by then
        while not scans.empty():
            scans.get_nowait()
        scan = await asyncio.wait_for(scans.get(), 10.0)
        assert isinstance(scan, Scanned)
        for reading in scan.readings:
            if reading.value is None:
                raise RuntimeError(f"{reading} at {bath_c:g} degC from a box at {box_c:g} degC")
            found.append((bath_c, reading.value))
    return found


def _board() -> DeviceMap:
    points: list[Point] = [Field("cj", unit="degC", low=-20, high=80)]
    points += [Field(kind.lower(), unit="V", low=-0.006, high=0.06, scale=1e-6) for kind in KINDS]
    return DeviceMap("board", "sentence board", 0, {point.name: point for point in points}, 0.05)


def _channels() -> list[ChannelSetup]:
    return [
        ChannelSetup(
            f"seal-{kind}", "board", kind.lower(), "degC", -20.0, 120.0, Accuracy(0, 1.5), PERIOD_S, 5.0,
            ThermocoupleSetup(kind, "cj"),
        )
        for kind in KINDS
    ]  # fmt: skip
