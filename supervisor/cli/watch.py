"""`ampminder watch`: a running supervisor's line, live, until it ends or Ctrl-C."""

from __future__ import annotations

import asyncio
import json
import sys
from collections.abc import Callable
from contextlib import aclosing
from pathlib import Path
from typing import Any

from supervisor.cli.ask import socket_of
from supervisor.cli.view import view_for
from supervisor.cli.words import state_text
from supervisor.edges.client import stream


def watch(line: Path | None, *, as_json: bool) -> int:
    """Show the line until its supervisor ends or Ctrl-C; 0 for both. Raises ControlError where nobody answers."""
    path = socket_of(line)
    try:
        if as_json:
            last = asyncio.run(_follow(path, _print_json))
        else:
            with view_for(sys.stdout) as view:
                last = asyncio.run(_follow(path, view.show))
    except KeyboardInterrupt:
        return 0
    ended = "The supervisor has ended."
    if last is not None and not _all_proven(last):
        ended += (
            " An orderly end switches off and proves it, but that was not seen here."
            " If you did not end it yourself: ampminder off FILE"
        )
    print(
        ended, *(state_text(last) if last and not as_json else ()), sep="\n", file=sys.stderr if as_json else sys.stdout
    )
    return 0


async def _follow(path: Path, show: Callable[[dict[str, Any]], None]) -> dict[str, Any] | None:
    """Show each state; return the last one."""
    last = None
    async with aclosing(stream(path)) as states:
        async for last in states:
            show(last)
    return last


def _print_json(status: dict[str, Any]) -> None:
    print(json.dumps(status), flush=True)


def _all_proven(status: dict[str, Any]) -> bool:
    return all(supply["off_proven"] for supply in status["supplies"].values())
