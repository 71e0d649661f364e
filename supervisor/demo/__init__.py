"""`ampminder demo`: a simulated line anodizes one load and stops itself, or something goes wrong on purpose."""

from __future__ import annotations

import asyncio
import json
import signal
import sys

from supervisor.cli.view import View, view_for
from supervisor.demo.account import Account, no_account
from supervisor.demo.judge import FAULTS
from supervisor.demo.play import SPEED, WORKSHOP, play
from supervisor.demo.stage import DemoError, simulated_line
from supervisor.edges.control import ControlError
from supervisor.records.schema import JournalError
from supervisor.runtime import RuntimeFolderError

INTERRUPTED = 130
"""Exit code after Ctrl-C, as shells have it."""

MISTAKE = 2


def list_faults() -> int:
    """Name the faults, one a line."""
    print(*FAULTS, sep="\n")
    return 0


def demo(fault: str | None, *, as_json: bool) -> int:
    """Run one demo; 0 when all that must happen happened, 1 when not, 2 for an unknown fault, 130 after Ctrl-C."""
    if fault is not None and fault not in FAULTS:
        unknown = f"There is no fault {fault!r}. There are: {', '.join(FAULTS)}."
        return _came_to_nothing(fault, unknown, MISTAKE, as_json=as_json)
    try:
        simulated_line()
        with view_for(sys.stdout, WORKSHOP) as view:
            account = asyncio.run(_until_told(fault, view))
    except (DemoError, ControlError, RuntimeFolderError, JournalError) as problem:
        return _came_to_nothing(fault, str(problem), 1, as_json=as_json)
    except (asyncio.CancelledError, KeyboardInterrupt):
        ended = "The demo was ended early: off was sent, and both of its processes are gone."
        return _came_to_nothing(fault, ended, INTERRUPTED, as_json=as_json)
    print("", *account.sentences(), sep="\n")
    if as_json:
        print(json.dumps(account.figures()))
    return 1 if account.problems else 0


def _came_to_nothing(fault: str | None, problem: str, code: int, *, as_json: bool) -> int:
    print(problem, file=sys.stderr)
    if as_json:
        print(json.dumps(no_account(fault, problem)))
    return code


async def _until_told(fault: str | None, view: View) -> Account:
    """Ctrl-C, a closed terminal and SIGTERM end the demo the same way: off, then both processes."""
    playing = asyncio.create_task(play(fault, view, speed=SPEED), name="demo")
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        loop.add_signal_handler(number, playing.cancel)
    return await playing
