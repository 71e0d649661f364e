"""`ampminder demo`: a simulated line anodizes one load and stops itself, or something goes wrong on purpose."""

from __future__ import annotations

import asyncio
import json
import signal
import sys

from supervisor.cli.view import View, view_for
from supervisor.demo.account import Account
from supervisor.demo.judge import FAULTS
from supervisor.demo.play import SPEED, play
from supervisor.demo.stage import DemoError, simulated_line
from supervisor.edges.control import ControlError

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
        print(f"There is no fault {fault!r}. There are: {', '.join(FAULTS)}.", file=sys.stderr)
        return MISTAKE
    try:
        simulated_line()
        with view_for(sys.stdout, "Fernhollow Instrument Works, an invented workshop") as view:
            account = asyncio.run(_until_told(fault, view))
    except (DemoError, ControlError) as problem:
        print(problem, file=sys.stderr)
        return 1
    except (asyncio.CancelledError, KeyboardInterrupt):
        print("The demo was ended early: off was sent, and both of its processes are gone.", file=sys.stderr)
        return INTERRUPTED
    print("", *account.sentences(), sep="\n")
    if as_json:
        print(json.dumps(account.figures()))
    return 1 if account.problems else 0


async def _until_told(fault: str | None, view: View) -> Account:
    """Ctrl-C, a closed terminal and SIGTERM end the demo the same way: off, then both processes."""
    playing = asyncio.create_task(play(fault, view, speed=SPEED), name="demo")
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        loop.add_signal_handler(number, playing.cancel)
    return await playing
