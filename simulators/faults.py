"""What can go wrong on a simulated line, when it begins and ends: a script of faults as data."""

from __future__ import annotations

import math
from collections.abc import Container, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from simulators.tables import FileError, Reader, read_toml

Target = Literal["tank", "supply", "sensor", "device", "module", "switch", "heater", "contact", "button", "link"]
# What a script names by the key of the wider sort: of the devices those that are no supply, and so on.
_KEYS: dict[Target, Target] = {"module": "device", "heater": "switch", "button": "contact"}


@dataclass(frozen=True, slots=True)
class Kind:
    """What a fault strikes, its amounts with their usual values, and whether it changes bytes rather than values."""

    target: Target
    amounts: dict[str, float] = field(default_factory=dict)
    on_bytes: bool = False


def _byte_kind(**amounts: float) -> Kind:
    """Byte faults strike each answer with probability `share`, at most `times` times (0: without end)."""
    return Kind("device", {"share": 1.0, "times": 0.0, **amounts}, on_bytes=True)


KINDS: dict[str, Kind] = {
    # rate_c_per_min counts where it is above 0, heat_w otherwise; the cooling fails with it.
    "bath heats": Kind("tank", {"rate_c_per_min": 0.0, "heat_w": 600.0}),
    "cooling fails": Kind("tank"),
    # Below the level's contact; what heats hangs in the air.
    "level falls": Kind("tank"),
    "contact lost": Kind("supply"),
    "area lost": Kind("supply", {"lost_share": 0.5}),
    "contact creeps off": Kind("supply", {"over_s": 600.0}),
    # Its resistance rises to `ohm` with the time constant `over_s`, and stays.
    "contact gets hot": Kind("supply", {"ohm": 1.0, "over_s": 120.0}),
    # Rack and cathode touch, with this resistance.
    "rack touches": Kind("supply", {"ohm": 0.2}),
    # The part's surface gets hotter than the acid around it by this rate.
    "part burns": Kind("supply", {"rate_c_per_min": 4.0}),
    "thermocouple open": Kind("sensor"),
    "sensor frozen": Kind("sensor"),
    # Out of its tank's liquid, in the room's air.
    "sensor out": Kind("sensor"),
    # As a wire in the wrong socket does: it shows this and nothing else, without noise.
    "sensor shows": Kind("sensor", {"value_c": 25.0}),
    "meter gain": Kind("supply", {"gain_error": 0.05}),
    "supply trips": Kind("supply"),
    "mains dip": Kind("supply"),
    "contactor welded": Kind("switch"),
    "switch stuck": Kind("switch"),
    "fan stops": Kind("switch"),
    # On, and no heat.
    "heater broken": Kind("heater"),
    "contact opens": Kind("contact"),
    # A hand holds it down for as long.
    "button pressed": Kind("button"),
    # Closed and open in turn, each for so many ms of process time.
    "button bounces": Kind("button", {"every_ms": 7.0}),
    # Unplugged: a pty is closed and comes back as a new one, a host's connections are cut and it listens no more.
    "port gone": Kind("link"),
    # A host ends its half of every connection and answers no more, but goes on listening.
    "server half-closed": Kind("link"),
    # Bytes that nobody asked for, so many every so often.
    "babble": Kind("link", {"bytes": 7.0, "every_ms": 5.0}),
    "board resets": Kind("device"),
    # A module or board without power: its relays rest at once, and it boots afterwards.
    "power lost": Kind("module"),
    # code is the exception code; writes_only 0 refuses reads as well.
    "device refuses": Kind("device", {"code": 4.0, "writes_only": 1.0}, on_bytes=True),
    # Deaf and dumb, as behind a pulled plug: nothing is executed.
    "device silent": Kind("device", on_bytes=True),
    "request dropped": _byte_kind(),
    "answer dropped": _byte_kind(),
    # Longer than the response time-out, it is the late answer.
    "answer delayed": _byte_kind(delay_ms=300.0),
    "answer duplicated": _byte_kind(),
    "answer truncated": _byte_kind(bytes=2.0),
    "byte corrupted": _byte_kind(),
    "wrong unit": _byte_kind(),
    "wrong function": _byte_kind(),
    "wrong byte count": _byte_kind(),
    "wrong register count": _byte_kind(),
    "wrong CRC": _byte_kind(),
    "garbage before the answer": _byte_kind(bytes=5.0),
    "garbage instead of the answer": _byte_kind(bytes=9.0),
    "values swapped": _byte_kind(),
    # One byte after another, so far apart.
    "slow drip": _byte_kind(gap_ms=30.0),
    # The device goes on answering what it answered last.
    "values stuck": _byte_kind(),
    # Text devices show this value; registers show the last of what they can.
    "value out of range": _byte_kind(value=9.9e37),
    # Another transaction, or another number of a sentence, than the request's own.
    "wrong number": _byte_kind(),
}


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of a script.

    Attributes:
        what: a key of KINDS.
        target: the tank, supply, sensor, device or whatever its kind strikes, by name.
        at_s: process time at which it begins, s; None where charge or current decide.
        supply: the supply whose charge or current decides.
        after_charge_c: begins when this charge has gone through that supply's load, C.
        after_current_s: begins this process time after current first flowed there, s.
        for_s: process time it lasts, s; infinite where nothing is said.
        amounts: by name, as KINDS lists them.
    """

    what: str
    target: str
    at_s: float | None
    supply: str
    after_charge_c: float | None
    after_current_s: float | None
    for_s: float
    amounts: dict[str, float]

    @property
    def kind(self) -> Kind:
        """What this sort of fault strikes and how."""
        return KINDS[self.what]


@dataclass(frozen=True, slots=True)
class Names:
    """What a line has that faults can strike, by kind of target, and its process seconds per wire second.

    `links` lists the devices of each link.
    """

    tank: tuple[str, ...]
    supply: tuple[str, ...]
    sensor: tuple[str, ...]
    device: tuple[str, ...]
    module: tuple[str, ...]
    switch: tuple[str, ...]
    heater: tuple[str, ...]
    contact: tuple[str, ...]
    button: tuple[str, ...]
    links: dict[str, tuple[str, ...]]
    speed: float

    @property
    def link(self) -> tuple[str, ...]:
        """The links themselves, which faults can strike too."""
        return tuple(self.links)


def _name(table: Reader, key: Target, known: tuple[str, ...]) -> str:
    if not table.has(key) and len(known) != 1:
        raise FileError(f"a fault must name its {key}: one of {', '.join(known) or 'none'}.")
    return table.text(key, known[0] if known else "", known)


def _lasts_s(table: Reader, speed: float) -> float:
    process_s = table.optional_number("for_s", 0.0)
    wire_s = table.optional_number("for_wire_s", 0.0)
    if process_s is not None and wire_s is not None:
        raise FileError("a fault lasts either for_s or for_wire_s; give one of the two.")
    return wire_s * speed if wire_s is not None else math.inf if process_s is None else process_s


def _targets(table: Reader, kind: Kind, names: Names) -> tuple[str, ...]:
    """What the fault strikes; `link` in place of `device` means every device on it."""
    key = _KEYS.get(kind.target, kind.target)
    known: tuple[str, ...] = getattr(names, kind.target)
    if key == "device" and table.has("link"):
        link = table.text("link", choices=tuple(names.links))
        if not (struck := tuple(name for name in names.links[link] if name in known)):
            raise FileError(f"there is no {kind.target} on {link!r} that this fault could strike.")
        return struck
    return (_name(table, key, known),)


def read_faults(table: Reader, names: Names, now_s: float | None = None) -> list[Fault]:
    """The faults of one table, one for each target. Raises FileError.

    now_s, s of process time, is the beginning where the table gives none; without it a beginning must be given.
    """
    what = table.text("what", choices=tuple(KINDS))
    kind = KINDS[what]
    targets = _targets(table, kind, names)
    at_s, after_charge_c, after_current_s = (
        table.optional_number(key) for key in ("at_s", "after_charge_c", "after_current_s")
    )
    given = sum(start is not None for start in (at_s, after_charge_c, after_current_s))
    if given > 1 or (given == 0 and now_s is None):
        raise FileError(f"the fault {what!r} begins at one of at_s, after_charge_c, after_current_s; give exactly one.")
    watches = after_charge_c is not None or after_current_s is not None
    supply = _name(table, "supply", names.supply) if watches or kind.target == "supply" else ""
    for_s = _lasts_s(table, names.speed)
    amounts = {name: table.number(name, usual) for name, usual in kind.amounts.items()}
    table.finish()
    return [
        Fault(what, target, now_s if given == 0 else at_s, supply, after_charge_c, after_current_s, for_s, amounts)
        for target in targets
    ]


def read_script(path: Path, names: Names) -> list[Fault]:
    """The faults of a script file. Raises FileError."""
    table = read_toml(path)
    faults = [fault for entry in table.listed_tables("fault") for fault in read_faults(entry, names)]
    table.finish()
    return faults


@dataclass(slots=True)
class _Active:
    fault: Fault
    ends_s: float
    struck: int = 0


class FaultBoard:
    """Which faults wait and which stand. Times are process time."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self._waiting = list(faults)
        self._standing: list[_Active] = []

    def add(self, fault: Fault) -> None:
        """Put one more fault among those that wait."""
        self._waiting.append(fault)

    def due(
        self, now_s: float, first_current_s: Mapping[str, float | None], charge_c: Mapping[str, float]
    ) -> list[Fault]:
        """Take the faults that begin now; from here on they stand."""
        begun = [
            fault for fault in self._waiting if self._begins_in_s(fault, now_s, first_current_s, charge_c, {}) <= 0.0
        ]
        self._waiting = [fault for fault in self._waiting if fault not in begun]
        self._standing += [_Active(fault, now_s + fault.for_s) for fault in begun]
        return begun

    def over(self, now_s: float) -> list[Fault]:
        """Take the faults that have ended."""
        ended = [active for active in self._standing if active.ends_s <= now_s]
        self._standing = [active for active in self._standing if active.ends_s > now_s]
        return [active.fault for active in ended]

    def clear(self, what: str) -> list[Fault]:
        """End every standing fault of this sort and forget those that wait."""
        ended = [active.fault for active in self._standing if active.fault.what == what]
        self._standing = [active for active in self._standing if active.fault.what != what]
        self._waiting = [fault for fault in self._waiting if fault.what != what]
        return ended

    def standing(self, what: str, target: str) -> list[Fault]:
        """The standing faults of this sort on this target."""
        return [
            active.fault for active in self._standing if active.fault.what == what and active.fault.target == target
        ]

    def strike(self, device: str, chance: float, whats: Container[str] = KINDS) -> list[Fault]:
        """The byte faults of these sorts that strike one transaction of a device; chance is drawn from 0 to 1 for it.

        Each one counts; one that has struck as often as it may strikes no more.
        """
        struck = []
        for active in self._standing:
            fault = active.fault
            if not fault.kind.on_bytes or fault.target != device or chance >= fault.amounts.get("share", 1.0):
                continue
            if fault.what not in whats:
                continue
            if 0 < fault.amounts.get("times", 0.0) <= active.struck:
                continue
            active.struck += 1
            struck.append(fault)
        return struck

    def next_change_in_s(
        self,
        now_s: float,
        first_current_s: Mapping[str, float | None],
        charge_c: Mapping[str, float],
        current_a: Mapping[str, float],
    ) -> float:
        """Process time until something begins or ends if every current stays as it is, s; infinite if nothing will."""
        starts = [self._begins_in_s(fault, now_s, first_current_s, charge_c, current_a) for fault in self._waiting]
        ends = [active.ends_s - now_s for active in self._standing]
        return min([*starts, *ends], default=math.inf)

    @staticmethod
    def _begins_in_s(
        fault: Fault,
        now_s: float,
        first_current_s: Mapping[str, float | None],
        charge_c: Mapping[str, float],
        current_a: Mapping[str, float],
    ) -> float:
        if fault.at_s is not None:
            return fault.at_s - now_s
        if fault.after_current_s is not None:
            began_s = first_current_s[fault.supply]
            return math.inf if began_s is None else began_s + fault.after_current_s - now_s
        assert fault.after_charge_c is not None
        missing_c = fault.after_charge_c - charge_c[fault.supply]
        if missing_c <= 1e-9 * fault.after_charge_c:
            return 0.0
        flowing_a = current_a.get(fault.supply, 0.0)
        return missing_c / flowing_a if flowing_a > 0.0 else math.inf
