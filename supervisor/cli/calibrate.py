"""`calibrate`: instruments held against something better, listed, told in one go, guided step by step, or forgotten."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

from supervisor.cli.ask import Asked, answer_of, request
from supervisor.cli.calibrate_guide import STEPS, Left, guide
from supervisor.units import Kind, System, show

KINDS: dict[str, Kind] = {"degC": "temperature", "A": "current", "V": "voltage"}

POINT = 'what it showed and what was true, such as "0.4 degC = 0 degC" or "9.9 A = 10 A"; again for each point'


def add_command(commands: argparse._SubParsersAction[argparse.ArgumentParser], common: argparse.ArgumentParser) -> None:
    """Add it; `common` holds what every asking command takes."""
    says = "list every instrument and when it is due, or calibrate one, guided step by step; it energises nothing"
    command = commands.add_parser("calibrate", parents=[common], help=says, description=says)
    means = "the thermometer or meter, such as acid-temperature or main-current; without one all are listed"
    command.add_argument("channel", metavar="CHANNEL", nargs="?", default="", help=means)
    command.add_argument("--point", metavar="POINT", action="append", default=[], help=POINT)
    means = "what the guide holds it against, in this order; default: ice and boiling, or zero and two references"
    command.add_argument("--steps", nargs="+", choices=STEPS, metavar="STEP", help=f"{means}; {', '.join(STEPS)}")
    command.add_argument("--reference", default="", metavar="TEXT", help="what told the truth")
    command.add_argument("--due", default="", metavar="DATE", help="year-month-day; default: in a year")
    means = "show that a supply's current meter carries its operation's current, whole and alone"
    command.add_argument("--commission", action="store_true", help=means)
    means = "with --commission and --point: the reference was around the cable to the work alone, as the guide says"
    command.add_argument("--confirmed", action="store_true", help=means)
    command.add_argument("--forget", action="store_true", help="forget what the channel was calibrated to")


def calibrate(asked: argparse.Namespace) -> int:
    """Do it; 0 when done, 1 when refused, left or nobody answers, 2 for what does not go together."""
    if wrong := _mistake(asked):
        print(wrong, file=sys.stderr)
        return 2
    if asked.forget:
        return request(asked.line, "calibrate forget", {"channel": asked.channel}, as_json=asked.json)
    if asked.channel and asked.point and not asked.commission:
        return _tell(asked, {"channel": asked.channel}, asked.point, asked.reference)
    answer = answer_of(asked.line, "calibrations", {})
    if not answer["ok"] or not asked.channel:
        return _listed(answer, as_json=asked.json)
    return _of_instrument(asked, answer)


def _of_instrument(asked: argparse.Namespace, answer: dict[str, Any]) -> int:
    """Guide through a calibration, or see to a commissioning; both ask for what the line has."""
    known = answer["instruments"].get(asked.channel)
    if known is None or (asked.commission and known["what"] != "current meter"):
        can = [name for name, one in answer["instruments"].items() if not asked.commission or one["unit"] == "A"]
        print(f"calibrate: {asked.channel} cannot be; this line has {', '.join(can)}.", file=sys.stderr)
        return 1
    if asked.point:
        return _tell(asked, {"supply": known["of"], "confirmed": asked.confirmed}, asked.point, asked.reference)
    return _guided(asked, answer, known)


def _mistake(asked: argparse.Namespace) -> str:
    alone = asked.point or asked.steps or asked.commission or asked.reference or asked.due
    if not asked.channel and (alone or asked.forget):
        return "calibrate: name the CHANNEL; without one, every instrument is listed."
    if asked.forget and alone:
        return "calibrate: --forget takes the channel and nothing else."
    if asked.commission and (asked.due or asked.steps):
        return "calibrate: --commission has its own steps and falls due never; leave --due and --steps out."
    if asked.confirmed and not (asked.commission and asked.point):
        return "calibrate: --confirmed goes with --commission and --point; the guide asks by itself."
    if asked.steps and asked.point:
        return "calibrate: --steps are the guide's; leave them out, or --point."
    return "calibrate: --json cannot guide; give each --point." if asked.json and asked.channel and not (
        asked.point or asked.forget
    ) else ""  # fmt: skip


def _guided(asked: argparse.Namespace, answer: dict[str, Any], known: dict[str, Any]) -> int:
    """Guide a person through the steps, then tell the points."""
    try:
        points, reference = guide(asked, answer["units"], known, watching=answer["watch_only"])
    except Left as left:
        print(str(left) or "Left; nothing is kept.", file=sys.stderr)
        return 1
    of: dict[str, Asked] = {"channel": asked.channel}
    if asked.commission:
        of = {"supply": known["of"], "confirmed": True}
    return _tell(asked, of, points, reference)


def _tell(asked: argparse.Namespace, of: dict[str, Asked], points: list[str], reference: str) -> int:
    body: dict[str, Asked] = {**of, "points": points, "reference": reference}
    if asked.due:
        body["due"] = asked.due
    return request(asked.line, "commission" if asked.commission else "calibrate", body, as_json=asked.json)


def _listed(answer: dict[str, Any], *, as_json: bool) -> int:
    if as_json:
        print(json.dumps(answer))
    elif answer["ok"]:
        print(*calibration_lines(answer), sep="\n")
    else:
        print(*answer["reasons"], sep="\n", file=sys.stderr)
    return 0 if answer["ok"] else 1


def calibration_lines(answer: dict[str, Any]) -> Iterator[str]:
    """Tell every instrument with its points and due date, and every meter's commissioning."""
    system: System = answer["units"]
    for channel, one in answer["instruments"].items():
        known = one["calibration"]
        if known is None:
            yield f"{channel}, {one['what']} of {one['of']}: never calibrated"
            continue
        due = f"OVERDUE since {known['due']}" if known["overdue"] else f"due {known['due']}"
        yield f"{channel}, {one['what']} of {one['of']}: {due}"
        points = _points(one, known, system)
        yield f"  {_day(known['wall_s'])} by {known['who']}, against {known['reference']}: {points}"
    for supply, found in answer["commissioned"].items():
        if found is None:
            yield f"{supply}: nobody has shown that its meter carries its current, whole and alone (--commission)"
        else:
            points = ", ".join(f"{point['shown']:.4g} A at {point['true']:.4g} A" for point in found["points"])
            yield f"{supply}: its meter carries its current, whole and alone"
            yield f"  {_day(found['wall_s'])} by {found['who']}, beside {found['reference']}: {points}"


def _points(one: dict[str, Any], known: dict[str, Any], system: System) -> str:
    kind = KINDS[one["unit"]]
    return ", ".join(
        f"{show(point['shown'], kind, system)} was {show(point['true'], kind, system)}" for point in known["points"]
    )


def _day(wall_s: float) -> str:
    return datetime.fromtimestamp(wall_s, UTC).date().isoformat()
