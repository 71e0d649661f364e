"""`gauge` and `factor`: what a gauge said of a load, and what was learned from it."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from supervisor.cli.ask import answer_of, request
from supervisor.units import System, show

DOUBTED = 0.5
"""A load that is less likely than this to be an ordinary one counts for little."""


def add_commands(
    commands: argparse._SubParsersAction[argparse.ArgumentParser], common: argparse.ArgumentParser
) -> None:
    """Add both commands; `common` holds what every asking command takes."""
    says = "tell what a gauge showed of a load's coat; the growth of its alloy in its tank is learned from it"
    gauge = commands.add_parser("gauge", parents=[common], help=says, description=says)
    gauge.add_argument("load", metavar="LOAD", help="the name of the load")
    means = 'a thickness with its unit, such as "0.82 mil", or a mass per area, such as "4.6 mg/cm^2"'
    gauge.add_argument("readings", metavar="READING", nargs="*", help=means)
    gauge.add_argument("--density", default="", metavar="DENSITY", help='of the coat, for masses: "2.4 g/cm^3"')
    gauge.add_argument("--forget", action="store_true", help="forget what was told of that load")
    says = "show every growth factor that was learned, how sure it is, and from which loads"
    commands.add_parser("factor", parents=[common], help=says, description=says)


def ask(asked: argparse.Namespace) -> int:
    """Do one of the two commands."""
    return _factor(asked.line, as_json=asked.json) if asked.command == "factor" else _gauge(asked)


def _gauge(asked: argparse.Namespace) -> int:
    """Tell a gauge's readings, or have them forgotten; 0 when done, 1 when refused or nobody answers, 2 for both."""
    if asked.forget:
        if asked.readings or asked.density:
            print("--forget takes the name of a load and nothing else.", file=sys.stderr)
            return 2
        return request(asked.line, "gauge forget", {"load": asked.load}, as_json=asked.json)
    body: dict[str, str | bool | list[str]] = {"load": asked.load, "readings": asked.readings}
    if asked.density:
        body["density"] = asked.density
    return request(asked.line, "gauge", body, as_json=asked.json)


def _factor(line: Path | None, *, as_json: bool) -> int:
    """Show what was learned; 0 when a supervisor answered."""
    answer = answer_of(line, "factor", {})
    if as_json:
        print(json.dumps(answer))
    elif answer["ok"]:
        print(*factor_lines(answer), sep="\n")
    else:
        print(*answer["reasons"], sep="\n", file=sys.stderr)
    return 0 if answer["ok"] else 1


def factor_lines(answer: dict[str, Any]) -> Iterator[str]:
    """Tell every factor with its band, what it began from, and its loads."""
    if not answer["factors"]:
        yield "No load was gauged yet: growth is as published."
        yield "Tell what a gauge shows with: ampminder gauge LOAD READING ..."
    system: System = answer["units"]
    level = f"{answer['level'] * 100:.0f} %"
    for factor in answer["factors"]:
        yield f"{factor['alloy'] or 'no alloy named'} in {factor['tank']}: {_interval(factor['factor'], level, system)}"
        yield f"  of a single load: {_interval(factor['of_load'], level, system)}"
        published = factor["published"]
        bounds = " to ".join(show(published[end], "growth", system) for end in ("low", "high"))
        yield f"  published: {show(published['best'], 'growth', system)}, from {bounds}"
        yield from (f"  {_load(load, system)}" for load in factor["loads"])


def _interval(interval: dict[str, float], level: str, system: System) -> str:
    best, low, high = (show(interval[name], "growth", system) for name in ("best", "low", "high"))
    return f"{best} ({level}: {low} to {high})"


def _load(load: dict[str, Any], system: System) -> str:
    count, day = len(load["readings_um"]), datetime.fromtimestamp(load["wall_s"], UTC).date().isoformat()
    readings = f"{count} reading{'s' if count > 1 else ''}"
    text = (
        f"{load['load']}, {day}: gauged {show(load['mean_um'], 'thickness', system)} in {readings} where published "
        f"growth makes {show(load['published_um'], 'thickness', system)}, so {show(load['factor'], 'growth', system)}"
    )
    if load["left_out"]:
        return f"{text}; not learned from ({load['left_out']})"
    return f"{text}; does not fit the others and counts for little" if load["fits"] < DOUBTED else text
