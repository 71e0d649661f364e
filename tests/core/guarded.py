"""A line with all that can guard it: contacts of every role, a contactor, a supply that tells of itself, a hot tank."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cache

from supervisor.core.effects import Interlock
from supervisor.core.events import Delayed, Quality, Reading, Scanned
from supervisor.core.line import Step
from supervisor.core.setup import Accuracy, ChannelSetup, ContactRole, ContactSetup, LineSetup, Proof, WatchSetup
from supervisor.core.tank_setup import BandSetup, BelieveSetup, TankSetup
from tests.core.kit import Bench
from tests.core.plain import fitted_setup
from tests.core.run_ups import once

CONTACTS: dict[str, tuple[ContactRole, str, Proof]] = {
    "acid-level": ("level", "main-acid", ""),
    "acid-lid": ("lid", "main-acid", ""),
    "air-flow": ("air flow", "main-acid", "ventilation"),
    "air-pressure": ("air pressure", "main-acid", "agitation"),
    "guard": ("guard", "", ""),
    "stop": ("emergency stop", "", ""),
    "seal-lid": ("lid", "seal", ""),
    "seal-level": ("level", "seal", ""),
}

COUNTER_STEP_C = 0.36


@cache
def guarded_setup(**interlocks: Interlock) -> LineSetup:
    """The fitted line with these contacts on a module of their own; `interlocks` by cause, hyphens as underscores."""
    plain, exact = fitted_setup(), Accuracy(0.0, 0.0)
    own = {
        name: ChannelSetup(name, "inputs", name, "", 0.0, 1.0, exact, 0.4, 3.0) for name in CONTACTS
    }  # fmt: skip
    told = {
        "main-uptime": ("s", Accuracy(0.0, 1.0)),
        "main-restarted": ("", exact),
        "main-counter": ("C", Accuracy(0.0, COUNTER_STEP_C)),
    }
    own |= {
        name: ChannelSetup(name, "main-device", name, unit, 0.0, 1e9, accuracy, 0.4, 3.0)
        for name, (unit, accuracy) in told.items()
    }
    own["seal-temperature"] = ChannelSetup(
        "seal-temperature", "thermometer", "seal-t", "degC", -20.0, 150.0, Accuracy(0.0, 1.0), 0.4, 3.0
    )
    own["acid-second"] = replace(own["seal-temperature"], name="acid-second", point="acid-second-t")
    contacts = {name: ContactSetup(name, role, name, tank, proof) for name, (role, tank, proof) in CONTACTS.items()}
    supply = replace(
        plain.supplies["main"], uptime="main-uptime", restarted="main-restarted", counter="main-counter"
    )  # fmt: skip
    acid = replace(
        plain.tanks["main-acid"],
        believe=BelieveSetup(fastest_c_per_s=1e3, apart_c=2.0, apart_for_s=0.0),
        second="acid-second",
    )
    seal = TankSetup("seal", "seal", 20.0, 0.0, "seal-temperature", BandSetup(5, 10, 98, 99, 0.3, 10.0))
    given = {cause.replace("_", "-"): interlock for cause, interlock in interlocks.items()}
    return replace(
        plain,
        channels={**plain.channels, **own},
        tanks={"main-acid": acid, "seal": seal},
        supplies={"main": supply},
        contacts={**plain.contacts, **contacts},
        watches={"inputs": WatchSetup("inputs", tuple(CONTACTS), 2.0, ("main",))},
        interlocks={**plain.interlocks, **given},
    )


@dataclass
class Guarded(Bench):
    """The bench of that line; every contact is closed until a test opens it."""

    setup: LineSetup = field(default_factory=guarded_setup)
    open: set[str] = field(default_factory=set)
    unread: set[str] = field(default_factory=set)
    """Contacts whose readings are not good."""
    power_on_s: float = 0.0
    counter_gain: float = 1.0

    def __post_init__(self) -> None:
        super().__post_init__()
        self.bath_c["seal"] = 60.0
        self.counted_c, self._counted_s = 0.0, self.now_s

    def readings(self) -> tuple[Reading, ...]:
        """Contacts and what the supply tells of itself too."""
        contacts = () if "inputs" in self.silent else self.contacts_read()
        if "main" not in self.silent:
            self.counted_c += self.flows_a("main") * self.counter_gain * (self.now_s - self._counted_s)
            own = told(main_uptime=self.now_s - self.power_on_s, main_restarted=0.0, main_counter=self.counted_c)
        else:
            own = ()
        self._counted_s = self.now_s
        return (*super().readings(), *contacts, *own)

    def contacts_read(self) -> tuple[Reading, ...]:
        """What every contact shows now."""
        return tuple(
            Reading(name, Quality.MALFORMED, None)
            if name in self.unread
            else Reading(name, Quality.GOOD, float(name not in self.open))
            for name in CONTACTS
        )

    def contacts(self) -> Step:
        """One reading of every contact, now."""
        return self.give(Scanned(self.at, "inputs", self.now_s, self.now_s, self.contacts_read()))

    def tell(self, **values: float) -> Step:
        """One reading of what the supply tells of itself, now."""
        return self.give(Scanned(self.at, "main-device", self.now_s, self.now_s, told(**values)))

    @once
    def opens(self, *names: str, after_s: float = 0.0) -> Step:
        """Open contacts and let that be read; again once `after_s` have passed, if any."""
        self.open |= set(names)
        self.later(0.1)
        step = self.contacts()
        if after_s:
            self.run(after_s)
        return step

    @once
    def under_way(self, target_um: float = 20.0) -> Guarded:
        """Start the service, wait for the ventilation, and let a load come to the end of its soft start."""
        self.start_service()
        self.run(self.setup.ventilation.before_s)
        self.running(target_um=target_um)
        return self

    @once
    def running(self, *, supply: str = "", target_um: float = 1.0) -> Bench:
        """Start a load; the service runs already."""
        answer = self.start(supply=supply, target_um=target_um)
        assert answer.ok, answer.reasons
        self.run(12.0)
        return self


def told(**values: float) -> tuple[Reading, ...]:
    """Readings of what a supply tells of itself; hyphens of channels as underscores."""
    return tuple(Reading(name.replace("_", "-"), Quality.GOOD, value) for name, value in values.items())


def says(name: str, value: float) -> Callable[[Guarded], Step]:
    def to(bench: Guarded) -> Step:
        bench.later(0.1)
        return bench.tell(**{name: value})

    return to


def opened(name: str, wait_s: float = 0.0) -> Callable[[Guarded], Step]:
    """Open a contact; the step returned is the one in which its delay is over."""

    def to(bench: Guarded) -> Step:
        step = bench.opens(name)
        if wait_s:
            bench.obeys = True
            bench.run(wait_s - 0.3)
            bench.obeys = False
            bench.later(0.3)
            step = bench.contacts()
        return step

    return to


def delayed(bench: Guarded) -> Step:
    bench.later(0.5)
    return bench.give(Delayed(bench.at, 2.4))


def nothing_from_the_inputs(bench: Guarded) -> Step:
    bench.silent = {"inputs"}
    bench.obeys = True
    bench.run(1.9)
    bench.obeys = False
    bench.later(0.2)
    return bench.wake_up()


def meter_low(bench: Guarded) -> Step:
    bench.devices["main"].gain = 0.93
    bench.obeys = True
    bench.run(10.3)
    bench.obeys = False
    bench.later(0.3)
    return bench.give(bench.supply_scan("main", bench.devices["main"]))


def sensors_apart(bench: Guarded) -> Step:
    """The second sensor of the bath shows another temperature, inside every limit; the step is the last of them."""

    def other() -> Step:
        bench.later(0.3)
        shown = Reading("acid-second", Quality.GOOD, 23.5)
        return bench.give(Scanned(bench.at, "thermometer", bench.now_s, bench.now_s, (shown,)))

    for _ in range(9):
        other()
        bench.current(1.95)
        bench.temperature(20.5)
    return other()


TRIPS: dict[str, tuple[str, Callable[[Guarded], Step]]] = {
    "emergency-stop": ("stop", opened("stop")),
    "guard-open": ("guard", opened("guard")),
    "lid-shut": ("acid-lid", opened("acid-lid", 1.0)),
    "ventilation-lost": ("air-flow", opened("air-flow", 5.0)),
    "agitation-long-lost": ("air-pressure", opened("air-pressure", 45.0)),
    "level-low": ("acid-level", opened("acid-level", 3.0)),
    "temperature-doubted": ("main-acid", sensors_apart),
    "communication-lost": ("inputs", nothing_from_the_inputs),
    "supply-restarted": ("main", says("main_uptime", 0.4)),
    "over-voltage": ("main", says("main_voltage", 24.0)),
    "meters-differ": ("main", meter_low),
    "loop-late": ("main", delayed),
}
"""Trips that the plain line cannot have: their subject, and how each is brought about."""
