"""The plain lines of the core's tests, each made once, and what their supplies do."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

from supervisor.core.setup import (
    Accuracy,
    AnodizeSetup,
    ChannelSetup,
    ContactSetup,
    Control,
    GrowthSetup,
    HeartbeatSetup,
    LineSetup,
    OutputSetup,
    SupplySetup,
)
from supervisor.core.tank_setup import BandSetup, TankSetup
from supervisor.trade.coating import RULE_720_UM_M2_PER_C


def supply_setup(name: str, tank: str) -> SupplySetup:
    """A 10 A supply with a cap of 5 A and no second means."""
    return SupplySetup(
        name=name,
        device=f"{name}-device",
        output=f"{name}-output",
        tank=tank,
        current=f"{name}-current",
        voltage=f"{name}-voltage",
        output_state=f"{name}-output-state",
        mode=f"{name}-mode",
        set_current=f"{name}-set-current",
        set_voltage=f"{name}-set-voltage",
        rated_current_a=10.0,
        rated_voltage_v=60.0,
        cap_current_a=5.0,
        current_step_a=0.001,
        voltage_step_v=0.01,
        off_threshold_a=0.05,
        proof_deadline_s=1.0,
        resend_s=0.25,
        silent_after_s=3.0,
        contactor=None,
        device_time_out_s=None,
    )


@cache
def line_setup(supplies: int = 1) -> LineSetup:
    """A line with as many supplies, each over a tank of its own."""
    names = ("main", "side", "third", "fourth")[:supplies]
    channels: dict[str, ChannelSetup] = {}
    for name in names:
        for what, unit, high, accuracy in (
            ("current", "A", 10.5, Accuracy(0.002, 0.005)),
            ("voltage", "V", 62.0, Accuracy(0.002, 0.03)),
            ("output-state", "", 1.0, Accuracy(0.0, 0.0)),
            ("mode", "", 1.0, Accuracy(0.0, 0.0)),
            ("set-current", "A", 10.0, Accuracy(0.0, 0.0)),
            ("set-voltage", "V", 60.0, Accuracy(0.0, 0.0)),
        ):
            full = f"{name}-{what}"
            channels[full] = ChannelSetup(full, f"{name}-device", what, unit, 0.0, high, accuracy, 0.4, 3.0)
        tank = f"{name}-acid"
        channels[f"{tank}-temperature"] = ChannelSetup(
            f"{tank}-temperature", "thermometer", f"{tank}-t", "degC", -20.0, 150.0, Accuracy(0.0, 1.0), 0.4, 3.0
        )
    tanks = {
        f"{name}-acid": TankSetup(
            f"{name}-acid", "anodize", 8.0, 165.0, f"{name}-acid-temperature", BandSetup(16, 19, 22, 24, 0.3, 10.0)
        )
        for name in names
    }
    return LineSetup(
        name="test",
        channels=channels,
        tanks=tanks,
        supplies={name: supply_setup(name, f"{name}-acid") for name in names},
        outputs={
            f"{name}-output": OutputSetup(f"{name}-output", "supply output", safe_on=False, device=f"{name}-device")
            for name in names
        },
        growth=GrowthSetup(5.0e-5, RULE_720_UM_M2_PER_C, 5.6e-5),
        anodize=AnodizeSetup("current", 150.0, 200.0, 22.0, 10.0, 1.0, 1.25, 35.0, 0.1, 1.0),
    )


@cache
def fitted_setup(control: Control = "remote", *, auxiliary: bool = True) -> LineSetup:
    """The plain line with a contactor (none where control is), its auxiliary contact, a fan and a board's heartbeat."""
    plain = line_setup()
    exact, contact = Accuracy(0.0, 0.0), ("", 0.0, 1.0)
    channels = {
        **plain.channels,
        "shut": ChannelSetup("shut", "relays", "in1", *contact, exact, 0.4, 3.0),
        "board-heartbeat": ChannelSetup("board-heartbeat", "board", "heartbeat", "s", 0.0, 1e9, exact, 0.4, 3.0),
    }
    switches = {
        "contactor": OutputSetup(
            "contactor",
            "contactor",
            safe_on=False,
            device="relays",
            point="k1",
            auxiliary="shut" if auxiliary else None,
        ),
        "fan": OutputSetup("fan", "fan", safe_on=True, device="board", point="fan"),
    }
    if control == "none":
        del switches["contactor"]
    supply = replace(plain.supplies["main"], contactor=None if control == "none" else "contactor", control=control)
    if control != "remote":
        # The contact is read, then the current twice: 0.4 s each.
        supply = replace(
            supply, output="", output_state="", mode="", set_current="", set_voltage="", proof_deadline_s=2
        )
    return replace(
        plain,
        channels=channels,
        supplies={"main": supply},
        outputs={**(plain.outputs if control == "remote" else {}), **switches},
        contacts={"shut": ContactSetup("shut", "auxiliary contact", "shut")},
        heartbeats={"board": HeartbeatSetup("board", "board-heartbeat", 2.0, ("main",))},
    )


def patient(setup: LineSetup, late_s: float = 60.0) -> LineSetup:
    """The same line, on which nothing is late nor sent again before `late_s`: for tests that wait long."""
    return replace(
        setup,
        channels={
            name: replace(channel, period_s=late_s / 2.5, age_limit_s=late_s)
            for name, channel in setup.channels.items()
        },
        supplies={
            name: replace(supply, silent_after_s=late_s, resend_s=late_s) for name, supply in setup.supplies.items()
        },
        heartbeats={name: replace(beat, silent_after_s=late_s) for name, beat in setup.heartbeats.items()},
        watches={name: replace(watch, silent_after_s=late_s) for name, watch in setup.watches.items()},
    )


def latest_s(setup: LineSetup, *, flows: bool) -> float:
    """Time after a reading, s, in which the next one is not late; while current flows in which its charge is sure."""
    ages_s = [channel.age_limit_s for channel in setup.channels.values()]
    ages_s += [supply.silent_after_s for supply in setup.supplies.values()]
    ages_s += [device.silent_after_s for of in (setup.heartbeats, setup.watches) for device in of.values()]
    sure_s = [2.5 * setup.channels[supply.current].period_s for supply in setup.supplies.values()] if flows else []
    return min(*(0.95 * age_s for age_s in ages_s), *sure_s)


@dataclass
class Device:
    """What a supply does when all is well: it obeys at once and gives what it is set to."""

    on: bool = False
    set_a: float = 0.0
    set_v: float = 0.0
    broken_contact: bool = False
    voltage_held: bool = False
    gain: float = 1.0

    @property
    def current_a(self) -> float:
        """What flows."""
        return self.set_a if self.on and not self.broken_contact else 0.0
