"""What is published over MQTT: the topics, and the payloads as JSON with their units in the names.

A topic is `ampminder/LINE/KIND/NAME`, exactly four levels: the names are the line file's own (lower-case words and
hyphens). An alarm is called SUBJECT/CAUSE everywhere else; here the slash, which would make a fifth level, is a full
stop, which no name can contain: `ampminder/bench/alarm/acid.bath-high`.

| kind | name | |
|---|---|---|
| line | the line's | retained; presence `online` or `offline` (the last will is the latter), what it consists of |
| tank, supply | the tank's, the supply's | retained |
| operation | the supply's under which it runs | retained; `idle` with nulls where there is none |
| alarm | SUBJECT.CAUSE | retained until normal; then once `normal`, a second later cleared by an empty message |
| event | what it is about: operation, alarm, crossover, output | not retained, QoS 1, numbered within a run |

Where the line is offline every other state is as of its own `at`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, datetime
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter

from supervisor.core.actions import Note
from supervisor.core.events import Instant

ROOT = "ampminder"

Kind = Literal["line", "tank", "supply", "operation", "alarm", "event"]
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
    alarms: list[str] = Field(description="names of those that are not normal, as in their topics")
    events_lost: int = Field(description="dropped in this run, the oldest first, because too many waited")


class TankPayload(Payload):
    """A tank's bath."""

    kind: Literal["tank"] = "tank"
    temperature_c: MaybeNumber
    reading: str = Field(description="good, or why there is no number")
    low_c: float
    high_c: float


class SupplyPayload(Payload):
    """A supply and its output."""

    kind: Literal["supply"] = "supply"
    state: str = Field(description="of its operation, by IEC 61512")
    wanted_on: bool
    off_proven: bool
    current_a: MaybeNumber
    voltage_v: MaybeNumber
    voltage_held: bool | None


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


class AlarmPayload(Payload):
    """One alarm, its state by IEC 62682."""

    kind: Literal["alarm"] = "alarm"
    state: str
    priority: Literal["high", "medium", "low"]
    standing: bool = Field(description="whether its cause is there now")
    what: str
    follows: str
    first: str = Field(description="what to do first")
    since: Stamp
    count: int


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
    LinePayload | TankPayload | SupplyPayload | OperationPayload | AlarmPayload | EventPayload,
    Field(discriminator="kind"),
]


def payload_schema() -> dict[str, Any]:
    """Return the JSON Schema of everything that is published."""
    return TypeAdapter[Any](Published).json_schema(mode="serialization")


def topic(line: str, kind: Kind, name: str) -> str:
    """Return a topic of exactly four levels."""
    return f"{ROOT}/{line}/{kind}/{name.replace('/', '.')}"


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
        told += [TankPayload(**self._head(name), **_only(tank, TankPayload)) for name, tank in status["tanks"].items()]
        for name, supply in status["supplies"].items():
            told.append(SupplyPayload(**self._head(name), **_only(supply, SupplyPayload)))
            told.append(OperationPayload(**self._head(name), state=supply["state"], **_flat(supply["operation"])))
        told += [self._alarm(alarm) for alarm in status["alarms"]]
        return {topic(self.line, payload.kind, payload.name): payload for payload in told}

    def offline(self, reason: Offline, events_lost: int) -> tuple[str, Payload]:
        """Return topic and payload of a line that nobody supervises any more."""
        online = self._line(self._status(), events_lost)
        return topic(self.line, "line", self.line), online.model_copy(update={"presence": "offline", "reason": reason})

    def normal(self, alarm: AlarmPayload) -> AlarmPayload:
        """Return an alarm as it is told once when it is normal again."""
        return alarm.model_copy(update={"state": "normal", "standing": False, **self._head(alarm.name)})

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
            alarms=[alarm["name"].replace("/", ".") for alarm in status["alarms"]],
            events_lost=events_lost,
        )

    def _alarm(self, alarm: Mapping[str, Any]) -> AlarmPayload:
        told = _only(alarm, AlarmPayload)
        name = alarm["name"].replace("/", ".")
        return AlarmPayload(**told | self._head(name), since=iso(alarm["since_wall_s"]))


def _only(told: Mapping[str, Any], model: type[Payload]) -> dict[str, Any]:
    """What of a status goes into a payload as it stands."""
    return {key: value for key, value in told.items() if key in model.model_fields and key not in Payload.model_fields}


def _flat(operation: Mapping[str, Any] | None) -> dict[str, Any]:
    """Spread target and intervals over fields of their own."""
    if operation is None:
        return {}
    target, charge, thickness = operation["target"], operation["charge_c"], operation["thickness_um"]
    own = _only(operation, OperationPayload)
    return own | {
        "target_thickness_um": target["thickness_um"], "target_charge_c": target["charge_c"],
        "charge_low_c": charge["low"], "charge_c": charge["best"], "charge_high_c": charge["high"],
        "thickness_low_um": thickness["low"], "thickness_um": thickness["best"], "thickness_high_um": thickness["high"],
    }  # fmt: skip
