"""The command line: what can be typed, and where it goes."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TypeAlias, get_args

from supervisor.cli import alarms, calibrate, gauge
from supervisor.cli.ask import request, status
from supervisor.cli.check import check
from supervisor.cli.exercise import exercise
from supervisor.cli.off import off
from supervisor.cli.probe import probe
from supervisor.cli.probe_raw import OPTIONS, probe_raw
from supervisor.cli.replay import replay_journal
from supervisor.cli.run import run
from supervisor.cli.schema import schema
from supervisor.config.mistakes import LineMistakes, Mistake
from supervisor.edges.control import ControlError
from supervisor.records.exercised import Seen
from supervisor.records.schema import JournalError
from supervisor.runtime import RuntimeFolderError

MISTAKES = 2

KNOBS_DOWN = "the knobs of a supply without a wire stand at nought"

Commands: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"  # noqa: SLF001 - it has no public name

ORDER = {
    "area": 'wetted area of the load, such as "130 cm^2"',
    "target": 'mean coat thickness, such as "20 um" or "0.8 mil"',
    "density": 'current density, such as "1.5 A/dm^2" or "14 A/ft^2"',
    "mode": "current (held current under a voltage ceiling) or voltage (ramp to a final voltage under a current cap)",
    "voltage": 'ceiling in current mode, final value in voltage mode, such as "22 V"',
    "ramp": 'soft start, such as "60 s"',
    "load": "a name for the load; default: numbered",
    "alloy": 'such as "6061" or "cast 356"; several, which is not advised, behind commas; default: the line\'s',
}
"""What a start may ask for. The supervisor judges what is missing with all the rest, so that every reason is told."""


TANK = {
    "heat": "heat it from now on; asking again says that somebody is there",
    "rest": "switch its heater off until heat is asked for",
    "filled": "say that it was emptied and filled: its level contact must be seen to move before it is heated",
}


_OF_THEIR_OWN: dict[str, Callable[[argparse.Namespace], int]] = {
    "alarms": alarms.alarms,
    "gauge": gauge.ask,
    "factor": gauge.ask,
    "calibrate": calibrate.calibrate,
}


def main(arguments: Sequence[str] | None = None) -> int:
    """Do what is asked; 0 when it went well, 1 when not, 2 for mistakes in what was typed or in the line file."""
    asked = _parser().parse_args(arguments)
    try:
        return _do(asked)
    except LineMistakes as mistakes:
        _tell_why(asked, mistakes)
        return MISTAKES
    except (ControlError, RuntimeFolderError, JournalError) as problem:
        _tell_why(asked, problem)
        return 1
    except BrokenPipeError:
        # Whoever read our words has gone; there is nobody left to tell.
        sys.stderr.close()
        return 1


def _tell_why(asked: argparse.Namespace, why: Exception) -> None:
    """Say why nothing was done: in words, and to a program in the object that it waits for."""
    print(why, file=sys.stderr)
    if getattr(asked, "json", False):
        print(json.dumps({"version": 1, "ok": False, "reasons": str(why).splitlines()}))


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="ampminder",
        description="Supervise a small anodizing line: count amp-minutes, stop at the thickness asked for, prove off.",
    )
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    _file_commands(commands)
    _asking_commands(commands)
    _demo_command(commands)
    return parser


def _file_commands(commands: Commands) -> None:
    """Commands that take a line file or a journal."""
    for name, says in (
        ("check", "tell every mistake in a line file, what is not fitted, and how fast off is"),
        ("run", "supervise the line until told to end"),
        ("off", "switch every supply off and prove it, with a supervisor running or not"),
    ):
        command = commands.add_parser(name, help=says, description=says)
        command.add_argument("file", type=Path, metavar="FILE", help="the line file")
        if name == "run":
            command.add_argument("--watch-only", action="store_true", help="read everything, switch nothing on")
        else:
            command.add_argument("--json", action="store_true", help="one JSON object instead of words")
    says = "run a journal's events through the core again and show what differs"
    replaying = commands.add_parser("replay", help=says, description=says)
    replaying.add_argument("file", type=Path, metavar="JOURNAL", help="the journal")
    replaying.add_argument("--json", action="store_true", help="one JSON object instead of words")
    _probe_command(commands)
    schemas = commands.add_parser("schema", help="print the JSON Schema of the line file")
    schemas.add_argument("--mqtt", action="store_true", help="that of what is published over MQTT")


def _probe_command(commands: Commands) -> None:
    says = "read every device once, or every channel until Ctrl-C, or a device that has no profile yet; never writes"
    command = commands.add_parser("probe", help=says, description=says)
    command.add_argument("file", type=Path, nargs="?", metavar="FILE", help="the line file")
    command.add_argument("--json", action="store_true", help="JSON instead of words")
    command.add_argument("--watch", action="store_true", help="every channel live, with its age")
    command.add_argument("--greet", action="store_true", help="send the opening texts of profiles, such as SYST:REM")
    raw = command.add_argument_group("a device without a profile")
    raw.add_argument("--raw", nargs="?", const="", metavar="PORT", help="its serial port; with --host without one")
    for name, means in OPTIONS.items():
        raw.add_argument(f"--{name}", default="", metavar=name.upper(), help=means)
    raw.add_argument("--find", action="store_true", help="halve what is refused, to find the addresses that are there")


def _asking_commands(commands: Commands) -> None:
    """Commands that ask a running supervisor."""
    common = argparse.ArgumentParser(add_help=False)
    common.add_argument("--line", type=Path, metavar="FILE", help="line file; default: the only supervisor running")
    common.add_argument("--json", action="store_true", help="JSON instead of words")
    commands.add_parser("status", parents=[common], help="show how the line stands")
    commands.add_parser("watch", parents=[common], help="show the line live until Ctrl-C")
    anodize = commands.add_parser(
        "anodize", help="start, confirm, hold, restart, stop, abort or reset one; tell a load out"
    )
    does = anodize.add_subparsers(dest="what", required=True, metavar="WHAT")
    for what in ("start", "confirm", "hold", "restart", "stop", "abort", "reset", "out"):
        says = "say that the load was taken out of the acid" if what == "out" else None
        command = does.add_parser(what, parents=[common], help=says, description=says)
        if what in {"start", "restart"}:
            command.add_argument("--confirmed", action="store_true", help=KNOBS_DOWN)
        command.add_argument("--supply", default="", metavar="NAME", help="default: the only one")
        for name, says in ORDER.items() if what == "start" else ():
            command.add_argument(f"--{name}", metavar=name.upper(), help=says)
    alarms.add_commands(commands)
    tank = commands.add_parser("tank", help="heat a tank, let its heater rest, or tell that it was filled")
    does = tank.add_subparsers(dest="what", required=True, metavar="WHAT")
    for what, says in TANK.items():
        command = does.add_parser(what, parents=[common], help=says, description=says)
        command.add_argument("name", metavar="NAME", help="the name of the tank in the line file")
    _exercise_command(commands, common)
    gauge.add_commands(commands, common)
    calibrate.add_command(commands, common)


def _exercise_command(commands: Commands, common: argparse.ArgumentParser) -> None:
    says = "switch one output away from its safe state for a moment, while only watching, and keep what was seen"
    command = commands.add_parser("exercise", parents=[common], help=says, description=says)
    command.add_argument("output", metavar="OUTPUT", help="the name of the output in the line file")
    means = "the supply of a contactor, one without a wire, is switched off at itself"
    command.add_argument("--confirmed", action="store_true", help=means)
    means = "switch nothing: keep what was seen just now, 'as named', 'something else' or 'nothing'"
    command.add_argument("--seen", choices=get_args(Seen), metavar="WHAT", help=means)


def _demo_command(commands: Commands) -> None:
    says = "watch a simulated line anodize one load and stop itself"
    demo = commands.add_parser("demo", help=says, description=says)
    demo.add_argument("--fault", metavar="NAME", help="let something go wrong")
    demo.add_argument("--list-faults", action="store_true", help="name the faults, one a line")
    demo.add_argument("--json", action="store_true", help="end with one JSON object")


def _do(asked: argparse.Namespace) -> int:
    """Go where the command leads. The two that draw on a screen load its library only when they are asked for."""
    if asked.command == "watch":
        from supervisor.cli.watch import watch  # noqa: PLC0415

        return watch(asked.line, as_json=asked.json)
    if asked.command == "demo":
        from supervisor.demo import demo, list_faults  # noqa: PLC0415

        return list_faults() if asked.list_faults else demo(asked.fault, as_json=asked.json)
    if asked.command in _OF_THEIR_OWN:
        return _OF_THEIR_OWN[asked.command](asked)
    if asked.command in {"status", "anodize", "tank", "exercise"}:
        return _ask(asked)
    return _with_file(asked)


def _with_file(asked: argparse.Namespace) -> int:
    if asked.command == "check":
        return check(asked.file, asked.json)
    if asked.command == "probe":
        return _probe(asked)
    if asked.command == "run":
        return run(asked.file, watch_only=asked.watch_only)
    if asked.command == "off":
        return off(asked.file, as_json=asked.json)
    if asked.command == "replay":
        return replay_journal(asked.file, as_json=asked.json)
    return schema(mqtt=asked.mqtt)


def _probe(asked: argparse.Namespace) -> int:
    given = {name: getattr(asked, name.replace("-", "_")) for name in OPTIONS}
    if asked.raw is None:
        mistakes = [
            Mistake(f"--{name}", "it belongs to --raw", "add --raw, or leave it out")
            for name, text in [*given.items(), ("find", asked.find)]
            if text
        ]
        if asked.file is None:
            mistakes.append(Mistake("FILE", "there is none", "name a line file, or a device's port with --raw"))
        if mistakes:
            raise LineMistakes(tuple(mistakes))
        return probe(asked.file, asked.json, watching=asked.watch, greet=asked.greet)
    beside = {"FILE": asked.file, "--watch": asked.watch, "--greet": asked.greet}
    if any(beside.values()):
        raise LineMistakes(
            tuple(Mistake(name, "it does not go with --raw", "leave it out") for name, on in beside.items() if on)
        )
    return probe_raw(asked.raw, given, find=asked.find, as_json=asked.json)


def _ask(asked: argparse.Namespace) -> int:
    if asked.command == "status":
        return status(asked.line, as_json=asked.json)
    if asked.command == "tank":
        return request(asked.line, asked.what, {"tank": asked.name}, as_json=asked.json)
    if asked.command == "exercise":
        seen, confirmed = asked.seen, asked.confirmed
        return exercise(asked.line, asked.output, confirmed=confirmed, seen=seen, as_json=asked.json)
    fields = {"start": ("supply", "confirmed", *ORDER), "restart": ("supply", "confirmed")}.get(asked.what, ("supply",))
    given = {name: getattr(asked, name) for name in fields if getattr(asked, name)}
    return request(asked.line, asked.what, given, as_json=asked.json)


if __name__ == "__main__":
    sys.exit(main())
