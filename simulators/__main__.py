"""Runs a simulated line as a process of its own: devices on ptys, the truth as JSON lines on standard output."""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import json
import os
import signal
import sys
import time
from pathlib import Path

from simulators.faults import Fault, read_script
from simulators.line import Truth, names_of
from simulators.plan import LinePlan, read_plan
from simulators.server import LineServer, LinkFolder
from simulators.tables import FileError


def boot_clock_s() -> float:
    """Seconds since boot, suspended time counted."""
    return time.clock_gettime(time.CLOCK_BOOTTIME)


def _above_zero(text: str) -> float:
    value = float(text)
    if not 0.0 < value < 1e6:
        raise argparse.ArgumentTypeError(f"{text} is not a number above 0")
    return value


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m simulators", description=__doc__)
    parser.add_argument("file", type=Path, help="the simulators' own line file, such as simulators/lines/demo.toml")
    parser.add_argument("--links", type=Path, metavar="DIR", help="make a symbolic link to each pty in this folder")
    parser.add_argument("--speed", type=_above_zero, default=1.0, help="process seconds per second on the wire (1)")
    parser.add_argument("--seed", type=int, default=0, help="of all chance (0)")
    parser.add_argument("--faults", type=Path, metavar="SCRIPT", help="a script of faults")
    parser.add_argument("--state-every", type=_above_zero, default=0.5, metavar="S", help="wire seconds (0.5)")
    return parser.parse_args()


class _Process:
    """The running process: its end, its standard output and its live channel."""

    def __init__(self) -> None:
        self.ended = asyncio.Event()
        self._typed = b""

    def tell(self, truth: Truth) -> None:
        """Print one truth; with nobody left to read, end."""
        try:
            print(json.dumps(truth), flush=True)
        except BrokenPipeError:
            # What Python still holds for the broken pipe would fail again at exit; let it go nowhere instead.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            self.ended.set()

    def listen(self, server: LineServer) -> None:
        """Take the live channel from standard input where that can be waited for; /dev/null and files cannot."""
        with contextlib.suppress(PermissionError, ValueError, OSError):
            asyncio.get_running_loop().add_reader(0, self._typed_in, server)

    def _typed_in(self, server: LineServer) -> None:
        data = os.read(0, 65536)
        if not data:
            asyncio.get_running_loop().remove_reader(0)
            return
        *lines, self._typed = (self._typed + data).split(b"\n")
        for line in lines:
            try:
                problem = server.order(json.loads(line))
            except ValueError as error:
                problem = f"This line is not JSON: {error}."
            if problem:
                print(f"simulators: {problem}", file=sys.stderr, flush=True)


async def _serve(plan: LinePlan, faults: list[Fault], arguments: argparse.Namespace) -> None:
    process = _Process()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, process.ended.set)
    folders: list[LinkFolder] = []
    with contextlib.ExitStack() as stack:

        def tell(truth: Truth) -> None:
            # The links stand before anyone hears that the line is ready.
            if truth["truth"] == "ready" and arguments.links is not None:
                targets = truth["links"]
                assert isinstance(targets, dict)
                folders.append(LinkFolder(arguments.links, targets))
                stack.callback(folders[0].remove)
            process.tell(truth)

        server = LineServer(
            plan, now=boot_clock_s, tell=tell, speed=arguments.speed, seed=arguments.seed, faults=faults,
            state_every_s=arguments.state_every,
        )  # fmt: skip
        server.folder = folders[0] if folders else None
        stack.callback(server.close)
        process.listen(server)
        await process.ended.wait()


def main() -> int:
    """Run until told to end; returns the exit code: 0, or 2 where a file cannot be used."""
    arguments = _arguments()
    try:
        plan = read_plan(arguments.file)
        faults = read_script(arguments.faults, names_of(plan, arguments.speed)) if arguments.faults else []
        asyncio.run(_serve(plan, faults, arguments))
    except FileError as mistake:
        print(f"simulators: {mistake}", file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
