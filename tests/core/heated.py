"""A line with a heated seal tank, a cooled acid tank, and fans that rest: for heating, cooling and air."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

from supervisor.core.actions import Answer, Switch
from supervisor.core.events import Quality, Reading, Scanned
from supervisor.core.setup import Accuracy, ChannelSetup, ContactSetup, LineSetup, OutputSetup, WatchSetup
from supervisor.core.tank_setup import BandSetup, CoolingSetup, HeatingSetup, TankSetup
from supervisor.trade.boiling import heats_c_per_s
from tests.core.kit import Bench
from tests.core.plain import line_setup
from tests.core.run_ups import once

HEATING = HeatingSetup(
    output="seal-heater",
    hold_c=90.0,
    band_c=2.0,
    least_on_s=20.0,
    least_off_s=30.0,
    rise_c_per_s=heats_c_per_s(2000.0, 40.0),
    rise_within_s=600.0,
    level="seal-level",
    attended_s=None,
)
COOLING = CoolingSetup("chiller", hold_c=20.0, band_c=1.0, least_on_s=60.0, least_off_s=240.0, fall_within_s=900.0)
EXACT = Accuracy(0.0, 0.0)


@cache
def heated_setup(heating: HeatingSetup = HEATING, cooling: CoolingSetup = COOLING) -> LineSetup:
    """The plain line with a seal tank of 40 L under 2 kW, its level contact, and a chiller for the acid."""
    plain = line_setup()
    channels = {
        **plain.channels,
        "seal-temperature": ChannelSetup(
            "seal-temperature", "thermometer", "seal-t", "degC", -20.0, 150.0, Accuracy(0.0, 1.0), 0.4, 3.0
        ),
        "seal-level": ChannelSetup("seal-level", "inputs", "in1", "", 0.0, 1.0, EXACT, 0.4, 3.0),
        "air": ChannelSetup("air", "inputs", "in2", "", 0.0, 1.0, EXACT, 0.4, 3.0),
    }
    seal = TankSetup("seal", "seal", 40.0, 0.0, "seal-temperature", BandSetup(1, 5, 97, 99, 0.3, 10.0), heating=heating)
    outputs = {
        "seal-heater": OutputSetup("seal-heater", "heater", safe_on=False, device="relays", point="k1", tank="seal"),
        "chiller": OutputSetup("chiller", "cooling", safe_on=False, device="relays", point="k2", tank="main-acid"),
    }
    return replace(
        plain,
        channels=channels,
        tanks={"main-acid": replace(plain.tanks["main-acid"], cooling=cooling), "seal": seal},
        outputs={**plain.outputs, **outputs},
        contacts={"seal-level": ContactSetup("seal-level", "level", "seal-level", "seal")},
    )


@cache
def aired_setup() -> LineSetup:
    """The heated line with a fan and a blower that rest by themselves, and a contact that proves the fan."""
    heated = heated_setup()
    switches = {
        "fan": OutputSetup("fan", "fan", safe_on=False, device="relays", point="k3"),
        "blower": OutputSetup("blower", "agitation", safe_on=False, device="relays", point="k4", tank="main-acid"),
        "seal-blower": OutputSetup("seal-blower", "agitation", safe_on=False, device="relays", point="k5", tank="seal"),
        "exhaust": OutputSetup("exhaust", "fan", safe_on=True, device="relays", point="k6"),
    }
    flow = ContactSetup("air", "air flow", "air", proves="ventilation")
    return replace(heated, outputs={**heated.outputs, **switches}, contacts={**heated.contacts, "air": flow})


def watched(setup: LineSetup, device: str, *channels: str) -> LineSetup:
    """The same line, and a device of it must go on answering."""
    return replace(setup, watches={device: WatchSetup(device, channels, 2.5, ())})


@dataclass
class HeatedBench(Bench):
    """A bench that also reads the contacts of a heated line."""

    level: bool = True
    air_moves: bool = False
    """Whether air moves as soon as the fan is on."""
    draught: bool = False
    """Whether it moves by itself."""

    def readings(self) -> tuple[Reading, ...]:
        """The contacts too."""
        return super().readings() + (() if "inputs" in self.silent else self.contacts_read())

    def contacts_read(self) -> tuple[Reading, ...]:
        """What every contact shows now."""
        values = {"seal-level": self.level, "air": self.draught or (self.air_moves and self.shut.get("fan", False))}
        return tuple(
            Reading(name, Quality.GOOD, float(value)) for name, value in values.items() if name in self.setup.contacts
        )

    def contacts(self) -> None:
        """One reading of every contact, now."""
        self.give(Scanned(self.at, "inputs", self.now_s, self.now_s, self.contacts_read()))

    def move_float(self) -> None:
        """Lift the float out of the liquid and let it back."""
        for level in (False, True):
            self.level = level
            self.later(0.1)
            self.contacts()

    @once
    def ready(self) -> HeatedBench:
        """Start with a cool seal tank whose level is proven, and let the least time off go by."""
        self.bath_c["seal"] = 20.0
        self.start_service()
        self.move_float()
        self.run(30.0)
        return self

    @once
    def heating(self) -> HeatedBench:
        """Ready, and the heater on."""
        answer = self.ready().heat()
        assert answer.ok, answer.reasons
        self.run(0.4)
        assert self.told("seal-heater")[-1]
        return self

    def heat(self) -> Answer:
        """Ask for heat."""
        return self.ask("heat", tank="seal")

    def told(self, output: str) -> list[bool]:
        """What an output was told so far."""
        return [action.on for action in self.named(Switch) if action.output == output]

    def on(self, output: str) -> bool:
        """What an output was told last."""
        return self.line.state.outputs[output].on

    @property
    def demanded(self) -> bool:
        """Whether the seal tank is to be heated."""
        return self.line.state.heating["seal"].demanded


def bench(**changes: object) -> HeatedBench:
    """A bench of the heated line; `changes` of how it heats."""
    return HeatedBench(heated_setup(replace(HEATING, **changes)))  # type: ignore[arg-type]


def seal(made: HeatedBench, temperature_c: float) -> None:
    """The seal tank has this temperature, and it is read."""
    made.bath_c["seal"] = temperature_c
    made.later(0.1)
    made.scan()
