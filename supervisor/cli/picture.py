"""The live picture of a line: what a person sees who looks up from across the room."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from rich.console import Console, ConsoleOptions, Group, RenderableType, RenderResult
from rich.padding import Padding
from rich.rule import Rule
from rich.segment import Segment
from rich.style import Style
from rich.table import Table
from rich.text import Text

from supervisor.cli.ahead import brief
from supervisor.cli.digits import large
from supervisor.cli.folding import Head, fold, hidden_text, told
from supervisor.cli.words import (
    BY_HAND,
    NOTHING,
    clock,
    consequences_text,
    figure,
    output_text,
    switch_texts,
    unhealthy_text,
    waits_text,
)
from supervisor.core.alarms import AlarmState
from supervisor.units import Kind, System, show

Status = dict[str, Any]

STATE_SAYS = {
    "idle": "nothing is running",
    "running": "current flows, the coat grows",
    "holding": "off was sent, to be held",
    "held": "the output is off; a person decides how to go on",
    "restarting": "current rises again",
    "stopping": "off was sent, to end here",
    "stopped": "ended before its target, the output is off",
    "aborting": "off is sent until it is proven",
    "aborted": "ended by a fault, the output is off",
    "complete": "target reached, the output is off",
}
"""What each procedural state means to whoever sees it for the first time."""

_PRIORITY_STYLES = {"high": "bold white on red", "medium": "bold black on yellow", "low": "bold reverse"}
_INDENT = (0, 0, 0, 2)
_LAST_ROW = 1
"""The row on which the cursor stands."""


class LinePicture:
    """A line's state, drawn over the width it is given; what does not fit into the rows there are is told shorter."""

    def __init__(self, status: Status, title: str, said: Sequence[str] = ()) -> None:
        """`status` as the service tells it; `said` the newest sentences of whoever shows it."""
        self._status = status
        self._title = title
        self._said = said

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Draw what is always there, then as much of the alarms as there is room for."""
        above = self._above()
        left = console.height - _LAST_ROW - sum(_rows(part, console, options) for part in above)
        alarms = Alarms(self._status["alarms"], left)
        yield from above
        yield alarms
        left -= _rows(alarms, console, options)
        # Alarms come before what is only worth knowing.
        switches = Text("\n".join(switch_texts(self._status)))
        if switches and (rows := _rows(switches, console, options) + 1) <= left:
            yield from (Text(), switches)
            left -= rows
        if self._said and left > 1:
            yield Text()
            yield from (Text(sentence, style="dim", no_wrap=True) for sentence in self._said[1 - left :])

    def _above(self) -> list[RenderableType]:
        status = self._status
        system: System = status["units"]
        parts: list[RenderableType] = [Text(), _head(status, self._title)]
        for name, supply in status["supplies"].items():
            parts += [Text(), *_supply(name, supply, status["tanks"], system)]
        if not status["journal"]["healthy"]:
            parts.append(Text(f"The record: {status['journal']['problem']}", style="bold"))
        # In place of the empty row before the alarms: where there are many of them every row counts.
        return [*parts, Text(unhealthy_text(status), style="bold")]


def _head(status: Status, title: str) -> RenderableType:
    grid = Table.grid(expand=True)
    grid.add_column()
    grid.add_column(justify="right")
    notes = []
    if status["watch_only"]:
        notes.append("watching only")
    if status["speed"] != 1:
        notes.append(f"{status['speed']:g} times the pace of life")
    if hidden := hidden_text(fold(status["alarms"])):
        notes.append(f"alarms: {hidden}")
    grid.add_row(Text(title), Text(", ".join(notes), style="dim"))
    return grid


def _supply(name: str, supply: Status, tanks: dict[str, Status], system: System) -> Iterator[RenderableType]:
    operation = supply["operation"]
    by_hand = (BY_HAND[supply["control"]],) if BY_HAND[supply["control"]] else ()
    load = " · ".join((name, *((operation["load"],) if operation else ()), *by_hand))
    yield Rule(Text(load, style="bold"), align="left", style="dim")
    state = Text.assemble((supply["state"].upper(), "bold"), "   ", STATE_SAYS[supply["state"]])
    if operation and operation["why"]:
        state.append(f"   because: {operation['why']}", style="bold")
    yield state
    if waited := waits_text(supply, system):
        yield Text(waited, style="bold reverse")
    yield Text()
    if operation:
        yield _dose(operation, supply["state"], system)
        yield Text()
    yield _figures(supply, tanks, system)


def _dose(operation: Status, state: str, system: System) -> RenderableType:
    """Thickness on the left, time to go on the right: the two things anybody wants to know."""
    grown, charge, target = operation["band_um"], operation["charge_c"], operation["target"]
    grid = _halves()
    grid.add_row(Text("mean thickness, 90 % band", style="dim"), Text("time to go", style="dim"))
    number, unit = show(grown["best"], "thickness", system).split(" ", 1)
    to_go = clock(0.0 if state == "complete" else operation["to_go_s"])
    to_go_unit = "" if to_go == NOTHING else "h" if to_go.count(":") == 2 else "min"
    grid.add_row(_large(number, unit), _large(to_go, to_go_unit))
    most_um = max(target["thickness_um"] * 1.1, min(grown["high"], target["thickness_um"] * 2))
    low, best, high, wanted = (um / most_um for um in (*_ends(grown), target["thickness_um"]))
    grid.add_row(Scale(low, best, high, wanted), Bar(charge["best"] / target["charge_c"]))
    more = ", or more" if operation["charge_unbounded"] else ""
    grid.add_row(
        f"{_between(grown, 'thickness', system)}{more}, wanted {show(target['thickness_um'], 'thickness', system)}",
        f"{_plain(charge['best'], 'charge', system)} ({_between(charge, 'charge', system, unit=False)}{more})"
        f" of {show(target['charge_c'], 'charge', system)}",
    )
    return grid


def _ends(interval: Status) -> tuple[float, float, float]:
    return interval["low"], interval["best"], interval["high"]


def _plain(value: float, kind: Kind, system: System) -> str:
    """Say a value without its unit, which stands beside it."""
    return show(value, kind, system).split(" ", 1)[0]


def _between(interval: Status, kind: Kind, system: System, *, unit: bool = True) -> str:
    """Say an interval, its unit once or not at all."""
    say = show if unit else _plain
    return f"{_plain(interval['low'], kind, system)} to {say(interval['high'], kind, system)}"


def _large(number: str, unit: str) -> Text:
    rows = large(number)
    return Text("\n".join([*rows[:-1], f"{rows[-1]} {unit}"]), style="bold", no_wrap=True)


def _figures(supply: Status, tanks: dict[str, Status], system: System) -> RenderableType:
    """Say output, current, voltage and temperatures, two beside each other."""
    figures: list[tuple[str, str, str]] = [
        ("output", output_text(supply), _holds(supply)),
        ("voltage", figure(supply["voltage_v"], "voltage", system), _set(supply, "set_voltage_v", "voltage", system)),
        ("current", figure(supply["current_a"], "current", system), _set(supply, "set_current_a", "current", system)),
    ]
    for name, tank in tanks.items():
        band = f"{_plain(tank['low_c'], 'temperature', system)} to {show(tank['high_c'], 'temperature', system)}"
        note = brief(tank, system) or _held(tank, system) or band
        note = note if tank["reading"] == "good" else f"reading {tank['reading']}"
        figures.append((name, figure(tank["temperature_c"], "temperature", system), note))
    grid = _halves()
    for first in range(0, len(figures), 2):
        grid.add_row(*(_figure(*one) for one in figures[first : first + 2]))
    return grid


def _held(tank: Status, system: System) -> str:
    """Say what heater or cooling do now; "" while both rest."""
    on = {"heats": tank["heating"], "cools": tank["cooling"]}
    return ", ".join(
        f"{does} to {show(control['hold_c'], 'temperature', system)}"
        for does, control in on.items()
        if control is not None and control["on"]
    )


def _halves() -> Table:
    grid = Table.grid(expand=True, padding=(0, 2, 0, 0))
    grid.add_column(ratio=1)
    grid.add_column(ratio=1)
    return grid


def _figure(name: str, value: str, note: str) -> Text:
    shown = value if value == NOTHING else f"{value:<9}"  # why there is no number needs the room
    return Text.assemble((f"{name:<8} ", "dim"), (shown, "bold"), " ", note)


def _holds(supply: Status) -> str:
    if not supply["wanted_on"] or supply["voltage_held"] is None:
        return ""
    return "voltage held" if supply["voltage_held"] else "current held"


def _set(supply: Status, key: str, kind: Kind, system: System) -> str:
    operation = supply["operation"]
    return f"{show(operation[key], kind, system)} at most" if operation and supply["wanted_on"] else ""


class Alarms:
    """Every alarm that is told, what acts before all else, the most urgent and newest first, consequences folded.

    In full while there is room, then in short, then by name.
    """

    def __init__(self, alarms: Sequence[Status], rows: int) -> None:
        self._heads = list(told(fold(alarms)))
        self._rows = rows

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Draw them; the first one at least in short whatever the room."""
        if not self._heads:
            yield Text("no alarms", style="dim")
        left = self._rows
        for number, head in enumerate(self._heads):
            rest = _by_name(self._heads[number + 1 :])
            room = left - sum(_rows(names, console, options) for names in rest)
            forms = [_in_full(head), _in_short(head)]
            drawn = next((form for form in forms if _rows(form, console, options) <= room), None)
            if drawn is None and number > 0:
                yield from _by_name(self._heads[number:])
                return
            drawn = drawn or forms[-1]
            yield drawn
            left -= _rows(drawn, console, options)


def _by_name(heads: Sequence[Head]) -> list[Text]:
    """Name alarms in one text; none where there are none."""
    names = ", ".join(
        f"{head.alarm['priority'].upper()} {head.alarm['name']} {head.brought}".rstrip() for head in heads
    )
    return [Text(f"and {names}")] if heads else []


def _rows(part: RenderableType, console: Console, options: ConsoleOptions) -> int:
    return len(console.render_lines(part, options, pad=False))


def _in_full(head: Head) -> RenderableType:
    alarm = head.alarm
    brought = (Text(consequences_text(head), style="dim"),) if head.consequences else ()
    said = Group(Text(f"{alarm['what']} {alarm['follows']}"), _first(alarm), Text(f"Time: {alarm['time']}"), *brought)
    return Group(_title(head, brought=False), Padding(said, _INDENT))


def _in_short(head: Head) -> RenderableType:
    return Group(_title(head, brought=True), Padding(_first(head.alarm), _INDENT))


def _title(head: Head, *, brought: bool) -> Text:
    alarm = head.alarm
    title = Text.assemble((f" {alarm['priority'].upper()} ", _PRIORITY_STYLES[alarm["priority"]]), "  ", alarm["name"])
    if brought and head.consequences:
        title.append(f"  {head.brought}")
    if not alarm["active"]:
        title.append(f"  its cause is gone ({alarm['state']})", style="dim")
    elif alarm["state"] == AlarmState.ACKNOWLEDGED:
        title.append("  acknowledged", style="dim")
    return title


def _first(alarm: Status) -> Text:
    return Text(f"First: {alarm['first']}", style="bold")


class Bar:
    """How much of something is done, 0 to 1, over the whole width it is given."""

    def __init__(self, share: float) -> None:
        self._share = min(1.0, max(0.0, share))

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Draw it."""
        width = options.max_width
        full = int(self._share * width + 1e-9)
        yield Segment("█" * full, Style(color="cyan"))
        yield Segment("░" * (width - full), Style(dim=True))


class Scale:
    """A band with its best value and a mark for what is wanted, all as shares of the whole width."""

    def __init__(self, low: float, best: float, high: float, wanted: float) -> None:
        self._low, self._best, self._high, self._wanted = low, best, high, wanted

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Draw it."""
        width = options.max_width
        low, best, high, wanted = (
            min(width - 1, max(0, int(share * width))) for share in (self._low, self._best, self._high, self._wanted)
        )
        for at in range(width):
            if at == best:
                yield Segment("█", Style(color="cyan"))
            elif at == wanted:
                yield Segment("┃", Style(bold=True))
            elif low <= at <= high:
                yield Segment("▒", Style(color="cyan"))
            else:
                yield Segment("·", Style(dim=True))
