"""`ampminder alarms`: the list, and what a person does with an alarm."""

from __future__ import annotations

import argparse
import json
import shutil
import sys
from pathlib import Path
from typing import Any, TypeAlias

from supervisor.cli.alarm_list import alarm_list, history_lines
from supervisor.cli.ask import answer_of, request
from supervisor.cli.folding import fold, told
from supervisor.config.mistakes import LineMistakes, Mistake
from supervisor.edges.requests import new_body
from supervisor.service.clock import boot_clock_s

Commands: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"  # noqa: SLF001 - it has no public name

NAMED = {
    "ack": ("alarm acknowledge", "say that you have seen it; the horn stops"),
    "reset": ("alarm reset", "clear one that is latched, once its cause is gone"),
    "shelve": ("alarm shelve", "do not tell it for a while; what its cause does stays in force"),
    "unshelve": ("alarm unshelve", "tell it again"),
    "out-of-service": ("alarm out of service", "do not tell it until in-service; what its cause does stays in force"),
    "in-service": ("alarm in service", "tell it again"),
}
UNNAMED = {
    "silence": ("alarm silence", "stop the horn; every alarm stays as it is"),
    "test": ("alarm test", "show whether lamps and horn work"),
}
_ALIASES = {"ack": ("acknowledge",)}

LISTED = ("version", "ok", "line", "at", "speed", "alarms", "alarm_rate")
"""What of a status `alarms --json` prints."""


def add_commands(commands: Commands) -> None:
    """Add `alarms` and all that belongs to it."""
    says = "list the alarms, or acknowledge, reset, shelve one or take it out of service"
    alarms = commands.add_parser("alarms", parents=[_common(None, as_json=False)], help=says, description=says)
    does = alarms.add_subparsers(dest="what", metavar="WHAT")
    # What is typed before WHAT must not be undone by what was not typed behind it.
    common = _common(argparse.SUPPRESS, as_json=argparse.SUPPRESS)
    for what, (_, says) in NAMED.items():
        command = does.add_parser(what, aliases=_ALIASES.get(what, ()), parents=[common], help=says, description=says)
        command.add_argument(
            "name", metavar="NAME", nargs="?" if what == "ack" else None, help="such as acid/bath-high-high"
        )
        if what == "ack":
            command.add_argument("--all", action="store_true", help="every alarm that is told now")
        if what == "shelve":
            command.add_argument("--for", metavar="TIME", help='for how long, such as "30 min"')
        if what in {"shelve", "out-of-service"}:
            command.add_argument("--why", metavar="TEXT", help="for whoever comes next")
    for what, (_, says) in UNNAMED.items():
        does.add_parser(what, parents=[common], help=says, description=says)
    says = "show what became of alarms lately, newest last"
    does.add_parser("history", parents=[common], help=says, description=says)


def _common(line: Any, *, as_json: Any) -> argparse.ArgumentParser:
    common = argparse.ArgumentParser(add_help=False)
    means = "line file; default: the only supervisor running"
    common.add_argument("--line", type=Path, metavar="FILE", default=line, help=means)
    common.add_argument("--json", action="store_true", default=as_json, help="JSON instead of words")
    return common


def alarms(asked: argparse.Namespace) -> int:
    """Do what was typed; 0 when done, 1 when refused. Raises LineMistakes."""
    what = next((what for what, others in _ALIASES.items() if asked.what in others), asked.what)
    if what is None or what == "history":
        return _show(asked.line, history=what == "history", as_json=asked.json)
    if what in UNNAMED:
        return request(asked.line, UNNAMED[what][0], {}, as_json=asked.json)
    if what == "ack":
        _name_or_all(asked)
        if asked.all:
            return _acknowledge_all(asked.line, as_json=asked.json)
    said = {key: getattr(asked, key, None) for key in ("for", "why")}
    return request(
        asked.line, NAMED[what][0], {"alarm": asked.name, **{k: v for k, v in said.items() if v}}, as_json=asked.json
    )


def _name_or_all(asked: argparse.Namespace) -> None:
    if asked.all and asked.name:
        raise LineMistakes((Mistake("--all", "it does not go with a name", "leave one of the two out"),))
    if not asked.all and not asked.name:
        raise LineMistakes((Mistake("NAME", "there is none", "name an alarm, or say --all"),))


def _show(line: Path | None, *, history: bool, as_json: bool) -> int:
    status = answer_of(line, "status", {})
    if not status["ok"]:
        return _refused(status, as_json=as_json)
    if as_json:
        keys = ("version", "ok", "line", "at", "alarm_log") if history else LISTED
        print(json.dumps({key: status[key] for key in keys}))
    elif history:
        print(*history_lines(status["alarm_log"]), sep="\n")
    else:
        columns = shutil.get_terminal_size().columns if sys.stdout.isatty() else None
        print(*alarm_list(status, columns), sep="\n")
    return 0


def _refused(answer: dict[str, Any], *, as_json: bool) -> int:
    if as_json:
        print(json.dumps(answer))
    else:
        print(*answer["reasons"], sep="\n", file=sys.stderr)
    return 1


def _acknowledge_all(line: Path | None, *, as_json: bool) -> int:
    """Acknowledge each alarm that is told at this moment: one that comes up while we speak is not among them."""
    status = answer_of(line, "status", {})
    if not status["ok"]:
        return _refused(status, as_json=as_json)
    seen = [head.alarm for head in told(fold(status["alarms"])) if head.unanswered]
    done, reasons = [], []
    for alarm in seen:
        answer = answer_of(line, NAMED["ack"][0], new_body(boot_clock_s(), alarm=alarm["name"]))
        if answer["ok"]:
            done.append(alarm["name"])
            if not as_json:
                print(f"{alarm['name']}: acknowledged. {alarm['what']} First: {alarm['first']}")
        else:
            reasons += answer["reasons"]
    if as_json:
        print(json.dumps({"version": 1, "ok": not reasons, "acknowledged": done, "reasons": reasons}))
    elif reasons:
        print("Not acknowledged:", *(f"  - {reason}" for reason in reasons), sep="\n", file=sys.stderr)
    elif not done:
        print("There is nothing to acknowledge.")
    return 1 if reasons else 0
