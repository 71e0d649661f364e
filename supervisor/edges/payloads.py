"""What is published over MQTT: the topics, and the payloads as JSON with their units in the names.

A topic is `ampminder/LINE/KIND/NAME`, exactly four levels: the names are the line file's own (lower-case words and
hyphens). An alarm is called SUBJECT/CAUSE everywhere else; here the slash, which would make a fifth level, is a full
stop, which no name can contain: `ampminder/bench/alarm/acid.bath-high`.

| kind | name | |
|---|---|---|
| line | the line's | retained; presence `online` or `offline` (the last will is the latter), what it consists of |
| tank, supply, contact | the tank's, the supply's, the contact's | retained |
| operation | the supply's under which it runs | retained; `idle` with nulls where there is none |
| alarm | SUBJECT.CAUSE | retained until normal; then once `normal`, a second later cleared by an empty message |
| event | what it is about: operation, alarm, crossover, output, tank | not retained, QoS 1, numbered within a run |

An alarm that is hidden is retained like any other. Where the line is offline every other state is as of its own `at`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, datetime
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter

from supervisor.core.actions import Note
from supervisor.core.alarms import AlarmState
from supervisor.core.events import Instant

ROOT = "ampminder"

Kind = Literal["line", "tank", "supply", "contact", "operation", "alarm", "event"]
Offline = Literal["ended", "connection lost"]

Stamp = Annotated[str, Field(description="wall time, ISO 8601, UTC; for people: clocks can be set")]
MaybeNumber = float | None
"""None where there is no good reading or nothing to tell."""

STAMPS = {"at", "boot_clock_s"}
"""Fields that change by themselves: they alone are no news."""


class Payload(BaseModel):
    """What every payload has."""

    model_config = ConfigDict(frozen=True, json_schema_serialization_defaults_required=True)

    version: Literal[1] = 1
    kind: Kind
    line: str
    name: str
    at: Stamp
    boot_clock_s: float = Field(description="s since the computer's boot: of two payloads the newer has the greater")

    def news(self) -> dict[str, Any]:
        """All of it but when it was told."""
        return self.model_dump(exclude=STAMPS)


class LinePayload(Payload):
    """The line: whether anybody supervises it, and what it consists of."""

    kind: Literal["line"] = "line"
    presence: Literal["online", "offline"]
    reason: Offline | None = Field(
        description="why offline; with `connection lost` the broker tells, and `at` is when it was last connected"
    )
    run: str = Field(description="an id of this run of the supervisor")
    units: Literal["metric", "us"] = Field(description="what people at the line are shown; payloads are SI throughout")
    speed: float = Field(description="process seconds per second: 1 but in a demo")
    watch_only: bool
    tanks: list[str]
    supplies: list[str]
    contacts: list[str]
    calibrations: dict[str, str] = Field(description="by calibrated channel, the date on which it is due again")
    calibrations_overdue: list[str] = Field(description="channels of which that date has come")
    commissioned: list[str] = Field(description="supplies whose meter was shown to carry their current alone")
    alarms: list[str] = Field(description="names of those that are not normal, as in their topics")
    events_lost: int = Field(description="dropped in this run, the oldest first, because too many waited")


class TankPayload(Payload):
    """A tank's bath."""

    kind: Literal["tank"] = "tank"
    role: str = Field(description="anodize, clean, rinse, dye or seal")
    temperature_c: MaybeNumber
    reading: str = Field(description="good, or why there is no number")
    low_c: float
    high_c: float
    heating_on: bool | None = Field(description="whether its heater was told to be on; null where it has none")
    heating_asked_for: bool | None = Field(description="whether somebody asked for heat and nothing has ended that")
    heating_hold_c: MaybeNumber
    cooling_on: bool | None = Field(description="likewise its cooling")
    cooling_hold_c: MaybeNumber
    ready_c: MaybeNumber = Field(description="from where it is as warm as it is to be held; null unless it warms up")
    ready_s: MaybeNumber = Field(description="process time until then; null of one that warms up: never")
    ready_low_s: MaybeNumber = Field(description="with ready_high_s it holds nine of ten; null: never")
    ready_high_s: MaybeNumber
    levels_off_c: MaybeNumber = Field(description="where it levels off, if it never gets there")
    end_c: MaybeNumber = Field(description="where it stands when the load under current is done")
    end_low_c: MaybeNumber = Field(description="with end_high_c it holds nine of ten")
    end_high_c: MaybeNumber
    end_uncooled_c: MaybeNumber = Field(description="likewise, with its cooling off or failed from now on")
    end_cooling: Literal["none", "resting", "on", "failed"] | None = Field(description="what its cooling does now")
    limit_s: MaybeNumber = Field(description="process time until it is far too hot, if that comes first")
    bearable_a: MaybeNumber = Field(description="the largest current that avoids that; null: none does, or none need")


class ContactPayload(Payload):
    """A contact."""

    kind: Literal["contact"] = "contact"
    role: str
    tank: str | None = Field(description="null where it is the whole line's")
    closed: bool | None
    reading: str = Field(description="good, or why it is not known whether it is closed")
    healthy: bool | None = Field(
        description="whether it is as it must be; null of one on which nothing hangs, and while nobody can know yet"
    )


class SupplyPayload(Payload):
    """A supply and its output."""

    kind: Literal["supply"] = "supply"
    state: str = Field(description="of its operation, by IEC 61512")
    wanted_on: bool
    off_proven: bool
    current_a: MaybeNumber
    voltage_v: MaybeNumber
    voltage_held: bool | None
    hydrogen_l_per_s: MaybeNumber = Field(description="made at the cathode at most, as a dry gas at 20 degC")


class OperationPayload(Payload):
    """The operation under a supply; times are process time."""

    kind: Literal["operation"] = "operation"
    state: str
    id: str | None = None
    load: str | None = None
    suspect: str | None = None
    why: str | None = None
    mode: str | None = None
    area_m2: MaybeNumber = None
    target_thickness_um: MaybeNumber = None
    target_charge_c: MaybeNumber = None
    set_current_a: MaybeNumber = None
    set_voltage_v: MaybeNumber = None
    expected_s: MaybeNumber = None
    longest_s: MaybeNumber = None
    elapsed_s: MaybeNumber = None
    to_go_s: MaybeNumber = None
    charge_low_c: MaybeNumber = None
    charge_c: MaybeNumber = None
    charge_high_c: MaybeNumber = None
    charge_unbounded: bool | None = Field(default=None, description="true: charge_high_c is no bound")
    thickness_low_um: MaybeNumber = None
    thickness_um: MaybeNumber = None
    thickness_high_um: MaybeNumber = None
    band_low_um: MaybeNumber = Field(default=None, description="90 % band of the load's mean thickness, from here")
    band_high_um: MaybeNumber = Field(default=None, description="to here")
    learned_from: int | None = Field(default=None, description="gauged loads behind growth and band; 0: as published")
    alloy: str | None = None
    target_means: str | None = Field(default=None, description="mean, or least local")
    gauge: str | None = Field(default=None, description="why the coat must be gauged; empty if nothing says so")
    least_local_um: MaybeNumber = Field(default=None, description="where the coat is thinnest")
    spread_low_um: MaybeNumber = Field(default=None, description="to be expected from here across the rack")
    spread_high_um: MaybeNumber = Field(default=None, description="to here")
    mass_g_per_m2: MaybeNumber = Field(default=None, description="unsealed, what acid has taken off")
    mass_lost_share: MaybeNumber = None
    porosity_share: MaybeNumber = None
    barren_c: MaybeNumber = Field(default=None, description="charge that grew no coat")


class AlarmPayload(Payload):
    """One alarm, its state by IEC 62682; one that is hidden is told as such, and its interlock acts all the same."""

    kind: Literal["alarm"] = "alarm"
    state: AlarmState
    priority: Literal["high", "medium", "low"]
    active: bool = Field(description="whether its cause is there now and acts, hidden or not")
    latched: bool = Field(description="whether its cause is gone and only a person's reset is missing")
    under: str | None = Field(description="the alarm whose consequence it is, as in that one's topic")
    what: str
    follows: str
    first: str = Field(description="what to do first")
    time: str = Field(description="how long there is for it")
    since: Stamp
    count: int
    why: str | None = Field(description="why it is shelved or out of service, and by whom")
    shelved_until: Stamp | None


class EventPayload(Payload):
    """Something that happened, told once or, after a broken connection, again with the same number."""

    kind: Literal["event"] = "event"
    run: str
    number: int = Field(ge=1, description="rises by one within a run; a gap is what was lost")
    about: str
    subject: str
    text: str
    data: dict[str, str]


Published = Annotated[
    LinePayload | TankPayload | SupplyPayload | ContactPayload | OperationPayload | AlarmPayload | EventPayload,
    Field(discriminator="kind"),
]


def payload_schema() -> dict[str, Any]:
    """Return the JSON Schema of everything that is published."""
    return TypeAdapter[Any](Published).json_schema(mode="serialization")


def topic(line: str, kind: Kind, name: str) -> str:
    """Return a topic of exactly four levels."""
    return f"{ROOT}/{line}/{kind}/{_level(name)}"


def iso(wall_s: float) -> str:
    """Write wall time, UTC seconds since 1970, as ISO 8601."""
    return datetime.fromtimestamp(wall_s, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


class Reporter:
    """Puts one run of one line into payloads.

    Attributes:
        line: its name. possible_alarms: topics of all alarms there can be.
    """

    def __init__(
        self,
        line: str,
        run: str,
        instant: Callable[[], Instant],
        status: Callable[[], dict[str, Any]],
        possible_alarms: Iterable[str],
    ) -> None:
        """`instant` tells now; `status` tells how the line stands, as the control socket does."""
        self.line = line
        self.possible_alarms = frozenset(topic(line, "alarm", name) for name in possible_alarms)
        self._run = run
        self._instant = instant
        self._status = status
        self._events = 0

    def states(self, events_lost: int) -> dict[str, Payload]:
        """Return how everything stands now, by topic."""
        status = self._status()
        told: list[Payload] = [self._line(status, events_lost)]
        told += [
            TankPayload(**self._head(name), **_only(tank, TankPayload), **_controls(tank), **_ahead(tank))
            for name, tank in status["tanks"].items()
        ]
        told += [
            ContactPayload(**self._head(name), **_only(contact, ContactPayload))
            for name, contact in status["contacts"].items()
        ]
        for name, supply in status["supplies"].items():
            told.append(SupplyPayload(**self._head(name), **_only(supply, SupplyPayload)))
            told.append(OperationPayload(**self._head(name), state=supply["state"], **_flat(supply["operation"])))
        told += [self._alarm(alarm, status) for alarm in status["alarms"]]
        return {topic(self.line, payload.kind, payload.name): payload for payload in told}

    def offline(self, reason: Offline, events_lost: int) -> tuple[str, Payload]:
        """Return topic and payload of a line that nobody supervises any more."""
        online = self._line(self._status(), events_lost)
        return topic(self.line, "line", self.line), online.model_copy(update={"presence": "offline", "reason": reason})

    def normal(self, alarm: AlarmPayload) -> AlarmPayload:
        """Return an alarm as it is told once when it is normal again."""
        over = {"active": False, "latched": False, "under": None, "why": None, "shelved_until": None}
        return alarm.model_copy(update={"state": AlarmState.NORMAL, **over, **self._head(alarm.name)})

    def event(self, note: Note) -> tuple[str, EventPayload]:
        """Return topic and payload of the next event."""
        self._events += 1
        return topic(self.line, "event", note.kind), EventPayload(
            **self._head(note.kind),
            run=self._run,
            number=self._events,
            about=note.kind,
            subject=note.subject,
            text=note.text,
            data={key: str(value) for key, value in note.data.items()},
        )

    def _head(self, name: str) -> dict[str, Any]:
        at = self._instant()
        return {"line": self.line, "name": name, "at": iso(at.wall_s), "boot_clock_s": at.wire_s}

    def _line(self, status: Mapping[str, Any], events_lost: int) -> LinePayload:
        return LinePayload(
            **self._head(self.line),
            presence="online",
            reason=None,
            run=self._run,
            units=status["units"],
            speed=status["speed"],
            watch_only=status["watch_only"],
            tanks=list(status["tanks"]),
            supplies=list(status["supplies"]),
            contacts=list(status["contacts"]),
            calibrations={name: one["due"] for name, one in status["calibrations"].items()},
            calibrations_overdue=[name for name, one in status["calibrations"].items() if one["overdue"]],
            commissioned=list(status["commissioned"]),
            alarms=[_level(alarm["name"]) for alarm in status["alarms"]],
            events_lost=events_lost,
        )

    def _alarm(self, alarm: Mapping[str, Any], status: Mapping[str, Any]) -> AlarmPayload:
        told = _only(alarm, AlarmPayload) | self._head(_level(alarm["name"]))
        told["under"], told["why"] = _level(alarm["under"]) or None, alarm["why"] or None
        since, left_s = iso(alarm["since_wall_s"]), alarm["shelved_for_s"]
        # To the second: what is worked out anew at each look must not be news by a hair.
        until = None if left_s is None else iso(round(status["at"]["wall_s"] + left_s / status["speed"]))
        return AlarmPayload(**told, since=since, shelved_until=until)


def _level(alarm: str) -> str:
    """Write an alarm's name so that it is one level of a topic."""
    return alarm.replace("/", ".")


def _controls(tank: Mapping[str, Any]) -> dict[str, Any]:
    """Spread heating and cooling over fields of their own."""
    told = {"heating": ("on", "asked_for", "hold_c"), "cooling": ("on", "hold_c")}
    return {
        f"{kind}_{key}": None if tank[kind] is None else tank[kind][key] for kind, keys in told.items() for key in keys
    }


def _ahead(tank: Mapping[str, Any]) -> dict[str, Any]:
    """Spread how a bath goes on over fields of their own."""
    ready, end, none = tank["ready"], tank["end"], dict.fromkeys(("low", "best", "high"))
    to_go_s, ends_c = (ready["to_go_s"] if ready else none), (end["temperature_c"] if end else none)
    return {
        "ready_c": ready and ready["at_c"], "levels_off_c": ready and ready["levels_off_c"],
        "ready_low_s": to_go_s["low"], "ready_s": to_go_s["best"], "ready_high_s": to_go_s["high"],
        "end_low_c": ends_c["low"], "end_c": ends_c["best"], "end_high_c": ends_c["high"],
        "end_uncooled_c": end and end["uncooled_c"], "end_cooling": end and end["cooling"],
        "limit_s": end and end["limit_s"], "bearable_a": end and end["bearable_a"],
    }  # fmt: skip


def _only(told: Mapping[str, Any], model: type[Payload]) -> dict[str, Any]:
    """What of a status goes into a payload as it stands."""
    return {key: value for key, value in told.items() if key in model.model_fields and key not in Payload.model_fields}


def _flat(operation: Mapping[str, Any] | None) -> dict[str, Any]:
    """Spread target and intervals over fields of their own."""
    if operation is None:
        return {}
    target, charge, thickness = operation["target"], operation["charge_c"], operation["thickness_um"]
    own = _only(operation, OperationPayload)
    least, spread, mass = operation["least_local_um"], operation["spread_um"], operation["mass_g_per_m2"]
    return own | {
        "target_thickness_um": target["thickness_um"], "target_charge_c": target["charge_c"],
        "charge_low_c": charge["low"], "charge_c": charge["best"], "charge_high_c": charge["high"],
        "thickness_low_um": thickness["low"], "thickness_um": thickness["best"], "thickness_high_um": thickness["high"],
        "band_low_um": operation["band_um"]["low"], "band_high_um": operation["band_um"]["high"],
        "target_means": target["means"], "least_local_um": least["best"], "mass_g_per_m2": mass["best"],
        "spread_low_um": spread["low"], "spread_high_um": spread["high"],
    }  # fmt: skip
