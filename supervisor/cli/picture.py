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

from supervisor.cli.digits import large
from supervisor.cli.words import NOTHING, clock, figure, output_text
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
_URGENCY = ("high", "medium", "low")
_MARGIN = 2


def picture(status: Status, title: str, said: Sequence[str] = (), *, room: int | None = None) -> RenderableType:
    """Draw a line's state. `said` are the newest sentences of whoever shows it; `room` the rows there are at most."""
    system: System = status["units"]
    parts: list[RenderableType] = [_head(status, title)]
    for name, supply in status["supplies"].items():
        parts += [Text(), *_supply(name, supply, status["tanks"], system)]
    parts += [Text(), *_alarms(status["alarms"], None if room is None else room - 18)]
    if not status["journal"]["healthy"]:
        parts.append(Text(f"The record: {status['journal']['problem']}", style="bold"))
    parts += [Text(), *(Text(sentence, style="dim") for sentence in said)]
    return Padding(Group(*parts), (1, _MARGIN, 0, _MARGIN))


def _head(status: Status, title: str) -> RenderableType:
    grid = Table.grid(expand=True)
    grid.add_column()
    grid.add_column(justify="right")
    notes = []
    if status["watch_only"]:
        notes.append("watching only")
    if status["speed"] != 1:
        notes.append(f"{status['speed']:g} times the pace of life")
    grid.add_row(Text(title), Text(", ".join(notes), style="dim"))
    return grid


def _supply(name: str, supply: Status, tanks: dict[str, Status], system: System) -> Iterator[RenderableType]:
    operation = supply["operation"]
    load = f"{name} · {operation['load']}" if operation else name
    yield Rule(Text(load, style="bold"), align="left", style="dim")
    state = Text.assemble((supply["state"].upper(), "bold"), "   ", STATE_SAYS[supply["state"]])
    if operation and operation["why"]:
        state.append(f"   because: {operation['why']}", style="bold")
    yield state
    yield Text()
    if operation:
        yield _dose(operation, system)
        yield Text()
    yield _figures(supply, tanks, system)


def _dose(operation: Status, system: System) -> RenderableType:
    """Thickness on the left, time to go on the right: the two things anybody wants to know."""
    grown, charge, target = operation["thickness_um"], operation["charge_c"], operation["target"]
    grid = Table.grid(expand=True, padding=(0, 2, 0, 0))
    grid.add_column(ratio=1)
    grid.add_column(ratio=1)
    grid.add_row(Text("thickness", style="dim"), Text("time to go", style="dim"))
    number, unit = show(grown["best"], "thickness", system).split(" ", 1)
    to_go = clock(operation["to_go_s"])
    grid.add_row(_large(number, unit), _large(to_go, "min" if to_go.count(":") == 1 else "h" if ":" in to_go else ""))
    most_um = max(target["thickness_um"] * 1.1, min(grown["high"], target["thickness_um"] * 2))
    grid.add_row(
        Scale(
            grown["low"] / most_um, grown["best"] / most_um, grown["high"] / most_um, target["thickness_um"] / most_um
        ),
        Bar(charge["best"] / target["charge_c"]),
    )
    surely = "" if not operation["charge_unbounded"] else ", or more"
    grid.add_row(
        f"{_between(grown, 'thickness', system)}{surely}, wanted {show(target['thickness_um'], 'thickness', system)}",
        f"{show(charge['best'], 'charge', system)} of {show(target['charge_c'], 'charge', system)}"
        f" ({_between(charge, 'charge', system)}{surely})",
    )
    return grid


def _between(interval: Status, kind: Kind, system: System) -> str:
    """Say an interval with its unit once."""
    low, high = show(interval["low"], kind, system), show(interval["high"], kind, system)
    return f"{low.split(' ', 1)[0]} to {high}"


def _large(number: str, unit: str) -> Text:
    rows = large(number.replace(NOTHING, "--:--"))
    return Text("\n".join([*rows[:-1], f"{rows[-1]} {unit}"]), style="bold", no_wrap=True)


def _figures(supply: Status, tanks: dict[str, Status], system: System) -> RenderableType:
    """Say output, current, voltage and temperatures in one row a quantity."""
    grid = Table.grid(padding=(0, 3, 0, 0))
    for style in ("dim", "bold", ""):
        grid.add_column(style=style, no_wrap=style != "")
    grid.add_row("output", output_text(supply), _holds(supply))
    grid.add_row(
        "current", figure(supply["current_a"], "current", system), _set(supply, "set_current_a", "current", system)
    )
    grid.add_row(
        "voltage", figure(supply["voltage_v"], "voltage", system), _set(supply, "set_voltage_v", "voltage", system)
    )
    for name, tank in tanks.items():
        band = f"{show(tank['low_c'], 'temperature', system)} to {show(tank['high_c'], 'temperature', system)} wanted"
        note = band if tank["reading"] == "good" else f"reading {tank['reading']}; {band}"
        grid.add_row(name, figure(tank["temperature_c"], "temperature", system), note)
    return grid


def _holds(supply: Status) -> str:
    if not supply["wanted_on"] or supply["voltage_held"] is None:
        return ""
    return "holds its voltage" if supply["voltage_held"] else "holds its current"


def _set(supply: Status, key: str, kind: Kind, system: System) -> str:
    operation = supply["operation"]
    return f"{show(operation[key], kind, system)} at most" if operation and supply["wanted_on"] else ""


def _alarms(alarms: Sequence[Status], room: int | None) -> Iterator[RenderableType]:
    """Tell alarms in full, the most urgent first, as far as there is room; the rest by name."""
    if not alarms:
        yield Text("no alarms", style="dim")
        return
    ordered = sorted(alarms, key=lambda alarm: (not alarm["standing"], _URGENCY.index(alarm["priority"])))
    fitting = len(ordered) if room is None else max(1, room // 4)
    for alarm in ordered[:fitting]:
        head = Text.assemble(
            (f" {alarm['priority'].upper()} ", _PRIORITY_STYLES[alarm["priority"]]), "  ", alarm["name"]
        )
        yield head if alarm["standing"] else head.append(f"  ({alarm['state']})", style="dim")
        yield Padding(Text(f"{alarm['what']} {alarm['follows']}"), (0, 0, 0, 2))
        yield Padding(Text(f"First: {alarm['first']}", style="bold"), (0, 0, 0, 2))
    if ordered[fitting:]:
        yield Text("and " + ", ".join(f"{a['name']} ({a['priority']})" for a in ordered[fitting:]))


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
