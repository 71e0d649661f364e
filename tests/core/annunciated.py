"""The plain line with lamps of every colour, a horn and buttons, and a person who looks, listens and presses."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cache
from itertools import pairwise

from supervisor.core.actions import Switch
from supervisor.core.events import Quality, Reading, Scanned, Started
from supervisor.core.line import Step
from supervisor.core.setup import (
    Accuracy,
    ButtonUse,
    ChannelSetup,
    Colour,
    ContactSetup,
    Control,
    LineSetup,
    OutputSetup,
)
from tests.core.kit import Bench
from tests.core.plain import fitted_setup
from tests.core.run_ups import once

LAMPS: dict[str, Colour] = {
    "red": "red",
    "yellow": "yellow",
    "green": "green",
    "blue": "blue",
    "white": "white",
    "any": "",
}

BUTTONS: dict[str, ButtonUse] = {
    "silence-button": "silence",
    "acknowledge-button": "acknowledge",
    "test-button": "test",
}

WARM_C, HOT_C, GOOD_C = 22.5, 25.0, 20.5
"""Bath temperatures of a medium alarm, a high one, and none."""


@cache
def annunciated_setup(control: Control = "remote", **outputs: OutputSetup) -> LineSetup:
    """The line; `outputs` besides, or in the place of one of the same name."""
    plain = fitted_setup(control)
    made = {
        name: OutputSetup(name, "lamp", safe_on=False, device="panel", point=name, colour=colour)
        for name, colour in LAMPS.items()
    }
    made["horn"] = OutputSetup("horn", "horn", safe_on=False, device="panel", point="horn")
    exact = Accuracy(0.0, 0.0)
    read = {name: ChannelSetup(name, "panel", name, "", 0.0, 1.0, exact, 0.4, 3.0) for name in BUTTONS}
    contacts = {name: ContactSetup(name, "button", name, does=does) for name, does in BUTTONS.items()}
    return replace(
        plain,
        channels={**plain.channels, **read},
        outputs={**plain.outputs, **made, **outputs},
        contacts={**plain.contacts, **contacts},
    )


@dataclass
class Panel(Bench):
    """The bench of that line."""

    setup: LineSetup = field(default_factory=annunciated_setup)
    pressed: set[str] = field(default_factory=set)
    """Buttons that are pressed now."""

    def readings(self) -> tuple[Reading, ...]:
        """The buttons too."""
        return super().readings() + (() if "panel" in self.silent else self.buttons_read())

    def buttons_read(self, quality: Quality = Quality.GOOD) -> tuple[Reading, ...]:
        """What every button shows now."""
        good = quality is Quality.GOOD
        return tuple(Reading(name, quality, float(name in self.pressed) if good else None) for name in BUTTONS)

    def buttons(self, quality: Quality = Quality.GOOD) -> Step:
        """One reading of every button, now."""
        return self.give(Scanned(self.at, "panel", self.now_s, self.now_s, self.buttons_read(quality)))

    @once
    def press(self, name: str) -> None:
        """Press a button until it has been read, and let it go until that has been read."""
        for pressed in ({name}, set()):
            self.pressed = pressed
            self.later(0.1)
            self.buttons()

    def bath(self, value_c: float, run_s: float = 12.0) -> None:
        """Let the bath have this temperature for long enough to count."""
        self.bath_c["main-acid"] = value_c
        self.run(run_s)

    def restart_service(self) -> None:
        """The supervisor goes and comes again."""
        self.give(Started(self.at, "boot", "1", "hash", watch_only=False, journal_s=self.now_s))
        self.run(2.5)

    def is_on(self, output: str) -> bool:
        """Whether an output really is on."""
        return self.shut[output]

    def sent(self, output: str) -> list[tuple[float, bool]]:
        """Every command to an output so far, the same again too, with the wire time of each."""
        return [(one.decided_wire_s, one.on) for one in self.named(Switch) if one.output == output]

    def told(self, output: str) -> list[tuple[float, bool]]:
        """The changes among them: it is told the same again every half minute."""
        sent = self.sent(output)
        return sent[:1] + [after for before, after in pairwise(sent) if before[1] is not after[1]]

    def told_in(self, output: str, seconds: float) -> list[tuple[float, bool]]:
        """Let so much time pass; what an output was told in it, each with the wire time since its beginning."""
        began_s, before = self.now_s, len(self.told(output))
        self.run(seconds)
        return [(round(at_s - began_s, 3), on) for at_s, on in self.told(output)[before:]]

    def sounds_in(self, seconds: float) -> int:
        """Let so much time pass; how often the horn was switched on in it."""
        return sum(on for _, on in self.told_in("horn", seconds))

    def flashes(self, lamp: str) -> bool:
        """Whether a lamp goes on and off over the next ten seconds, with a pause of about a second each."""
        changes = self.told_in(lamp, 10.0)
        return len(changes) >= 9 and all(before[1] is not after[1] for before, after in pairwise(changes))

    def steady(self, lamp: str) -> bool:
        """Whether a lamp is lit and stays so over the next ten seconds, told nothing more."""
        self.run(1.5)
        return not self.told_in(lamp, 10.0) and self.shut[lamp]

    def dark(self, lamp: str) -> bool:
        """Whether a lamp is not lit and stays so over the next ten seconds, told nothing more."""
        self.run(1.5)
        return not self.told_in(lamp, 10.0) and not self.shut[lamp]


def panel(control: Control = "remote", **outputs: OutputSetup) -> Panel:
    """A panel at the start of its service, all well."""
    made = Panel(annunciated_setup(control, **outputs))
    made.start_service()
    return made
